using System.Data.Common;
using System.Globalization;
using System.Text;
using Dapper;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// The record of every job: SQLite on a local disk, or one database for several services. Small methods, each one
/// transaction; safe from several threads. Times are ISO 8601 in UTC.
/// </summary>
public sealed partial class Ledger
{
    private readonly TimeProvider _time;
    private readonly LedgerStore _store;

    /// <summary>Opens the ledger of a state folder, making it where it is missing.</summary>
    public Ledger(string stateFolder, TimeProvider time) : this(new SqliteStore(stateFolder), time, ServiceName.Of(stateFolder)) { }

    /// <summary>Opens a ledger, making its tables where they are missing.</summary>
    /// <param name="store">Where it lies.</param>
    /// <param name="time">Clock.</param>
    /// <param name="pc">Name of this service among those that share the ledger.</param>
    public Ledger(LedgerStore store, TimeProvider time, string pc)
    {
        (_store, _time, Pc) = (store, time, pc);
        using var db = Open();
        if (store.Prelude.Length > 0) db.Execute(store.Prelude);
        using var tx = db.BeginTransaction();
        // Several services may start at the same moment, and one of them makes the tables.
        if (store.LockTables.Length > 0) db.Execute(store.LockTables, transaction: tx);
        db.Execute(store.Words(LedgerSchema.Sql), transaction: tx);
        var found = db.ExecuteScalar<string?>("SELECT value FROM ledger_facts WHERE name = 'version'", transaction: tx);
        var version = found is null ? LedgerSchema.Version : int.Parse(found, CultureInfo.InvariantCulture);
        if (version > LedgerSchema.Version)
            throw new InvalidDataException($"The ledger was made by a newer version of the program (tables {version}, this one knows {LedgerSchema.Version}); use that version.");
        for (; version < LedgerSchema.Version; version++) db.Execute(store.Words(LedgerSchema.Upgrades[version]), transaction: tx);
        SetFact(db, "version", LedgerSchema.Version.ToString(CultureInfo.InvariantCulture), tx);
        db.Execute("INSERT INTO ledger_facts VALUES ('id', @id) ON CONFLICT (name) DO NOTHING", new { id = Guid.NewGuid().ToString("N") }, tx);
        tx.Commit();
        if (store.Clock.Length > 0) NoteClock(db.ExecuteScalar<long>("SELECT " + store.Clock));
        Id = db.ExecuteScalar<string>("SELECT value FROM ledger_facts WHERE name = 'id'")!;
    }

    /// <summary>The ledger's own id: a share names the ledger that serves it.</summary>
    public string Id { get; }

    /// <summary>Name of this service among those that share the ledger.</summary>
    public string Pc { get; }

    /// <summary>Where it lies.</summary>
    public LedgerStore Store => _store;

    /// <summary>
    /// Enters a new job under the next number and drops older ones of the same source that are not finished: their result
    /// is no longer wanted. Null if another service entered one since <paramref name="after"/> was seen to be the latest.
    /// </summary>
    public JobRow? AddAfter(JobRow? after, string identity, string share, string folder, string source, string recipe, long bytes)
    {
        using var db = Open();
        using var tx = db.BeginTransaction();
        if (_store.LockNumbers.Length > 0) db.Execute(_store.LockNumbers, transaction: tx);
        var latest = db.QueryFirstOrDefault<JobRow>(KnownSql, new { identity }, tx);
        if (latest?.Number != after?.Number) return null;
        var now = Now();
        db.Execute(
            "UPDATE ledger_jobs SET state = 'dropped', changed = @now WHERE share = @share AND folder = @folder AND source = @source AND state IN ('queued', 'waiting', 'running', 'publishing')",
            new { now, share, folder, source }, tx);
        var job = new JobRow
        {
            Id = Guid.NewGuid().ToString("N")[..16],
            Number = db.ExecuteScalar<long>("SELECT COALESCE(MAX(number), 0) + 1 FROM ledger_jobs", transaction: tx),
            Identity = identity,
            Share = share,
            Folder = folder,
            Source = source,
            Recipe = recipe,
            Bytes = bytes,
            State = JobState.Queued,
            Created = now,
            Changed = now,
        };
        db.Execute(
            "INSERT INTO ledger_jobs (id, number, identity, share, folder, source, recipe, bytes, state, created, changed) VALUES (@Id, @Number, @Identity, @Share, @Folder, @Source, @Recipe, @Bytes, @State, @Created, @Changed)",
            job, tx);
        tx.Commit();
        return job;
    }

    /// <summary>Enters a new job.</summary>
    public JobRow Add(string identity, string share, string folder, string source, string recipe, long bytes) =>
        AddAfter(Known(identity), identity, share, folder, source, recipe, bytes) ?? throw new InvalidOperationException("Another service entered the same job at the same moment.");

    /// <summary>The latest job of an identity that was not dropped; null where there is none.</summary>
    public JobRow? Known(string identity)
    {
        using var db = Open();
        return db.QueryFirstOrDefault<JobRow>(KnownSql, new { identity });
    }

    /// <summary>A job by id.</summary>
    public JobRow? Find(string id)
    {
        using var db = Open();
        return db.QueryFirstOrDefault<JobRow>("SELECT * FROM ledger_jobs WHERE id = @id", new { id });
    }

    /// <summary>Jobs in a state, oldest first.</summary>
    public IReadOnlyList<JobRow> InState(params string[] states)
    {
        using var db = Open();
        var (list, values) = OneOf(states);
        return db.Query<JobRow>($"SELECT * FROM ledger_jobs WHERE state IN {list} ORDER BY number", values).AsList();
    }

    /// <summary>
    /// The latest jobs of a share, youngest first, one a source, dropped ones left out. What is being done is always among
    /// them, however many came after it.
    /// </summary>
    public IReadOnlyList<JobRow> Latest(string share, int most)
    {
        using var db = Open();
        // A job that is being done is always the latest of its source: a later one would have dropped it.
        var open = db.Query<JobRow>("SELECT * FROM ledger_jobs WHERE share = @share AND state IN ('running', 'publishing')", new { share }).AsList();
        var others = db.Query<JobRow>($"SELECT * FROM ledger_jobs WHERE number IN ({LatestSql} ORDER BY 1 DESC LIMIT @most)", new { share, most }).Where(j => open.All(o => o.Id != j.Id));
        return [.. open.Concat(others.OrderByDescending(j => j.Number)).Take(most).OrderByDescending(j => j.Number)];
    }

    /// <summary>How many there are of all of them that <see cref="Latest"/> chooses from and a board shows, by state and outcome.</summary>
    public IReadOnlyList<(string State, string? Outcome, int Count)> CountsOfLatest(string share)
    {
        using var db = Open();
        return [.. db.Query<(string State, string? Outcome, long Count)>(
            $"SELECT state, outcome, COUNT(*) FROM ledger_jobs WHERE number IN ({LatestSql}) AND (gone = 0 OR outcome IS NOT NULL) GROUP BY state, outcome", new { share }).Select(c => (c.State, c.Outcome, (int)c.Count))];
    }

    /// <summary>Takes a queued job for a run: its next fencing number and attempt. Null if it is not queued any more.</summary>
    public JobRow? Claim(string id)
    {
        // One that just woke from a long sleep must be known to live before it takes anything.
        if (_store.Shared) Beat();
        using var db = Open();
        return db.QueryFirstOrDefault<JobRow>(
            "UPDATE ledger_jobs SET state = 'running', fence = fence + 1, attempts = attempts + 1, sentence = NULL, made = NULL, owner = @Pc, changed = @now WHERE id = @id AND state = 'queued' RETURNING *",
            new { id, Pc, now = Now() });
    }

    /// <summary>Begins another attempt of a run that has the job; null if it has it no more.</summary>
    public JobRow? ClaimAgain(string id, long fence)
    {
        using var db = Open();
        return db.QueryFirstOrDefault<JobRow>(
            "UPDATE ledger_jobs SET fence = fence + 1, attempts = attempts + 1, changed = @now WHERE id = @id AND state = 'running' AND fence = @fence RETURNING *",
            new { id, fence, now = Now() });
    }

    /// <summary>True if that run still has the job.</summary>
    public bool IsCurrent(string id, long fence)
    {
        using var db = Open();
        return db.ExecuteScalar<long>("SELECT COUNT(*) FROM ledger_jobs WHERE id = @id AND fence = @fence AND state IN ('running', 'publishing', 'done', 'parked')", new { id, fence }) > 0;
    }

    /// <summary>Changes the state of a job that a run has; false if it has it no more.</summary>
    public bool Leave(string id, long fence, string state, string? sentence, bool countAttempt)
    {
        using var db = Open();
        return db.Execute(
            "UPDATE ledger_jobs SET state = @state, sentence = @sentence, attempts = attempts - @less, changed = @now WHERE id = @id AND fence = @fence AND state = 'running'",
            new { id, fence, state, sentence = Storable(sentence), less = countAttempt ? 0 : 1, now = Now() }) > 0;
    }

    /// <summary>Jobs that have waited for at least so long.</summary>
    public IReadOnlyList<JobRow> WaitingFor(TimeSpan atLeast)
    {
        using var db = Open();
        var before = Before(atLeast);
        // A time in the future was written before the clock was set back; it counts as long ago.
        return db.Query<JobRow>("SELECT * FROM ledger_jobs WHERE state = 'waiting' AND (changed <= @before OR changed > @now) ORDER BY number", new { before, now = Now() }).AsList();
    }

    /// <summary>Queues a job again: one that waited, one that a dead service left, or one whose finished set was lost before it stood.</summary>
    /// <param name="id">The job.</param>
    /// <param name="from">The state it was seen in.</param>
    /// <param name="fence">The run it was seen in; null where any will do. Another service may have begun a later one.</param>
    public bool Requeue(string id, string from, long? fence = null)
    {
        using var db = Open();
        // What was made once broke nothing down: its attempts begin anew.
        return db.Execute(
            $"UPDATE ledger_jobs SET state = 'queued', attempts = CASE WHEN state = 'publishing' THEN 0 ELSE attempts END, changed = @now WHERE id = @id AND state = @from{(fence is null ? "" : " AND fence = @fence")}",
            new { id, from, fence, now = Now() }) > 0;
    }

    /// <summary>Drops a job whose source is gone before it was done.</summary>
    public void Drop(string id)
    {
        using var db = Open();
        db.Execute("UPDATE ledger_jobs SET state = 'dropped', changed = @now WHERE id = @id AND state IN ('queued', 'waiting', 'running', 'publishing')", new { id, now = Now() });
    }

    /// <summary>The set lies whole in this service's scratch; from here on only publishing is left. False if the run has the job no more.</summary>
    public bool NoteMade(string id, long fence, string asState, double? took)
    {
        using var db = Open();
        return db.Execute(
            "UPDATE ledger_jobs SET state = 'publishing', made = @asState, took = @took, changed = @now WHERE id = @id AND fence = @fence AND state = 'running'",
            new { id, fence, asState, took, now = Now() }) > 0;
    }

    /// <summary>Says why a set is not published yet.</summary>
    public void NotePublishing(string id, long fence, string sentence)
    {
        using var db = Open();
        db.Execute("UPDATE ledger_jobs SET sentence = @sentence, changed = @now WHERE id = @id AND fence = @fence AND state = 'publishing'", new { id, fence, sentence = Storable(sentence), now = Now() });
    }

    /// <summary>A set stands: the job is done (or parked), and the mail about it is in the outbox, in one step.</summary>
    public bool Finish(string id, long fence, string state, string outcome, string sentence, string target, double? took, MailRow? mail)
    {
        using var db = Open();
        using var tx = db.BeginTransaction();
        var now = Now();
        var done = db.Execute(
            "UPDATE ledger_jobs SET state = @state, outcome = @outcome, sentence = @sentence, target = @target, took = COALESCE(@took, took), changed = @now WHERE id = @id AND fence = @fence AND state NOT IN ('done', 'parked')",
            new { id, fence, state, outcome, sentence = Storable(sentence), target, took, now }, tx) > 0;
        if (done && mail is not null)
        {
            mail.Created = now;
            db.Execute(MailSql, mail, tx);
        }

        tx.Commit();
        return done;
    }

    /// <summary>
    /// Marks the finished jobs of a source as gone from the share, so that dropping it again is a new job. Jobs after
    /// <paramref name="upTo"/> were entered by another service after the look that did not find it, and stay.
    /// </summary>
    public void MarkGone(string share, string folder, string source, long upTo = long.MaxValue)
    {
        using var db = Open();
        db.Execute("UPDATE ledger_jobs SET gone = 1 WHERE share = @share AND folder = @folder AND source = @source AND gone = 0 AND number <= @upTo", new { share, folder, source, upTo });
        db.Execute("DELETE FROM ledger_seen WHERE share = @share AND path = @path", new { share, path = folder + "/" + source });
    }

    /// <summary>The source of a job that was taken away is back, and its set still stands.</summary>
    public void MarkBack(string id)
    {
        using var db = Open();
        db.Execute("UPDATE ledger_jobs SET gone = 0 WHERE id = @id", new { id });
    }

    /// <summary>The highest number given so far.</summary>
    public long TopNumber()
    {
        using var db = Open();
        return db.ExecuteScalar<long>("SELECT COALESCE(MAX(number), 0) FROM ledger_jobs");
    }

    /// <summary>Folder and name of all sources that are thought to lie on a share.</summary>
    public IReadOnlyList<(string Folder, string Source)> Present(string share)
    {
        using var db = Open();
        return db.Query<(string, string)>("SELECT DISTINCT folder, source FROM ledger_jobs WHERE share = @share AND gone = 0 AND state <> 'dropped'", new { share }).AsList();
    }

    /// <summary>The hash of a file that was hashed before with this size and time; null if it was not.</summary>
    public string? SeenHash(string share, string path, long bytes, long written)
    {
        using var db = Open();
        return db.ExecuteScalar<string?>("SELECT sha256 FROM ledger_seen WHERE share = @share AND path = @path AND bytes = @bytes AND written = @written", new { share, path, bytes, written });
    }

    /// <summary>Notes the hash of a file.</summary>
    public void NoteSeen(string share, string path, long bytes, long written, string sha256)
    {
        using var db = Open();
        db.Execute("INSERT INTO ledger_seen (share, path, bytes, written, sha256) VALUES (@share, @path, @bytes, @written, @sha256) ON CONFLICT (share, path) DO UPDATE SET bytes = @bytes, written = @written, sha256 = @sha256", new { share, path, bytes, written, sha256 });
    }

    /// <summary>Records what became of a print.</summary>
    public void Record(OutcomeEntry entry)
    {
        using var db = Open();
        db.Execute("INSERT INTO ledger_outcomes (number, what, reason, piece, by, printer, lot, at) VALUES (@Number, @What, @Reason, @Piece, @By, @Printer, @Lot, @at)",
            new { entry.Number, entry.What, entry.Reason, entry.Piece, entry.By, entry.Printer, entry.Lot, at = Now() });
    }

    /// <summary>The latest outcome of each set, in words.</summary>
    public IReadOnlyDictionary<long, string> Outcomes()
    {
        using var db = Open();
        return db.Query<(long Number, string What, string? Reason, string? Piece)>(
                "SELECT number, what, reason, piece FROM ledger_outcomes WHERE id IN (SELECT MAX(id) FROM ledger_outcomes GROUP BY number)")
            .ToDictionary(o => o.Number, o => o.What + (o.Piece is null ? "" : $" (piece {o.Piece})") + (o.Reason is null ? "" : $": {o.Reason}"));
    }

    /// <summary>A job by its number.</summary>
    public JobRow? ByNumber(long number)
    {
        using var db = Open();
        return db.QueryFirstOrDefault<JobRow>("SELECT * FROM ledger_jobs WHERE number = @number", new { number });
    }

    private const string LatestSql = "SELECT MAX(number) FROM ledger_jobs WHERE share = @share AND state <> 'dropped' GROUP BY folder, source";

    private const string KnownSql = "SELECT * FROM ledger_jobs WHERE identity = @identity AND state <> 'dropped' ORDER BY number DESC LIMIT 1";

    private static void SetFact(DbConnection db, string name, string value, DbTransaction? tx = null) =>
        db.Execute("INSERT INTO ledger_facts VALUES (@name, @value) ON CONFLICT (name) DO UPDATE SET value = @value", new { name, value }, tx);

    /// <summary>A list for IN with its parameters, in words that both databases know.</summary>
    private static (string List, DynamicParameters Values) OneOf(IReadOnlyList<string> values)
    {
        var parameters = new DynamicParameters();
        for (var i = 0; i < values.Count; i++) parameters.Add("one" + i, values[i]);
        return ($"({string.Join(", ", values.Select((_, i) => "@one" + i))})", parameters);
    }

    /// <summary>A sentence without what no database can hold: zero characters and halves of characters.</summary>
    private static string? Storable(string? text) =>
        text is null ? null : Encoding.UTF8.GetString(Encoding.UTF8.GetBytes(text)).Replace('\0', '\uFFFD');

    private DbConnection Open() => _store.Open();
}
