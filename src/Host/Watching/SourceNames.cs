using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Watching;

/// <summary>Which names on the share are sources, and which are to be passed over in silence.</summary>
public static class SourceNames
{
    /// <summary>Endings of the formats that are read.</summary>
    public static readonly string[] Endings = [".stl", ".obj", ".ply", ".3mf"];

    private static readonly string[] TemporaryEndings = [".tmp", ".temp", ".part", ".partial", ".crdownload", ".download", ".filepart", ".swp", ".bak", "~"];

    /// <summary>True if the name is that of a source.</summary>
    public static bool IsSource(string path) =>
        Endings.Contains(Path.GetExtension(path), StringComparer.OrdinalIgnoreCase) && !IsPassedOver(Path.GetFileName(path));

    /// <summary>True for hidden and temporary names, sets and our own folders.</summary>
    public static bool IsPassedOver(ReadOnlySpan<char> name)
    {
        if (name.Length == 0 || name[0] is '.' or '~' or '$' || name.EndsWith(SetPlace.Ending, StringComparison.OrdinalIgnoreCase)) return true;
        foreach (var ending in TemporaryEndings)
            if (name.EndsWith(ending, StringComparison.OrdinalIgnoreCase)) return true;
        return name.Equals("Thumbs.db", StringComparison.OrdinalIgnoreCase) || name.Equals("desktop.ini", StringComparison.OrdinalIgnoreCase);
    }
}
