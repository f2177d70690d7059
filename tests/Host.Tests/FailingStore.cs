using System.Data.Common;
using Microsoft.Data.Sqlite;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Host.Tests;

/// <summary>A ledger in SQLite whose disk is full for as long as the test wants.</summary>
internal sealed class FailingStore(string state) : LedgerStore
{
    private const int Full = 13; // SQLITE_FULL (sqlite.org/rescode.html)
    private readonly SqliteStore _store = new(state);
    private int _refused;

    public bool Fails { get; set; }

    /// <summary>How often it said no.</summary>
    public int Refused => Volatile.Read(ref _refused);

    public override string EngineConnection => _store.EngineConnection;

    public override bool Shared => false;

    public override string Place => _store.Place;

    public override string Prelude => _store.Prelude;

    public override string LockTables => _store.LockTables;

    public override string LockNumbers => _store.LockNumbers;

    public override string IsAlive => _store.IsAlive;

    public override string Clock => _store.Clock;

    public override string Words(string tables) => _store.Words(tables);

    public override DbConnection Open()
    {
        if (!Fails) return _store.Open();
        Interlocked.Increment(ref _refused);
        throw new SqliteException("database or disk is full", Full);
    }
}
