using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

/// <summary>A share that passes each change on through one place, where a trial counts it, or lets it fail.</summary>
public abstract class WatchedFiles : ShareFiles
{
    public sealed override void MakeFolder(string path) => Change(nameof(MakeFolder), () => base.MakeFolder(path));

    public sealed override void MoveFolder(string from, string to) => Change(nameof(MoveFolder), () => base.MoveFolder(from, to));

    public sealed override void DeleteFolder(string path) => Change(nameof(DeleteFolder), () => base.DeleteFolder(path));

    public sealed override void DeleteEmptyFolder(string path) => Change(nameof(DeleteEmptyFolder), () => base.DeleteEmptyFolder(path));

    public sealed override void DeleteFile(string path) => Change(nameof(DeleteFile), () => base.DeleteFile(path));

    public sealed override void Replace(string path, string text) => Change(nameof(Replace), () => base.Replace(path, text));

    public sealed override void FlushFolder(string path) => Change(nameof(FlushFolder), () => base.FlushFolder(path));

    public sealed override Task<string> CopyIn(string from, string to, CancellationToken cancel) => Copy(from, to, () => base.CopyIn(from, to, cancel));

    /// <summary>One change but a copy: <paramref name="act"/> makes it.</summary>
    protected abstract void Change(string what, Action act);

    /// <summary>One file that is copied onto the share: <paramref name="act"/> copies it and returns its hash.</summary>
    protected abstract Task<string> Copy(string from, string to, Func<Task<string>> act);

    /// <summary>Leaves half of a file, as a copy that is cut off does.</summary>
    protected static void CopyHalf(string from, string to)
    {
        var bytes = File.ReadAllBytes(from);
        File.WriteAllBytes(to, bytes[..(bytes.Length / 2)]);
    }
}
