namespace Stiltwright.Host.Watching;

/// <summary>What one look at a file saw.</summary>
/// <param name="Bytes">Length.</param>
/// <param name="Written">Ticks of the modification time.</param>
public readonly record struct Look(long Bytes, long Written);

/// <summary>Whether a file may be taken.</summary>
public enum Settled
{
    /// <summary>It changed a short while ago.</summary>
    NotYet,

    /// <summary>It stood still, but is not whole by its own account, and may still be arriving.</summary>
    StillShort,

    /// <summary>Take it.</summary>
    Yes,
}

/// <summary>
/// Remembers since when each file has stood still, by this machine's monotonic clock: file times come from the server and
/// are only compared with each other.
/// </summary>
public sealed class Settling(TimeProvider time, Func<(TimeSpan Settle, TimeSpan Patience)> current)
{
    /// <summary>By fixed times.</summary>
    public Settling(TimeProvider time, TimeSpan settle, TimeSpan patience) : this(time, () => (settle, patience)) { }

    private readonly Dictionary<string, (Look Look, long Since)> _since = new(StringComparer.Ordinal);

    /// <summary>
    /// Notes a look. <paramref name="isWhole"/> is asked only once the file has stood still; after the patience time a
    /// file that is still not whole is let through, and reading it tells what is wrong.
    /// </summary>
    public Settled Observe(string path, Look look, Func<bool> isWhole)
    {
        var (settle, patience) = current();
        if (!_since.TryGetValue(path, out var before) || before.Look != look)
        {
            _since[path] = before = (look, time.GetTimestamp());
            if (settle > TimeSpan.Zero) return Settled.NotYet;
        }

        var still = time.GetElapsedTime(before.Since);
        if (still < settle) return Settled.NotYet;
        return still >= patience || isWhole() ? Settled.Yes : Settled.StillShort;
    }

    /// <summary>How long until the first of these files will have stood still for long enough, if nobody touches it; null where none is waited for.</summary>
    public TimeSpan? Next(IEnumerable<string> paths)
    {
        var (settle, _) = current();
        TimeSpan? next = null;
        foreach (var path in paths)
        {
            if (!_since.TryGetValue(path, out var since)) continue;
            var left = settle - time.GetElapsedTime(since.Since);
            if (left > TimeSpan.Zero && (next is null || left < next)) next = left;
        }

        return next;
    }

    /// <summary>Forgets files that are no longer there.</summary>
    public void KeepOnly(IReadOnlySet<string> paths)
    {
        foreach (var gone in _since.Keys.Where(k => !paths.Contains(k)).ToArray()) _since.Remove(gone);
    }
}
