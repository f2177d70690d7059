namespace Stiltwright.Host.Tests;

/// <summary>A share that fails at its nth change: before it, after it, or (copying a file) in the midst of it.</summary>
public sealed class BreakingFiles(int at, BreakingFiles.When when, Func<Exception> fault) : WatchedFiles
{
    public enum When { Before, Midway, After }

    public int Count { get; private set; }

    /// <summary>Only counts.</summary>
    public static BreakingFiles Counting() => new(int.MaxValue, When.Before, () => new InvalidOperationException());

    /// <summary>Fails at every change from the nth on, as a full or read-only disk does.</summary>
    public bool FromThenOn { get; init; }

    protected override async Task<string> Copy(string from, string to, Func<Task<string>> act)
    {
        if (Hit(When.Before)) throw fault();
        if (Hit(When.Midway))
        {
            CopyHalf(from, to);
            throw fault();
        }

        var sha = await act();
        if (Hit(When.After)) throw fault();
        Count++;
        return sha;
    }

    protected override void Change(string what, Action act)
    {
        if (Hit(When.Before) || Hit(When.Midway)) throw fault();
        act();
        if (Hit(When.After)) throw fault();
        Count++;
    }

    private bool Hit(When now) => now == when && (Count + 1 == at || (FromThenOn && Count + 1 >= at));
}
