using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Publishing;

/// <summary>
/// Every change that is made on a share, and the reading of a source, one call each, so that each can be watched and made
/// to fail. What a share says no to comes out as an IOException or UnauthorizedAccessException.
/// </summary>
public class ShareFiles
{
    /// <summary>Takes a private copy of a source, hashing as it goes: the one thing that is read of a source while a job is done.</summary>
    /// <exception cref="SourceChangedException">It changed meanwhile.</exception>
    public virtual Task<SourceCopy> CopyOut(string source, string to, CancellationToken cancel) => SourceCopy.Take(source, to, cancel);

    /// <summary>Makes a folder and those above it.</summary>
    public virtual void MakeFolder(string path) => Directory.CreateDirectory(path);

    /// <summary>Renames a folder on the same volume to a name that nobody has.</summary>
    public virtual void MoveFolder(string from, string to) => Directory.Move(from, to);

    /// <summary>Deletes a folder with all in it.</summary>
    public virtual void DeleteFolder(string path) => Directory.Delete(path, true);

    /// <summary>Deletes a folder that is empty, in one step; one that holds something, or is not there, stays as it is.</summary>
    public virtual void DeleteEmptyFolder(string path)
    {
        try
        {
            Directory.Delete(path, false);
        }
        catch (DirectoryNotFoundException)
        {
            // Nothing to delete.
        }
        catch (IOException) when (Directory.Exists(path) && Directory.EnumerateFileSystemEntries(path).Any())
        {
            // It holds something, which is what keeps it.
        }
    }

    /// <summary>Deletes a file; one that is not there is fine.</summary>
    public virtual void DeleteFile(string path) => File.Delete(path);

    /// <summary>Copies a local file into a new one on the share and flushes it to the disk; returns the hash of what was copied.</summary>
    public virtual async Task<string> CopyIn(string from, string to, CancellationToken cancel) =>
        (await SourceCopy.HashingCopy(from, to, cancel, flushToDisk: true).ConfigureAwait(false)).Sha256;

    /// <summary>Hash of a file on the share.</summary>
    public virtual Task<string> Hash(string path, CancellationToken cancel) => SourceCopy.HashOf(path, cancel);

    /// <summary>Writes a small file whole or not at all, over an older one.</summary>
    public virtual void Replace(string path, string text) => DurableFiles.Replace(path, text);

    /// <summary>Makes renames inside a folder durable.</summary>
    public virtual void FlushFolder(string path) => DurableFiles.FlushFolder(path);
}
