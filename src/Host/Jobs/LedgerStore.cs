using System.Data.Common;
using Microsoft.Data.Sqlite;

namespace Stiltwright.Host.Jobs;

/// <summary>Where the ledger's tables lie, and the few words in which databases differ.</summary>
public abstract class LedgerStore
{
    /// <summary>For the engine, whose tables lie in the same database.</summary>
    public abstract string EngineConnection { get; }

    /// <summary>True where several services may share the ledger.</summary>
    public abstract bool Shared { get; }

    /// <summary>Where it lies, for people; without a secret.</summary>
    public abstract string Place { get; }

    /// <summary>Statement that comes before everything else, outside of a transaction; empty for none.</summary>
    public abstract string Prelude { get; }

    /// <summary>Statement that lets only one service at a time make or change tables, until its transaction ends; empty where a transaction does so by itself.</summary>
    public abstract string LockTables { get; }

    /// <summary>Statement that makes others wait until the transaction that runs it ends; empty where a transaction does so by itself.</summary>
    public abstract string LockNumbers { get; }

    /// <summary>An SQL expression that is true for a service in "ledger_pcs p" that was heard of lately.</summary>
    public abstract string IsAlive { get; }

    /// <summary>The time as the database has it, ms since 1970, as an SQL expression; empty where this PC's own clock is the only one.</summary>
    public abstract string Clock { get; }

    /// <summary>Table definitions in this database's own words for types.</summary>
    public abstract string Words(string tables);

    /// <summary>An open connection.</summary>
    public abstract DbConnection Open();
}

/// <summary>SQLite on a local disk: one service.</summary>
public sealed class SqliteStore : LedgerStore
{
    // What the ledger was told must outlive a power cut: in its journal's mode only this waits for the disk at each commit.
    private const string Durable = "PRAGMA synchronous = FULL;";

    private readonly string _connection;

    /// <summary>In a state folder, made where it is missing.</summary>
    public SqliteStore(string stateFolder)
    {
        Directory.CreateDirectory(stateFolder);
        Place = PathIn(stateFolder);
        var ours = new SqliteConnectionStringBuilder { DataSource = Place, DefaultTimeout = 30 };
        _connection = ours.ToString();
        // The same in other words: connections with one text come from one pool, and the engine's are set otherwise.
        ours.Cache = SqliteCacheMode.Private;
        EngineConnection = ours.ToString();
    }

    /// <inheritdoc/>
    public override string EngineConnection { get; }

    /// <inheritdoc/>
    public override bool Shared => false;

    /// <inheritdoc/>
    public override string Place { get; }

    /// <inheritdoc/>
    public override string Prelude => "PRAGMA journal_mode = WAL;";

    /// <summary>A write transaction of SQLite locks the file.</summary>
    public override string LockTables => "";

    /// <summary>A write transaction of SQLite locks the file.</summary>
    public override string LockNumbers => "";

    /// <summary>The state folder is locked by one service, so no other one lives.</summary>
    public override string IsAlive => "0 = 1";

    /// <inheritdoc/>
    public override string Clock => "";

    /// <summary>The file in a state folder.</summary>
    public static string PathIn(string stateFolder) => Path.Combine(stateFolder, "ledger.db");

    /// <inheritdoc/>
    public override string Words(string tables) => tables;

    /// <inheritdoc/>
    public override DbConnection Open() => Opened(_connection, Durable);

    /// <summary>An open connection with its settings; none is left open where they are refused.</summary>
    internal static SqliteConnection Opened(string connection, string settings)
    {
        var db = new SqliteConnection(connection);
        try
        {
            db.Open();
            using var set = db.CreateCommand();
            set.CommandText = settings;
            set.ExecuteNonQuery();
            return db;
        }
        catch
        {
            db.Dispose();
            throw;
        }
    }
}
