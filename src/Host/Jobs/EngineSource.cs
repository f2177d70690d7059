using System.Data.Common;
using Microsoft.Data.Sqlite;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// The engine's connections to a ledger in SQLite. By itself the engine has each of its connections map the file, up to
/// 256 MiB of it, and keep 64 MiB of pages; a service that runs for months on a print-room PC is better off without.
/// </summary>
public sealed class EngineSource(string connection) : DbDataSource
{
    // A message that is lost with the power is queued again by the ledger, so that these need not wait for the disk.
    private const string Settings = "PRAGMA busy_timeout = 5000; PRAGMA synchronous = NORMAL; PRAGMA mmap_size = 0; PRAGMA cache_size = -2000;";

    /// <inheritdoc/>
    public override string ConnectionString { get; } = connection;

    /// <inheritdoc/>
    protected override DbConnection CreateDbConnection() => new SqliteConnection(ConnectionString);

    /// <inheritdoc/>
    protected override DbConnection OpenDbConnection() => SqliteStore.Opened(ConnectionString, Settings);

    /// <summary>As SQLite does, at once.</summary>
    protected override ValueTask<DbConnection> OpenDbConnectionAsync(CancellationToken cancellationToken = default) => new(OpenDbConnection());
}
