using System.Globalization;
using Dapper;

namespace Stiltwright.Host.Jobs;

/// <summary>What keeps the ledger true and small: whose job is whose, which services live, what may be forgotten.</summary>
public sealed partial class Ledger
{
    /// <summary>Notes that this service lives.</summary>
    public void Beat()
    {
        using var db = Open();
        db.Execute(_store.Beat, new { Pc });
    }

    /// <summary>True if another service that lives has that run.</summary>
    public bool HeldElsewhere(string id, long fence)
    {
        if (!_store.Shared) return false;
        using var db = Open();
        return db.ExecuteScalar<long>(
            $"SELECT COUNT(*) FROM ledger_jobs j JOIN ledger_pcs p ON p.pc = j.owner WHERE j.id = @id AND j.fence = @fence AND j.owner <> @Pc AND j.state IN ('running', 'publishing') AND {_store.IsAlive}",
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

    /// <summary>Takes over a finished run of a service that is dead, so that one only publishes it; false if another was faster.</summary>
    public bool TakeOver(JobRow job)
    {
        using var db = Open();
        return db.Execute("UPDATE ledger_jobs SET owner = @Pc WHERE id = @Id AND fence = @Fence AND owner = @Owner", new { Pc, job.Id, job.Fence, job.Owner }) > 0;
    }

    /// <summary>Jobs that have been queued for at least so long.</summary>
    public IReadOnlyList<JobRow> QueuedFor(string share, TimeSpan atLeast)
    {
        using var db = Open();
        return db.Query<JobRow>("SELECT * FROM ledger_jobs WHERE share = @share AND state = 'queued' AND (changed <= @before OR changed > @now) ORDER BY number", new { share, before = Before(atLeast), now = Now() }).AsList();
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

    private string Before(TimeSpan age) => (_time.GetUtcNow() - age).ToString("O", CultureInfo.InvariantCulture);
}
