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

    /// <summary>Statements that make what is missing.</summary>
    public abstract string Schema { get; }

    /// <summary>An SQL expression that is true for a service in "ledger_pcs p" that was heard of lately.</summary>
    public abstract string IsAlive { get; }

    /// <summary>Statement that notes that the service @pc lives.</summary>
    public abstract string Beat { get; }

    /// <summary>Statement that makes others wait until the transaction that runs it ends; empty where a transaction does so by itself.</summary>
    public abstract string LockNumbers { get; }

    /// <summary>An open connection.</summary>
    public abstract DbConnection Open();
}

/// <summary>SQLite on a local disk: one service.</summary>
public sealed class SqliteStore : LedgerStore
{
    /// <summary>In a state folder, made where it is missing.</summary>
    public SqliteStore(string stateFolder)
    {
        Directory.CreateDirectory(stateFolder);
        EngineConnection = new SqliteConnectionStringBuilder { DataSource = Path.Combine(stateFolder, "ledger.db"), DefaultTimeout = 30 }.ToString();
    }

    /// <inheritdoc/>
    public override string EngineConnection { get; }

    /// <inheritdoc/>
    public override bool Shared => false;

    /// <inheritdoc/>
    public override string Schema => "PRAGMA journal_mode = WAL;\n" + LedgerSchema.Sql;

    /// <summary>The state folder is locked by one service, so no other one lives.</summary>
    public override string IsAlive => "0 = 1";

    /// <inheritdoc/>
    public override string Beat => "SELECT 1";

    /// <summary>A write transaction of SQLite locks the file.</summary>
    public override string LockNumbers => "";

    /// <inheritdoc/>
    public override DbConnection Open()
    {
        var db = new SqliteConnection(EngineConnection);
        db.Open();
        return db;
    }
}
