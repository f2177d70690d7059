using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Watching;

/// <summary>The share's own id, kept in its .stiltwright folder, and the identity of a job on it.</summary>
public static class ShareIdentity
{
    private sealed record Kept(string Id);

    /// <summary>The id; made where the share has none.</summary>
    public static string Of(string share)
    {
        var folder = Path.Combine(share, SetPlace.OwnFolder);
        var path = Path.Combine(folder, "share.json");
        if (File.Exists(path))
        {
            try
            {
                if (JsonSerializer.Deserialize<Kept>(File.ReadAllText(path), JsonSerializerOptions.Web) is { Id.Length: > 0 } kept) return kept.Id;
            }
            catch (JsonException)
            {
                // Falls through to the sentence: a new id here would do every file of the share again.
            }

            throw new InvalidDataException($"{path} is damaged; it holds the share's id. Restore it from a copy, or delete it to let every file on the share be done anew.");
        }

        Directory.CreateDirectory(folder);
        var id = Guid.NewGuid().ToString("N");
        DurableFiles.Replace(path, JsonSerializer.Serialize(new Kept(id), JsonSerializerOptions.Web));
        return id;
    }

    /// <summary>Identity of a job: content, effective recipe (slip included), share and relative path.</summary>
    public static string OfJob(string contentSha256, string recipeHash, string shareId, string folder, string name)
    {
        var text = string.Join('\n', contentSha256, recipeHash, shareId, folder, name);
        return Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)));
    }
}
