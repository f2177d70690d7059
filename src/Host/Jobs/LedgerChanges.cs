using Dapper;
using Microsoft.Data.Sqlite;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// Tells whether anything in a ledger changed, by whomever, for next to nothing: what was read of it need not be read
/// again. Only where one service has the ledger; where several share it, it always says yes.
/// </summary>
public sealed class LedgerChanges(LedgerStore store) : IDisposable
{
    private SqliteConnection? _watch;
    private long _seen = -1;

    /// <summary>True if something may have changed since the last call.</summary>
    public bool Any()
    {
        if (store.Shared) return true;
        if (_watch is null)
        {
            // Never written through: SQLite counts on each connection what all others commit (PRAGMA data_version).
            var watch = new SqliteConnection(new SqliteConnectionStringBuilder(store.EngineConnection) { Pooling = false }.ToString());
            try
            {
                watch.Open();
            }
            catch
            {
                // Kept closed, it would be opened anew for each question, and a connection tells only what came after it.
                watch.Dispose();
                throw;
            }

            _watch = watch;
        }

        var now = _watch.ExecuteScalar<long>("PRAGMA data_version");
        if (now == _seen) return false;
        _seen = now;
        return true;
    }

    /// <inheritdoc/>
    public void Dispose() => _watch?.Dispose();
}
