using System.Globalization;

namespace Stiltwright.Faults;

/// <summary>What was asked for on the command line.</summary>
/// <param name="IsLong">True for hours, false for a few minutes.</param>
/// <param name="Seed">What every random choice comes from.</param>
/// <param name="Minutes">How long a part of the long form that has no end of its own may take.</param>
/// <param name="Tally">File that keeps what the kill trial counted, so that a later run goes on from there; null for none.</param>
/// <param name="Beside">How many print rooms the kill trial's long form has side by side.</param>
internal sealed record Options(bool IsLong, int Seed, double Minutes, string? Tally = null, int Beside = 3)
{
    /// <summary>Reads the command line; null where it is not understood.</summary>
    public static Options? Read(string[] args)
    {
        var isLong = args.Contains("--long");
        if (!isLong && !args.Contains("--short")) return null;
        var seed = int.Parse(Value(args, "--seed") ?? Random.Shared.Next(1_000_000).ToString(CultureInfo.InvariantCulture), CultureInfo.InvariantCulture);
        return new Options(isLong, seed, double.Parse(Value(args, "--minutes") ?? "55", CultureInfo.InvariantCulture), Value(args, "--tally"),
            int.Parse(Value(args, "--beside") ?? "3", CultureInfo.InvariantCulture));
    }

    /// <summary>What follows a switch; null where it is not there.</summary>
    public static string? Value(string[] args, string name) => Array.IndexOf(args, name) is var i and >= 0 && i + 1 < args.Length ? args[i + 1] : null;
}
