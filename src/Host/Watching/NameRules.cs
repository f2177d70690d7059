using System.Text;

namespace Stiltwright.Host.Watching;

/// <summary>Names of files that cannot be served although they end like a source, and why.</summary>
public static class NameRules
{
    // A set and the files in it carry the source's name with something added; file systems end at 255 bytes.
    private const int LongestBytes = 200;

    // Names that Windows keeps for devices, with any ending (Microsoft Learn, "Naming Files, Paths, and Namespaces").
    private static readonly HashSet<string> Devices = new(
        ["CON", "PRN", "AUX", "NUL", .. Enumerable.Range(1, 9).SelectMany(n => new[] { $"COM{n}", $"LPT{n}" })], StringComparer.OrdinalIgnoreCase);

    /// <summary>A whole sentence why a file of that name is left alone; null where the name is fine.</summary>
    public static string? Refusal(string name)
    {
        if (name.Contains('\uFFFD')) return $"{Shown(name)} has a name that is not valid UTF-8, so the file cannot be opened reliably; rename it.";
        if (name.Any(char.IsControl)) return $"{Shown(name)} has a control character in its name; rename it.";
        if (Encoding.UTF8.GetByteCount(name) > LongestBytes) return $"{Shown(name)} has a name of more than {LongestBytes} bytes, too long for the files of its set; rename it.";
        if (Devices.Contains(name.Split('.')[0].TrimEnd(' '))) return $"{Shown(name)} has a name that Windows keeps for a device, so its set could not be opened there; rename it.";
        return null;
    }

    /// <summary>What is the same name to people and to a share that does not tell upper from lower case.</summary>
    public static string Same(string name)
    {
        try
        {
            return name.Normalize(NormalizationForm.FormC).ToUpperInvariant();
        }
        catch (ArgumentException)
        {
            return name.ToUpperInvariant(); // Half a surrogate pair: no text, but still a name.
        }
    }

    private static string Shown(string name)
    {
        var clean = string.Concat(name.Select(c => char.IsControl(c) ? ' ' : c));
        return clean.Length > 60 ? clean[..57] + "..." : clean;
    }
}
