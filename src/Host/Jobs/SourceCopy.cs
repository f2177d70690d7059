using System.Security.Cryptography;

namespace Stiltwright.Host.Jobs;

/// <summary>The source changed while it was copied; it is taken again when it has settled.</summary>
public sealed class SourceChangedException(string path) : IOException($"{path} changed while it was copied.");

/// <summary>A private copy of a source with the hash of exactly those bytes.</summary>
/// <param name="Path">The copy.</param>
/// <param name="Sha256">Lower-case hex.</param>
/// <param name="Length">Bytes.</param>
public sealed record SourceCopy(string Path, string Sha256, long Length)
{
    /// <summary>Copies a source, hashing as it goes, and makes sure that it did not change meanwhile.</summary>
    /// <exception cref="SourceChangedException">Length or time changed during the copy.</exception>
    public static Task<SourceCopy> Take(string source, string to, CancellationToken cancel) => Take(source, to, null, cancel);

    /// <summary>As above; <paramref name="meanwhile"/> runs between the last byte read and the check, where a test changes the source.</summary>
    public static async Task<SourceCopy> Take(string source, string to, Action? meanwhile, CancellationToken cancel)
    {
        var before = new FileInfo(source);
        // The look that found it followed no link; what lies there now must not be one either.
        if (before.LinkTarget is not null || before.Directory?.LinkTarget is not null) throw new SourceChangedException(source);
        var (length, written) = (before.Length, before.LastWriteTimeUtc);
        var (sha, copied) = await HashingCopy(source, to, cancel).ConfigureAwait(false);
        meanwhile?.Invoke();
        before.Refresh();
        if (copied != length || before.Length != length || before.LastWriteTimeUtc != written) throw new SourceChangedException(source);
        return new SourceCopy(to, sha, length);
    }

    /// <summary>Copies a file into a new one; returns the hash of what was copied.</summary>
    public static async Task<(string Sha256, long Length)> HashingCopy(string from, string to, CancellationToken cancel, bool flushToDisk = false)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        var buffer = new byte[1 << 17];
        long total = 0;
        await using var input = new FileStream(from, FileMode.Open, FileAccess.Read, FileShare.Read, 1, FileOptions.SequentialScan | FileOptions.Asynchronous);
        await using var output = new FileStream(to, FileMode.CreateNew, FileAccess.Write, FileShare.None, 1, FileOptions.Asynchronous);
        int n;
        while ((n = await input.ReadAsync(buffer, cancel).ConfigureAwait(false)) > 0)
        {
            hash.AppendData(buffer, 0, n);
            await output.WriteAsync(buffer.AsMemory(0, n), cancel).ConfigureAwait(false);
            total += n;
        }

        if (flushToDisk) output.Flush(flushToDisk: true);
        return (Convert.ToHexStringLower(hash.GetHashAndReset()), total);
    }

    /// <summary>Hash of a file as it can be read now.</summary>
    public static async Task<string> HashOf(string path, CancellationToken cancel)
    {
        await using var s = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read, 1 << 17, FileOptions.SequentialScan | FileOptions.Asynchronous);
        return Convert.ToHexStringLower(await SHA256.HashDataAsync(s, cancel).ConfigureAwait(false));
    }
}
