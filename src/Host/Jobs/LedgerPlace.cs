using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Jobs;

/// <summary>Which ledger a configuration names, and the password for it: from the environment or a file of its own, never the settings.</summary>
public static class LedgerPlace
{
    /// <summary>Name of the environment variable.</summary>
    public const string Variable = "STILTWRIGHT_LEDGER_PASSWORD";

    /// <summary>The store that the settings name: PostgreSQL where "ledger.postgres" is given, else SQLite in the state folder.</summary>
    /// <exception cref="IOException">The database cannot be used; the sentence says why.</exception>
    public static LedgerStore For(HostSettings host)
    {
        if (host.Ledger.Postgres.Length == 0) return new SqliteStore(host.State);
        var store = new PostgresStore(host.Ledger.Postgres, Password(host.Ledger));
        store.Test();
        return store;
    }

    /// <summary>True where asking <see cref="For"/> would not make a new ledger.</summary>
    public static bool IsThere(HostSettings host) => host.Ledger.Postgres.Length > 0 || File.Exists(SqliteStore.PathIn(host.State));

    /// <summary>The ledger that the settings name.</summary>
    /// <exception cref="IOException">The database cannot be used; the sentence says why.</exception>
    public static Ledger Open(HostSettings host, TimeProvider time) => new(For(host), time, ServiceName.Of(host.State));

    private static string? Password(LedgerSettings settings) =>
        settings.PasswordFile is { } path ? File.ReadAllText(path).TrimEnd('\r', '\n') : Environment.GetEnvironmentVariable(Variable);
}
