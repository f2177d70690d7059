using Dapper;

namespace Stiltwright.Host.Jobs;

/// <summary>What the ledger forgets, so that years of drops do not make it grow.</summary>
public sealed partial class Ledger
{
    /// <summary>
    /// Forgets finished jobs whose source was taken away, and the mails about them, after the time for records. Kept for
    /// ever: jobs whose source still lies there (it is not to be done again), prints that somebody recorded an outcome of,
    /// and the highest number, which would be given again.
    /// </summary>
    /// <returns>How many jobs were forgotten.</returns>
    public int ForgetGone(TimeSpan olderThan)
    {
        using var db = Open();
        using var tx = db.BeginTransaction();
        var before = Before(olderThan);
        var jobs = db.Execute(
            "DELETE FROM ledger_jobs WHERE state IN ('done', 'parked') AND gone = 1 AND changed < @before AND number < (SELECT MAX(number) FROM ledger_jobs) AND number NOT IN (SELECT number FROM ledger_outcomes)",
            new { before }, tx);
        db.Execute("DELETE FROM ledger_mails WHERE state IN ('sent', 'gathered') AND created < @before AND job NOT IN (SELECT id FROM ledger_jobs)", new { before }, tx);
        tx.Commit();
        return jobs;
    }
}
