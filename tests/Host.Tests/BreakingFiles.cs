using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Tests;

/// <summary>A share that fails at its nth change: before it, after it, or (copying a file) in the midst of it.</summary>
public sealed class BreakingFiles(int at, BreakingFiles.When when, Func<Exception> fault) : ShareFiles
{
    public enum When { Before, Midway, After }

    public int Count { get; private set; }

    /// <summary>Only counts.</summary>
    public static BreakingFiles Counting() => new(int.MaxValue, When.Before, () => new InvalidOperationException());

    /// <summary>Fails at every change from the nth on, as a full or read-only disk does.</summary>
    public bool FromThenOn { get; init; }

    public override void MakeFolder(string path) => Do(() => base.MakeFolder(path));

    public override void MoveFolder(string from, string to) => Do(() => base.MoveFolder(from, to));

    public override void DeleteFolder(string path) => Do(() => base.DeleteFolder(path));

    public override void DeleteEmptyFolder(string path) => Do(() => base.DeleteEmptyFolder(path));

    public override void DeleteFile(string path) => Do(() => base.DeleteFile(path));

    public override void Replace(string path, string text) => Do(() => base.Replace(path, text));

    public override void FlushFolder(string path) => Do(() => base.FlushFolder(path));

    public override async Task<string> CopyIn(string from, string to, CancellationToken cancel)
    {
        if (Hit(When.Before)) throw fault();
        if (Hit(When.Midway))
        {
            var bytes = File.ReadAllBytes(from);
            File.WriteAllBytes(to, bytes[..(bytes.Length / 2)]);
            throw fault();
        }

        var sha = await base.CopyIn(from, to, cancel);
        if (Hit(When.After)) throw fault();
        Count++;
        return sha;
    }

    private void Do(Action act)
    {
        if (Hit(When.Before) || Hit(When.Midway)) throw fault();
        act();
        if (Hit(When.After)) throw fault();
        Count++;
    }

    private bool Hit(When now) => now == when && (Count + 1 == at || (FromThenOn && Count + 1 >= at));
}
