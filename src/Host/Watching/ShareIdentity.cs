using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Watching;

/// <summary>
/// The share's own id and the ledger that serves it, kept in its .stiltwright folder, and the identity of a job on it.
/// </summary>
public static class ShareIdentity
{
    private sealed record Kept(string Id, string? Ledger);

    /// <summary>
    /// The id of a share that this ledger serves; made where the share has none. Asked at every look: an empty mount point,
    /// another share in the same place, or another service's share must not be taken for this one.
    /// </summary>
    /// <exception cref="InvalidDataException">The share is not to be served; the sentence says why and what to do.</exception>
    public static string Of(string share, Ledger ledger)
    {
        var path = PathOf(share);
        // Each PC may see another share under the same path.
        var fact = ledger.Store.Shared ? $"share:{ledger.Pc}:{share}" : "share:" + share;
        var known = ledger.Fact(fact);
        var kept = Read(path);
        if (kept is null)
        {
            if (known is not null)
                throw new InvalidDataException($"{share} was a share with the id {known}, but {path} is not there. Is the share mounted? If that file was deleted, write it again: {{\"id\":\"{known}\"}}. Nothing is done meanwhile.");
            // Another service may come to the same new share at the same moment: what stands then is what counts.
            DurableFiles.PlaceNew(Folder(path), JsonSerializer.Serialize(new Kept(Guid.NewGuid().ToString("N"), ledger.Id), JsonSerializerOptions.Web), ledger.Pc);
            kept = Read(path) ?? throw new InvalidDataException($"{path} was written and is not there; is another program tidying up on the share? Nothing is done meanwhile.");
        }
        else if (kept.Ledger is null)
        {
            DurableFiles.Replace(Folder(path), JsonSerializer.Serialize(kept = kept with { Ledger = ledger.Id }, JsonSerializerOptions.Web), ledger.Pc);
        }

        if (kept.Ledger != ledger.Id)
        {
            throw new InvalidDataException($"{share} is served by another service (ledger {kept.Ledger}, this one has {ledger.Id}); two would publish over each other. Stop the other one for good and take \"ledger\" out of {path}, or let both use one database. Nothing is done meanwhile.");
        }

        if (known != kept.Id) ledger.SetFact(fact, kept.Id);
        return kept.Id;
    }

    /// <summary>True while the share's note of its id can be seen: what lies in this place is a share, and no empty mount point.</summary>
    public static bool IsThere(string share) => File.Exists(PathOf(share));

    /// <summary>Identity of a job: content, effective recipe (slip included), share and relative path.</summary>
    public static string OfJob(string contentSha256, string recipeHash, string shareId, string folder, string name)
    {
        var text = string.Join('\n', contentSha256, recipeHash, shareId, folder, name);
        return Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)));
    }

    private static string PathOf(string share) => Path.Combine(share, SetPlace.OwnFolder, "share.json");

    private static Kept? Read(string path)
    {
        if (!File.Exists(path)) return null;
        try
        {
            if (JsonSerializer.Deserialize<Kept>(File.ReadAllText(path), JsonSerializerOptions.Web) is { Id.Length: > 0 } kept) return kept;
        }
        catch (JsonException)
        {
            // Falls through to the sentence: a new id here would do every file of the share again.
        }

        throw new InvalidDataException($"{path} is damaged; it holds the share's id. Restore it from a copy, or delete it to let every file on the share be done anew.");
    }

    /// <summary>The same path, when its folder was made and is a real one.</summary>
    private static string Folder(string path)
    {
        var folder = Path.GetDirectoryName(path)!;
        if (new DirectoryInfo(folder) is { Exists: true, LinkTarget: not null }) throw new InvalidDataException($"{folder} is a link; the service keeps its notes only in a real folder of the share. Remove the link.");
        Directory.CreateDirectory(folder);
        return path;
    }
}
