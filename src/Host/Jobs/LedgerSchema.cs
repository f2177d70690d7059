namespace Stiltwright.Host.Jobs;

/// <summary>Tables of the ledger, made where they are missing; the engine's own tables lie in the same database.</summary>
public static class LedgerSchema
{
    /// <summary>Version of these tables, kept in the database; a newer one than this is refused.</summary>
    public const int Version = 4;

    /// <summary>The statements, in the words that SQLite and PostgreSQL share but for two types.</summary>
    public const string Sql = """
        CREATE TABLE IF NOT EXISTS ledger_facts (name TEXT PRIMARY KEY, value TEXT NOT NULL);
        CREATE TABLE IF NOT EXISTS ledger_jobs (
          id TEXT PRIMARY KEY, number BIGINT NOT NULL UNIQUE, identity TEXT NOT NULL, share TEXT NOT NULL,
          folder TEXT NOT NULL, source TEXT NOT NULL, recipe TEXT NOT NULL, bytes BIGINT NOT NULL,
          state TEXT NOT NULL, attempts BIGINT NOT NULL DEFAULT 0, fence BIGINT NOT NULL DEFAULT 0,
          outcome TEXT, sentence TEXT, target TEXT, took DOUBLE PRECISION, gone BIGINT NOT NULL DEFAULT 0,
          created TEXT NOT NULL, changed TEXT NOT NULL, owner TEXT NOT NULL DEFAULT '', made TEXT);
        CREATE INDEX IF NOT EXISTS ledger_jobs_identity ON ledger_jobs (identity);
        CREATE INDEX IF NOT EXISTS ledger_jobs_of_source ON ledger_jobs (share, folder, source, number, state);
        CREATE INDEX IF NOT EXISTS ledger_jobs_state ON ledger_jobs (state);
        CREATE TABLE IF NOT EXISTS ledger_pcs (pc TEXT PRIMARY KEY, beat BIGINT NOT NULL);
        CREATE TABLE IF NOT EXISTS ledger_places (
          share TEXT NOT NULL, folder TEXT NOT NULL, target TEXT NOT NULL, source TEXT NOT NULL, PRIMARY KEY (share, folder, target));
        CREATE TABLE IF NOT EXISTS ledger_seen (
          share TEXT NOT NULL, path TEXT NOT NULL, bytes BIGINT NOT NULL, written BIGINT NOT NULL, sha256 TEXT NOT NULL,
          PRIMARY KEY (share, path));
        CREATE TABLE IF NOT EXISTS ledger_mails (
          id TEXT PRIMARY KEY, job TEXT NOT NULL, level TEXT NOT NULL, recipients TEXT NOT NULL, subject TEXT NOT NULL,
          bytes BLOB NOT NULL, state TEXT NOT NULL, tries BIGINT NOT NULL DEFAULT 0, reason TEXT NOT NULL DEFAULT '',
          created TEXT NOT NULL, sent TEXT, owner TEXT NOT NULL DEFAULT '', due TEXT NOT NULL DEFAULT '', UNIQUE (job, level));
        CREATE TABLE IF NOT EXISTS ledger_outcomes (
          id INTEGER PRIMARY KEY, number BIGINT NOT NULL, what TEXT NOT NULL, reason TEXT, piece TEXT, by TEXT, printer TEXT, lot TEXT,
          at TEXT NOT NULL);
        """;

    /// <summary>What brings tables of an older version to the present one, by the version they have.</summary>
    public static readonly IReadOnlyDictionary<int, string> Upgrades = new Dictionary<int, string>
    {
        [1] = "ALTER TABLE ledger_jobs ADD COLUMN owner TEXT NOT NULL DEFAULT ''; ALTER TABLE ledger_jobs ADD COLUMN made TEXT;",
        [2] = "DROP TABLE ledger_pcs; CREATE TABLE ledger_pcs (pc TEXT PRIMARY KEY, beat BIGINT NOT NULL); ALTER TABLE ledger_mails ADD COLUMN owner TEXT NOT NULL DEFAULT '';",
        [3] = "DROP INDEX IF EXISTS ledger_jobs_source; ALTER TABLE ledger_mails ADD COLUMN due TEXT NOT NULL DEFAULT '';",
    };
}
