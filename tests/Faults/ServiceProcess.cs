using System.Collections.Concurrent;
using System.Diagnostics;
using System.Runtime.InteropServices;
using Dapper;
using Microsoft.Data.Sqlite;

namespace Stiltwright.Faults;

/// <summary>A running service over a print room, and what it can be asked from outside.</summary>
internal sealed class ServiceProcess : IDisposable
{
    private readonly Process _process;
    private readonly Stopwatch _since = Stopwatch.StartNew();
    private long _upTicks;

    public ServiceProcess(PrintRoom room)
    {
        Room = room;
        var start = new ProcessStartInfo(PrintRoom.Program, ["serve", "--share", room.Share, "--config", room.Config]) { RedirectStandardOutput = true, RedirectStandardError = true };
        // Services and workers that live for seconds gain nothing by these, and spend half of their time on them.
        start.Environment["DOTNET_TieredPGO"] = "0";
        start.Environment["DOTNET_TC_CallCounting"] = "0";
        start.Environment["DOTNET_EnableWriteXorExecute"] = "0";
        _process = Process.Start(start)!;
        _process.OutputDataReceived += (_, e) =>
        {
            Said.Enqueue(e.Data ?? "");
            if (e.Data?.Contains(" Serves ", StringComparison.Ordinal) == true) Interlocked.CompareExchange(ref _upTicks, _since.Elapsed.Ticks, 0);
        };
        _process.ErrorDataReceived += (_, e) =>
        {
            if (!string.IsNullOrWhiteSpace(e.Data)) Errors.Enqueue(e.Data);
        };
        _process.BeginOutputReadLine();
        _process.BeginErrorReadLine();
    }

    public PrintRoom Room { get; }

    public int Id => _process.Id;

    /// <summary>How long it took from its start until it began to serve; null as long as it has not.</summary>
    public TimeSpan? StartTook => Interlocked.Read(ref _upTicks) is > 0 and var ticks ? new TimeSpan(ticks) : null;

    /// <summary>True while it lives.</summary>
    public bool Lives => !_process.HasExited;

    /// <summary>Its console.</summary>
    public ConcurrentQueue<string> Said { get; } = new();

    /// <summary>Its standard error, where a service should have nothing to say.</summary>
    public ConcurrentQueue<string> Errors { get; } = new();

    /// <summary>SIGKILL to this process only: what it started must end by itself.</summary>
    public void Kill()
    {
        try
        {
            _process.Kill();
            _process.WaitForExit(10_000);
        }
        catch (InvalidOperationException)
        {
            // It ended by itself a moment before.
        }
    }

    /// <summary>Stops it as a service manager would; what is wrong with its end, or null.</summary>
    public string? Stop()
    {
        if (!Lives) return $"the service had ended by itself, exit code {_process.ExitCode}: {string.Join(" ", Errors.Take(3))}";
        _ = Signal(_process.Id, 15);
        if (_process.WaitForExit(60_000)) return _process.ExitCode is 0 or 143 ? null : $"the service stopped with exit code {_process.ExitCode}";
        Kill();
        return "the service did not stop within a minute of being asked to";
    }

    public void Dispose()
    {
        if (Lives) Kill();
        _process.Dispose();
    }

    /// <summary>Jobs in the ledger, read without writing to it.</summary>
    public static IReadOnlyList<(string Folder, string Source, string State, string Sentence)> Jobs(PrintRoom room) =>
        Ask(room, db => db.Query<(string, string, string, string)>("SELECT folder, source, state, COALESCE(sentence, '') FROM ledger_jobs WHERE state <> 'dropped' ORDER BY number").AsList()) ?? [];

    /// <summary>Asks the ledger something; null where there is none yet.</summary>
    public static T? Ask<T>(PrintRoom room, Func<SqliteConnection, T> question) where T : class
    {
        var ledger = Path.Combine(room.State, "ledger.db");
        if (!File.Exists(ledger)) return null;
        using var db = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = ledger, Mode = SqliteOpenMode.ReadWrite, Pooling = false }.ToString());
        db.Open();
        return db.ExecuteScalar<long>("SELECT COUNT(*) FROM sqlite_master WHERE name IN ('ledger_jobs', 'ledger_mails')") < 2 ? null : question(db);
    }

    /// <summary>Sends a signal to a process; 0 where it was there.</summary>
    [DllImport("libc", EntryPoint = "kill", SetLastError = true)]
    public static extern int Signal(int process, int signal);
}
