using System.ComponentModel;
using System.Diagnostics;
using System.Globalization;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Metrics;

namespace Stiltwright.Host.Jobs;

/// <summary>How a worker ended.</summary>
public enum WorkerEnd
{
    /// <summary>It says that the set is written.</summary>
    Done,

    /// <summary>It ended by itself and says that it could not.</summary>
    Failed,

    /// <summary>It was killed by a signal or broke down.</summary>
    Crashed,

    /// <summary>It was ended because the time was over.</summary>
    TimedOut,

    /// <summary>It was ended, or ended itself, because memory was used up.</summary>
    OutOfMemory,

    /// <summary>It was ended because it wrote too much.</summary>
    WroteTooMuch,
}

/// <summary>What is known of a worker that ended.</summary>
/// <param name="End">How.</param>
/// <param name="ExitCode">Exit code of the process.</param>
/// <param name="Stage">The stage it was last heard in; empty if none.</param>
/// <param name="FirstError">First line of its standard error; empty if none.</param>
/// <param name="PeakMiB">Most resident memory seen, MiB.</param>
/// <param name="Seconds">How long it ran.</param>
public sealed record WorkerReport(WorkerEnd End, int ExitCode, string Stage, string FirstError, double PeakMiB, double Seconds);

/// <summary>The command that starts a worker: this program again, or what a test puts in its place.</summary>
/// <param name="File">Program.</param>
/// <param name="Arguments">Arguments before the order's path.</param>
public sealed record WorkerCommand(string File, IReadOnlyList<string> Arguments)
{
    /// <summary>Does an order in this process where it is not null: for trials of tens of thousands of jobs, without any limit.</summary>
    public Func<string, Action<WorkerLine>, CancellationToken, Task<WorkerReport>>? InProcess { get; init; }

    /// <summary>This program with its hidden verb.</summary>
    public static WorkerCommand OfThisProgram()
    {
        var program = Environment.ProcessPath ?? throw new InvalidOperationException("The path of this program is not known.");
        var isDotnet = Path.GetFileNameWithoutExtension(program).Equals("dotnet", StringComparison.OrdinalIgnoreCase);
        return isDotnet
            ? new WorkerCommand(program, [Path.Combine(AppContext.BaseDirectory, "stiltwright.dll"), "work", "--tied"])
            : new WorkerCommand(program, ["work", "--tied"]);
    }
}

/// <summary>
/// Runs one worker: a child process under a memory and a time limit. Whatever the child does, this returns a report; the
/// child is gone then, with all that it started.
/// </summary>
public sealed class WorkerProcess(WorkerCommand command, WorkerSettings limits, TimeProvider time)
{
    private const int LooksPerWeighing = 8;

    /// <summary>
    /// A worker computes for a minute and ends: its code is compiled at its best at once, without slow and watched first versions (which
    /// also keep what they no longer need), and it is given 64 MiB (hexadecimal) before what it has dropped is gathered up. Large arrays
    /// come and go from stage to stage: where half of what is held lies idle between them, they are moved together.
    /// </summary>
    private static readonly (string Name, string Value)[] Runtime =
        [("DOTNET_TC_QuickJit", "0"), ("DOTNET_TieredPGO", "0"), ("DOTNET_GCgen0size", "4000000"), ("DOTNET_GCConserveMemory", "5")];

    private static readonly TimeSpan Look = TimeSpan.FromMilliseconds(250);
    private static readonly TimeSpan LongestDying = TimeSpan.FromSeconds(15);

    /// <summary>Runs an order to its end. Its standard error goes, bounded, into <paramref name="logPath"/>.</summary>
    public async Task<WorkerReport> Run(string orderPath, string logPath, Action<WorkerLine> progress, CancellationToken cancel)
    {
        var start = new ProcessStartInfo(command.File)
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            // The pipe stays open while we live: its end tells the child that we are gone.
            RedirectStandardInput = true,
            UseShellExecute = false,
            CreateNoWindow = true,
            WorkingDirectory = Path.GetDirectoryName(orderPath)!,
        };
        foreach (var a in command.Arguments) start.ArgumentList.Add(a);
        start.ArgumentList.Add(orderPath);
        start.Environment["DOTNET_GCHeapHardLimit"] = ((long)limits.MemoryMiB << 20).ToString("X", CultureInfo.InvariantCulture);
        foreach (var (name, value) in Runtime) start.Environment[name] = value;
        // A worker is no place for the secrets of its host.
        start.Environment.Remove(Mail.MailPassword.Variable);
        start.Environment.Remove(LedgerPlace.Variable);

        using var family = new WorkerFamily(limits.MemoryMiB);
        family.Mark(start);
        var began = time.GetTimestamp();
        using var process = new Process { StartInfo = start };
        try
        {
            process.Start();
            family.Take(process);
        }
        catch (Win32Exception e)
        {
            return new WorkerReport(WorkerEnd.Failed, -1, "", $"The worker {command.File} could not be started: {e.Message}", 0, 0);
        }

        var lastStage = "";
        var output = BoundedLines.Read(process.StandardOutput, line =>
        {
            if (WorkerLines.Read(line) is not { } l) return;
            lastStage = l.Stage;
            progress(l);
        });
        var errors = new ErrorLog(logPath);
        var error = BoundedLines.Read(process.StandardError, errors.Add);
        var (end, peak) = await Watch(process, began, start.WorkingDirectory, cancel).ConfigureAwait(false);
        WorkerMemory.Ended(process.Id);
        // What it started and left behind holds the pipes open, memory and files.
        family.EndAll();
        // What the child started may still hold the pipes; it was killed with it, so this ends, but we do not rely on it.
        await Task.WhenAny(Task.WhenAll(output, error), Task.Delay(TimeSpan.FromSeconds(5), CancellationToken.None)).ConfigureAwait(false);
        errors.Close();
        cancel.ThrowIfCancellationRequested();
        if (!process.HasExited) return new WorkerReport(end ?? WorkerEnd.TimedOut, -1, lastStage, "It could not be killed; the system still holds it", peak, time.GetElapsedTime(began).TotalSeconds);
        var code = process.ExitCode;
        end ??= code == 0 ? WorkerEnd.Done : IsCrash(code) ? Crash(errors.First) : WorkerEnd.Failed;
        return new WorkerReport(end.Value, code, lastStage, errors.First, peak, time.GetElapsedTime(began).TotalSeconds);
    }

    private async Task<(WorkerEnd? End, double PeakMiB)> Watch(Process process, long began, string scratch, CancellationToken cancel)
    {
        var looks = 0;
        double peak = 0;
        WorkerEnd? end = null;
        var exited = process.WaitForExitAsync(CancellationToken.None);
        while (!exited.IsCompleted)
        {
            await Task.WhenAny(exited, Task.Delay(Look, CancellationToken.None)).ConfigureAwait(false);
            if (exited.IsCompleted) break;
            var resident = Resident(process);
            WorkerMemory.Note(process.Id, (long)(resident * 1048576));
            peak = Math.Max(peak, resident);
            if (resident > limits.MemoryMiB) end = WorkerEnd.OutOfMemory;
            else if (time.GetElapsedTime(began).TotalSeconds > limits.TimeLimitS) end = WorkerEnd.TimedOut;
            else if (++looks % LooksPerWeighing == 0 && Weigh(scratch) > limits.ScratchMiB) end = WorkerEnd.WroteTooMuch;
            else if (!cancel.IsCancellationRequested) continue;
            Kill(process);
            // A process in the midst of a call to a dead share cannot be killed; the job ends all the same.
            await Task.WhenAny(exited, Task.Delay(LongestDying, CancellationToken.None)).ConfigureAwait(false);
            return (end, peak);
        }

        return (end, peak);
    }

    private static double Resident(Process process)
    {
        try
        {
            process.Refresh();
            return process.WorkingSet64 / 1048576.0;
        }
        catch (InvalidOperationException)
        {
            return 0; // It ended between our two looks.
        }
    }

    private static double Weigh(string scratch)
    {
        try
        {
            return new DirectoryInfo(scratch).EnumerateFiles("*", SearchOption.AllDirectories).Sum(f => f.Length) / 1048576.0;
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return 0; // A file went while it was weighed; the next look weighs again.
        }
    }

    private static void Kill(Process process)
    {
        try
        {
            process.Kill(entireProcessTree: true);
        }
        catch (InvalidOperationException)
        {
            // It ended by itself meanwhile, which is what was wanted.
        }
    }

    /// <summary>Signals are 128 + n on Linux; Windows reports breakdowns as NTSTATUS error values, which are negative.</summary>
    private static bool IsCrash(int code) => OperatingSystem.IsWindows() ? code < 0 : code > 128;

    private static WorkerEnd Crash(string firstError) =>
        firstError.StartsWith("Out of memory", StringComparison.Ordinal) || firstError.Contains("OutOfMemoryException", StringComparison.Ordinal)
            ? WorkerEnd.OutOfMemory : WorkerEnd.Crashed;
}
