using System.Globalization;
using Dapper;

namespace Stiltwright.Host.Jobs;

/// <summary>What keeps the ledger true and small: whose job is whose, which services live, what may be forgotten.</summary>
public sealed partial class Ledger
{
    private long _skewTicks;

    /// <summary>Now, as the ledger writes times: by the database's clock where several services share it.</summary>
    public string Now() => UtcNow.ToString("O", CultureInfo.InvariantCulture);

    /// <summary>Notes that this service lives.</summary>
    public void Beat()
    {
        if (!_store.Shared) return;
        using var db = Open();
        NoteClock(db.ExecuteScalar<long>(
            $"INSERT INTO ledger_pcs (pc, beat) VALUES (@Pc, {_store.Clock}) ON CONFLICT (pc) DO UPDATE SET beat = EXCLUDED.beat RETURNING beat", new { Pc }));
    }

    /// <summary>Notes that this service ends on purpose: others need not wait before they take its jobs over.</summary>
    public void EndBeat()
    {
        if (!_store.Shared) return;
        using var db = Open();
        db.Execute("DELETE FROM ledger_pcs WHERE pc = @Pc", new { Pc });
    }

    /// <summary>The services that live, this one among them.</summary>
    public IReadOnlyList<string> Living()
    {
        if (!_store.Shared) return [Pc];
        using var db = Open();
        return db.Query<string>($"SELECT p.pc FROM ledger_pcs p WHERE {_store.IsAlive} ORDER BY p.pc").AsList();
    }

    /// <summary>True if a job belongs to this service: all do where it does not share the ledger.</summary>
    public bool IsOwn(JobRow job) => !_store.Shared || job.Owner == Pc;

    /// <summary>
    /// True if another service, alive or dead, has that run or a later one of the same job: what it has on the share, and
    /// what older runs left there, is that service's to settle, for it alone can tell the ledger of a set that stands.
    /// </summary>
    public bool OwnedElsewhere(string id, long fence)
    {
        if (!_store.Shared) return false;
        using var db = Open();
        return db.ExecuteScalar<long>(
            "SELECT COUNT(*) FROM ledger_jobs WHERE id = @id AND fence >= @fence AND owner <> @Pc AND state IN ('running', 'publishing')",
            new { id, fence, Pc }) > 0;
    }

    /// <summary>Jobs of a share that are running or waiting to be published and belong to this service or to a dead one.</summary>
    public IReadOnlyList<JobRow> Ours(string share)
    {
        using var db = Open();
        return db.Query<JobRow>(
            $"SELECT j.* FROM ledger_jobs j WHERE j.share = @share AND j.state IN ('running', 'publishing') AND (j.owner = @Pc OR NOT EXISTS (SELECT 1 FROM ledger_pcs p WHERE p.pc = j.owner AND {_store.IsAlive})) ORDER BY j.number",
            new { share, Pc }).AsList();
    }

    /// <summary>
    /// Takes over the run of a service that is dead, under the next fencing number: from here on the dead one, should it
    /// wake, has the job no more. Null if another was faster, or if it lives after all.
    /// </summary>
    public JobRow? TakeOver(JobRow job)
    {
        Beat();
        using var db = Open();
        return db.QueryFirstOrDefault<JobRow>(
            $"UPDATE ledger_jobs SET owner = @Pc, fence = fence + 1, changed = @now WHERE id = @Id AND fence = @Fence AND owner = @Owner AND state IN ('running', 'publishing') AND NOT EXISTS (SELECT 1 FROM ledger_pcs p WHERE p.pc = @Owner AND {_store.IsAlive}) RETURNING *",
            new { Pc, job.Id, job.Fence, job.Owner, now = Now() });
    }

    /// <summary>
    /// Keeps the name of a set's folder for a source, so that two services that publish at the same moment never choose the
    /// same one for two sources. <paramref name="inUse"/> tells of the source that has it now whether it still needs it.
    /// </summary>
    public bool KeepPlace(string share, string folder, string target, string source, Func<string, bool> inUse)
    {
        if (!_store.Shared) return true;
        using var db = Open();
        var key = new { share, folder, target, source };
        db.Execute("INSERT INTO ledger_places (share, folder, target, source) VALUES (@share, @folder, @target, @source) ON CONFLICT DO NOTHING", key);
        var has = db.ExecuteScalar<string>("SELECT source FROM ledger_places WHERE share = @share AND folder = @folder AND target = @target", key)!;
        if (string.Equals(has, source, StringComparison.OrdinalIgnoreCase)) return true;
        return !inUse(has) && db.Execute("UPDATE ledger_places SET source = @source WHERE share = @share AND folder = @folder AND target = @target AND source = @has", new { share, folder, target, source, has }) > 0;
    }

    /// <summary>How many jobs are not over, by state; every such state is named, also with none.</summary>
    public IReadOnlyList<(string State, long Count)> CountsByState()
    {
        using var db = Open();
        string[] states = [JobState.Queued, JobState.Running, JobState.Waiting, JobState.Publishing];
        var (list, values) = OneOf(states);
        var counts = db.Query<(string State, long Count)>($"SELECT state, COUNT(*) FROM ledger_jobs WHERE state IN {list} GROUP BY state", values).ToDictionary(c => c.State, c => c.Count, StringComparer.Ordinal);
        return [.. states.Select(s => (s, counts.GetValueOrDefault(s)))];
    }

    /// <summary>Jobs that have been queued for at least so long.</summary>
    public IReadOnlyList<JobRow> QueuedFor(string share, TimeSpan atLeast)
    {
        using var db = Open();
        return db.Query<JobRow>("SELECT * FROM ledger_jobs WHERE share = @share AND state = 'queued' AND (changed <= @before OR changed > @now) ORDER BY number", new { share, before = Before(atLeast), now = Now() }).AsList();
    }

    /// <summary>The queued jobs of a share that are large, or those that are not, first come first; at most so many.</summary>
    public IReadOnlyList<JobRow> NextQueued(string share, bool large, long largeFrom, int most)
    {
        using var db = Open();
        return db.Query<JobRow>($"SELECT * FROM ledger_jobs WHERE state = 'queued' AND share = @share AND bytes {(large ? ">=" : "<")} @largeFrom ORDER BY number LIMIT @most", new { share, largeFrom, most }).AsList();
    }

    /// <summary>Says that a job was queued anew just now.</summary>
    public void Touch(IReadOnlyList<string> ids)
    {
        using var db = Open();
        foreach (var id in ids) db.Execute("UPDATE ledger_jobs SET changed = @now WHERE id = @id AND state = 'queued'", new { id, now = Now() });
    }

    /// <summary>Forgets jobs that were dropped long ago: nothing was made of them.</summary>
    public int ForgetDropped(TimeSpan olderThan)
    {
        using var db = Open();
        // The highest number stays, or it would be given again.
        return db.Execute("DELETE FROM ledger_jobs WHERE state = 'dropped' AND changed < @before AND number < (SELECT MAX(number) FROM ledger_jobs)", new { before = Before(olderThan) });
    }

    /// <summary>A fact by name; null where there is none.</summary>
    public string? Fact(string name)
    {
        using var db = Open();
        return db.ExecuteScalar<string?>("SELECT value FROM ledger_facts WHERE name = @name", new { name });
    }

    /// <summary>Notes a fact.</summary>
    public void SetFact(string name, string value)
    {
        using var db = Open();
        SetFact(db, name, value);
    }

    /// <summary>Forgets services that were not heard of for long.</summary>
    public void ForgetServices(TimeSpan olderThan)
    {
        if (!_store.Shared) return;
        using var db = Open();
        db.Execute($"DELETE FROM ledger_pcs WHERE beat < {_store.Clock} - @ms", new { ms = (long)olderThan.TotalMilliseconds });
    }

    private DateTimeOffset UtcNow => _time.GetUtcNow() + TimeSpan.FromTicks(Interlocked.Read(ref _skewTicks));

    private string Before(TimeSpan age) => (UtcNow - age).ToString("O", CultureInfo.InvariantCulture);

    private void NoteClock(long databaseMs) =>
        Interlocked.Exchange(ref _skewTicks, (DateTimeOffset.FromUnixTimeMilliseconds(databaseMs) - _time.GetUtcNow()).Ticks);
}
