using Stiltwright.Host.Configuration;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Watching;

/// <summary>A source as one look saw it.</summary>
/// <param name="Folder">Name of the drop folder.</param>
/// <param name="Name">Name of the file.</param>
/// <param name="Path">Full path.</param>
/// <param name="Look">Size and time, of the file and its slip.</param>
public sealed record SeenSource(string Folder, string Name, string Path, Look Look);

/// <summary>A folder of the share as one look saw it.</summary>
/// <param name="Name">Its name.</param>
/// <param name="Path">Full path.</param>
/// <param name="Recipe">Its recipe; null where it is not served.</param>
/// <param name="Sources">The sources in it.</param>
/// <param name="LeftAlone">Sentences about what was left alone.</param>
public sealed record SeenFolder(string Name, string Path, Recipe? Recipe, IReadOnlyList<SeenSource> Sources, IReadOnlyList<string> LeftAlone);

/// <summary>One look at a share: its folders and what lies in them. Nothing is opened and nothing is followed out of it.</summary>
public static class ShareView
{
    /// <summary>Looks. Null when the share is not there.</summary>
    public static IReadOnlyList<SeenFolder>? Take(string share, IReadOnlyDictionary<string, Recipe> recipes)
    {
        if (!Directory.Exists(share)) return null;
        var folders = new List<SeenFolder>();
        foreach (var d in new DirectoryInfo(share).EnumerateDirectories().OrderBy(d => d.Name, StringComparer.Ordinal))
        {
            if (SourceNames.IsPassedOver(d.Name)) continue;
            if (IsLink(d))
            {
                folders.Add(new(d.Name, d.FullName, null, [], [$"{d.Name} is a link; links are not followed. Make it a real folder."]));
                continue;
            }

            folders.Add(recipes.TryGetValue(d.Name, out var recipe) ? Look(d, recipe) : new(d.Name, d.FullName, null, [], []));
        }

        return folders;
    }

    private static SeenFolder Look(DirectoryInfo folder, Recipe recipe)
    {
        var sources = new List<SeenSource>();
        var left = new List<string>();
        foreach (var e in folder.EnumerateFileSystemInfos().OrderBy(e => e.Name, StringComparer.Ordinal))
        {
            if (SourceNames.IsPassedOver(e.Name) || e.Attributes.HasFlag(FileAttributes.Hidden) || e.Attributes.HasFlag(FileAttributes.System)) continue;
            if (IsLink(e)) left.Add($"{e.Name} is a link; links are not followed. Copy the file itself here.");
            else if (e is DirectoryInfo) left.Add($"{e.Name} is a folder; parts that belong together are not done as one yet. Drop each file by itself.");
            else if (SourceNames.IsSource(e.Name) && e is FileInfo f) AddSource(f, folder.Name, sources);
            else if (e.Name.EndsWith(".zip", StringComparison.OrdinalIgnoreCase)) left.Add($"{e.Name} is an archive; archives are not unpacked yet. Drop each file by itself.");
            else if (!e.Name.EndsWith(".slip.json", StringComparison.OrdinalIgnoreCase)) left.Add($"{e.Name} is no source; sources end in {string.Join(", ", SourceNames.Endings)}.");
        }

        return new(folder.Name, folder.FullName, recipe, sources, left);
    }

    private static void AddSource(FileInfo file, string folder, List<SeenSource> sources)
    {
        try
        {
            // A slip that changes is a change of the job, so it settles with its source.
            var slip = new FileInfo(SlipReader.PathFor(file.FullName));
            var look = new Look(file.Length, file.LastWriteTimeUtc.Ticks);
            if (slip.Exists && !IsLink(slip)) look = new Look(look.Bytes, look.Written ^ (slip.LastWriteTimeUtc.Ticks * 31) ^ (slip.Length << 7));
            sources.Add(new(folder, file.Name, file.FullName, look));
        }
        catch (FileNotFoundException)
        {
            // It went between listing and looking; the next look sees what is there then.
        }
    }

    private static bool IsLink(FileSystemInfo e) => e.Attributes.HasFlag(FileAttributes.ReparsePoint) || e.LinkTarget is not null;
}
