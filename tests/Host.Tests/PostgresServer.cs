using System.Diagnostics;
using System.Globalization;
using System.Net;
using System.Net.Sockets;
using Npgsql;

namespace Stiltwright.Host.Tests;

/// <summary>
/// A PostgreSQL server for tests: the one that STILTWRIGHT_TEST_POSTGRES names (an account that may make databases), or a
/// throw-away one of its own, from the binaries on this machine. It ends with this process, whatever happens to it.
/// </summary>
public sealed class PostgresServer : IAsyncDisposable
{
    private const string Given = "STILTWRIGHT_TEST_POSTGRES";

    // The server refuses to run as root, so root starts it as another account. It lives as long as its standard input: a
    // pipe to us. Speed matters here and durability does not, but for the one thing under test, it is the real server.
    private const string Script = """
        d=$(mktemp -d)
        trap 'kill -QUIT $p 2>/dev/null; wait; rm -rf "$d"' EXIT
        cd "$d" && printf %s "$SECRET" > secret && "$BIN/initdb" -D data -U stiltwright -A scram-sha-256 --pwfile=secret -E UTF8 --locale=C -N > initdb.log 2>&1 || { cat initdb.log >&2; exit 1; }
        "$BIN/postgres" -D data -p "$PORT" -c listen_addresses=127.0.0.1 -c unix_socket_directories= -c fsync=off -c synchronous_commit=off -c full_page_writes=off -c max_connections=200 < /dev/null >&2 &
        p=$!
        read -r end
        """;

    private readonly Process? _process;

    private PostgresServer(Process? process, string connection, string password) => (_process, Connection, Password) = (process, connection, password);

    /// <summary>Connection to the server's own database, without password.</summary>
    public string Connection { get; }

    public string Password { get; }

    /// <summary>Why there is none; null where there is one, or where one must be there.</summary>
    public static string? WhyNone =>
        Environment.GetEnvironmentVariable(Given) is { Length: > 0 } || Binaries() is not null || Environment.GetEnvironmentVariable("CI") == "true" ? null
        : $"No PostgreSQL was found: install it (Debian: apt-get install postgresql), or name a server in {Given}.";

    public static async Task<PostgresServer> Start()
    {
        if (Environment.GetEnvironmentVariable(Given) is { Length: > 0 } given)
        {
            var settings = new NpgsqlConnectionStringBuilder(given);
            var secret = settings.Password ?? "";
            settings.Password = null;
            return new PostgresServer(null, settings.ConnectionString, secret);
        }

        var binaries = Binaries() ?? throw new InvalidOperationException($"There is no PostgreSQL on this machine, and its tests must not be left out here. Install it, or name a server in {Given}.");
        var password = Guid.NewGuid().ToString("N");
        var port = FreePort();
        var isRoot = Environment.UserName == "root";
        string[] asOther = isRoot ? ["runuser", "-u", File.ReadLines("/etc/passwd").Any(l => l.StartsWith("postgres:", StringComparison.Ordinal)) ? "postgres" : "nobody", "--", "sh", "-c", Script] : ["sh", "-c", Script];
        var start = new ProcessStartInfo(asOther[0], asOther[1..]) { RedirectStandardInput = true, RedirectStandardError = true, WorkingDirectory = "/" };
        (start.Environment["BIN"], start.Environment["PORT"], start.Environment["SECRET"]) = (binaries, port.ToString(CultureInfo.InvariantCulture), password);
        start.Environment.Remove("TMPDIR"); // ours may be closed to the other account
        var process = Process.Start(start)!;
        var said = new List<string>();
        process.ErrorDataReceived += (_, e) =>
        {
            if (e.Data is null) return;
            lock (said)
                if (said.Count < 200) said.Add(e.Data);
        };
        process.BeginErrorReadLine();
        var server = new PostgresServer(process, new NpgsqlConnectionStringBuilder { Host = "127.0.0.1", Port = port, Username = "stiltwright", Database = "postgres" }.ConnectionString, password);
        for (var i = 0; ; i++)
        {
            try
            {
                await using var db = new NpgsqlConnection(server.WithPassword(server.Connection));
                await db.OpenAsync();
                return server;
            }
            catch (NpgsqlException) when (i < 300 && !process.HasExited)
            {
                await Task.Delay(100);
            }
            catch (NpgsqlException e)
            {
                await server.DisposeAsync();
                lock (said) throw new InvalidOperationException($"PostgreSQL from {binaries} does not start: {string.Join('\n', said)}", e);
            }
        }
    }

    /// <summary>A new, empty database; returns its connection without password.</summary>
    public async Task<string> NewDatabase()
    {
        var name = "test_" + Guid.NewGuid().ToString("N");
        await Run(Connection, $"CREATE DATABASE {name}");
        return new NpgsqlConnectionStringBuilder(Connection) { Database = name }.ConnectionString;
    }

    /// <summary>Runs a statement.</summary>
    public async Task<object?> Run(string connection, string sql)
    {
        await using var db = new NpgsqlConnection(WithPassword(connection));
        await db.OpenAsync();
        await using var command = new NpgsqlCommand(sql, db);
        return await command.ExecuteScalarAsync();
    }

    /// <summary>Ends the sessions of a database and deletes it.</summary>
    public async Task Drop(string connection)
    {
        NpgsqlConnection.ClearAllPools();
        await Run(Connection, $"DROP DATABASE IF EXISTS {new NpgsqlConnectionStringBuilder(connection).Database} WITH (FORCE)");
    }

    public async ValueTask DisposeAsync()
    {
        NpgsqlConnection.ClearAllPools();
        if (_process is null) return;
        _process.StandardInput.Close();
        using var patience = new CancellationTokenSource(TimeSpan.FromSeconds(15));
        await _process.WaitForExitAsync(patience.Token);
        _process.Dispose();
    }

    private string WithPassword(string connection) => new NpgsqlConnectionStringBuilder(connection) { Password = Password, Pooling = false }.ConnectionString;

    private static string? Binaries()
    {
        if (OperatingSystem.IsWindows()) return null;
        var folders = (Environment.GetEnvironmentVariable("PATH") ?? "").Split(':', StringSplitOptions.RemoveEmptyEntries).ToList();
        foreach (var (root, rest) in ((string, string)[])[("/usr/lib/postgresql", "bin"), ("/usr/local/opt", "bin"), ("/opt/homebrew/opt", "bin")])
            if (Directory.Exists(root)) folders.AddRange(Directory.GetDirectories(root).Where(d => Path.GetFileName(d) is var n && (n.StartsWith("postgresql", StringComparison.Ordinal) || n.All(char.IsAsciiDigit))).OrderDescending(StringComparer.Ordinal).Select(d => Path.Combine(d, rest)));
        folders.AddRange(["/usr/pgsql/bin", "/usr/local/pgsql/bin"]);
        // A command that only points elsewhere still works; initdb finds its files from where it really lies.
        return folders.FirstOrDefault(f => File.Exists(Path.Combine(f, "postgres")) && File.Exists(Path.Combine(f, "initdb")));
    }

    private static int FreePort()
    {
        using var l = new TcpListener(IPAddress.Loopback, 0);
        l.Start();
        return ((IPEndPoint)l.LocalEndpoint).Port;
    }
}
