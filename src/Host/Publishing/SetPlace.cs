using System.Text.Json;

namespace Stiltwright.Host.Publishing;

/// <summary>What a set that lies on the share says of itself.</summary>
/// <param name="SourceFile">Name of its source.</param>
/// <param name="Outcome">ready, check or stop.</param>
/// <param name="Number">Its number.</param>
/// <param name="FirstFinding">Text of its first finding; empty if there is none.</param>
public sealed record SetGlance(string SourceFile, string Outcome, string Number, string FirstFinding)
{
    /// <summary>Reads summary.json of a set; null if there is none that can be read.</summary>
    public static SetGlance? Read(string setFolder)
    {
        var path = Path.Combine(setFolder, "summary.json");
        try
        {
            using var s = File.OpenRead(path);
            using var json = JsonDocument.Parse(s);
            var root = json.RootElement;
            var findings = root.TryGetProperty("findings", out var f) && f.ValueKind == JsonValueKind.Array && f.GetArrayLength() > 0 ? f[0].GetProperty("text").GetString() : "";
            return new SetGlance(
                root.GetProperty("source").GetProperty("file").GetString() ?? "",
                root.GetProperty("outcome").GetString() ?? "",
                root.TryGetProperty("number", out var n) ? n.ToString() : "",
                findings ?? "");
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or JsonException or KeyNotFoundException or InvalidOperationException)
        {
            return null; // Not a set of ours, or not whole: the caller decides by this null.
        }
    }
}

/// <summary>Finds the name under which a source's set lies.</summary>
public static class SetPlace
{
    /// <summary>Ending of a set's folder.</summary>
    public const string Ending = ".set";

    /// <summary>Our own folder in a drop folder and on the share.</summary>
    public const string OwnFolder = ".stiltwright";

    /// <summary>
    /// The folder for the set of a source: its name without ending, or with it where that name is another source's set
    /// or is not ours. Null where both are taken by something else.
    /// </summary>
    /// <param name="dropFolder">The drop folder.</param>
    /// <param name="sourceName">The source.</param>
    /// <param name="mayHave">Asked before a name is chosen, where others choose names in the same folder; null where none do.</param>
    public static string? For(string dropFolder, string sourceName, Func<string, bool>? mayHave = null)
    {
        foreach (var name in (string[])[Path.GetFileNameWithoutExtension(sourceName) + Ending, sourceName + Ending])
        {
            var place = Path.Combine(dropFolder, name);
            if (File.Exists(place)) continue;
            if ((!Directory.Exists(place) || IsSetOf(place, sourceName)) && (mayHave is null || mayHave(name))) return place;
        }

        return null;
    }

    /// <summary>The set of a source where one stands; null where none does.</summary>
    public static string? Standing(string dropFolder, string sourceName) =>
        For(dropFolder, sourceName) is { } place && Directory.Exists(place) ? place : null;

    /// <summary>True if a folder is a set of that source.</summary>
    /// <exception cref="PublishBlockedException">Its summary cannot be read now.</exception>
    public static bool IsSetOf(string place, string sourceName)
    {
        // A summary that cannot be read now (a scanner has it) is not the same as one that is not there: under another
        // name the older set would go on standing beside the new one.
        var summary = Path.Combine(place, "summary.json");
        if (File.Exists(summary))
        {
            try
            {
                using var s = File.OpenRead(summary);
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException)
            {
                throw new PublishBlockedException($"{summary} cannot be read: {e.Message} Whose set it is must be known before a new one is put in its place; it is tried again.", e);
            }
        }

        return SetGlance.Read(place) is { } facts && string.Equals(facts.SourceFile, sourceName, StringComparison.OrdinalIgnoreCase);
    }
}
