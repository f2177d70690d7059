using System.IO.Enumeration;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Watching;

/// <summary>A source as one look saw it.</summary>
/// <param name="Folder">Name of the drop folder.</param>
/// <param name="Name">Name of the file.</param>
/// <param name="Path">Full path.</param>
/// <param name="Bytes">Length of the file.</param>
/// <param name="Look">Size and times, of the file and its slip.</param>
/// <param name="HasSlip">True if a slip lies beside it.</param>
public sealed record SeenSource(string Folder, string Name, string Path, long Bytes, Look Look, bool HasSlip);

/// <summary>A folder of the share as one look saw it.</summary>
/// <param name="Name">Its name.</param>
/// <param name="Path">Full path.</param>
/// <param name="Recipe">Its recipe; null where it is not served.</param>
/// <param name="Sources">The sources in it; null where it could not be read, which says nothing about what lies in it.</param>
/// <param name="LeftAlone">Sentences about what was left alone.</param>
/// <param name="Stamp">Ticks of the folder's own modification time.</param>
public sealed record SeenFolder(string Name, string Path, Recipe? Recipe, IReadOnlyList<SeenSource>? Sources, IReadOnlyList<string> LeftAlone, long Stamp)
{
    /// <summary>How many looks in a row found the folder's own time unchanged.</summary>
    public int Still { get; init; }
}

/// <summary>One look at a share: its folders and what lies in them. Nothing is opened and nothing is followed out of it.</summary>
public static class ShareView
{
    private static readonly EnumerationOptions Everything = new() { AttributesToSkip = 0, IgnoreInaccessible = false, ReturnSpecialDirectories = false };

    /// <summary>
    /// Looks. Null when the share is not there. Where <paramref name="before"/> is given, a folder whose own time has not
    /// changed over two looks is taken from there, unless <paramref name="anew"/> names it: files that are overwritten in
    /// place show only in a look into their folder.
    /// </summary>
    public static IReadOnlyList<SeenFolder>? Take(string share, IReadOnlyDictionary<string, Recipe> recipes, IReadOnlyList<SeenFolder>? before = null, IReadOnlySet<string>? anew = null)
    {
        if (!Directory.Exists(share)) return null;
        var known = (before ?? []).ToDictionary(f => f.Name, StringComparer.Ordinal);
        var folders = new List<SeenFolder>();
        foreach (var d in List(share).Where(e => e.IsFolder || e.IsLink).OrderBy(e => e.Name, StringComparer.Ordinal))
        {
            if (SourceNames.IsPassedOver(d.Name)) continue;
            var path = Path.Combine(share, d.Name);
            if (d.IsLink)
            {
                if (d.IsFolder || Directory.Exists(path)) folders.Add(new(d.Name, path, null, [], [$"{d.Name} is a link; links are not followed. Make it a real folder."], 0));
                continue;
            }

            recipes.TryGetValue(d.Name, out var recipe);
            known.TryGetValue(d.Name, out var last);
            var still = last is not null && last.Stamp == d.Written && last.Recipe == recipe ? last.Still + 1 : 0;
            folders.Add(
                recipe is null ? new(d.Name, path, null, [], [], d.Written)
                : still > 2 && last!.Sources is not null && anew?.Contains(d.Name) != true ? last with { Still = still }
                : Look(d, path, recipe) with { Still = still });
        }

        return folders;
    }

    private static SeenFolder Look(Entry folder, string path, Recipe recipe)
    {
        var left = new List<string>();
        List<Entry> entries;
        try
        {
            entries = List(path);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return new(folder.Name, path, recipe, null, [$"{folder.Name} cannot be read: {e.Message}"], 0);
        }

        entries.Sort((a, b) => string.CompareOrdinal(a.Name, b.Name));
        var slips = entries.Where(e => e.Name.EndsWith(Slip, StringComparison.OrdinalIgnoreCase) && e is { IsFolder: false, IsLink: false }).ToDictionary(e => e.Name, StringComparer.Ordinal);
        var sources = new List<SeenSource>();
        var same = new Dictionary<string, string>(StringComparer.Ordinal);
        foreach (var e in entries)
        {
            if (SourceNames.IsPassedOver(e.Name) || e.Attributes.HasFlag(FileAttributes.Hidden) || e.Attributes.HasFlag(FileAttributes.System)) continue;
            if (e.IsLink) left.Add($"{e.Name} is a link; links are not followed. Copy the file itself here.");
            else if (e.IsFolder) left.Add($"{e.Name} is a folder; parts that belong together are not done as one yet. Drop each file by itself.");
            else if (e.Attributes.HasFlag(FileAttributes.Offline)) left.Add($"{e.Name} is only a placeholder of a file that lies elsewhere; copy the file itself here.");
            else if (SourceNames.IsSource(e.Name)) Add(e);
            else if (e.Name.EndsWith(".zip", StringComparison.OrdinalIgnoreCase)) left.Add($"{e.Name} is an archive; archives are not unpacked yet. Drop each file by itself.");
            else if (!e.Name.EndsWith(Slip, StringComparison.OrdinalIgnoreCase)) left.Add($"{e.Name} is no source; sources end in {string.Join(", ", SourceNames.Endings)}.");
        }

        return new(folder.Name, path, recipe, sources, left, folder.Written);

        void Add(Entry e)
        {
            if (NameRules.Refusal(e.Name) is { } refusal) left.Add(refusal);
            else if (!same.TryAdd(NameRules.Same(e.Name), e.Name)) left.Add($"{e.Name} and {same[NameRules.Same(e.Name)]} are the same name to most people and programs, and their sets would be; rename one of them. Only the other is served.");
            else sources.Add(Source(e, folder.Name, path, slips));
        }
    }

    private const string Slip = ".slip.json";

    private static SeenSource Source(Entry e, string folder, string path, Dictionary<string, Entry> slips)
    {
        // A file that was put in another's place with the same length and time has mostly another time of making.
        var look = new Look(e.Bytes, e.Written ^ (e.Created * 17));
        // A slip that changes is a change of the job, so it settles with its source.
        var hasSlip = slips.TryGetValue(Path.GetFileNameWithoutExtension(e.Name) + Slip, out var slip);
        if (hasSlip) look = new Look(look.Bytes, look.Written ^ (slip.Written * 31) ^ (slip.Bytes << 7));
        return new(folder, e.Name, Path.Combine(path, e.Name), e.Bytes, look, hasSlip);
    }

    private static List<Entry> List(string folder) =>
        // What is passed over by its name alone is not asked for anything else: half of a share's entries are sets.
        [.. new FileSystemEnumerable<Entry>(folder, (ref FileSystemEntry e) =>
        {
            var link = (e.Attributes & FileAttributes.ReparsePoint) != 0;
            // Of a link nothing is asked: it may lead anywhere, or nowhere.
            return link || e.IsDirectory
                ? new Entry(e.FileName.ToString(), e.IsDirectory, link, e.Attributes, 0, link ? 0 : e.LastWriteTimeUtc.UtcTicks, 0)
                : new Entry(e.FileName.ToString(), false, false, e.Attributes, e.Length, e.LastWriteTimeUtc.UtcTicks, e.CreationTimeUtc.UtcTicks);
        }, Everything) { ShouldIncludePredicate = (ref FileSystemEntry e) => !SourceNames.IsPassedOver(e.FileName) }];

    private readonly record struct Entry(string Name, bool IsFolder, bool IsLink, FileAttributes Attributes, long Bytes, long Written, long Created);
}
