using Stiltwright.Host.Configuration;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Jobs;

/// <summary>What a person reads when a worker did not bring its job to an end.</summary>
public static class WorkerFindings
{
    /// <summary>The finding for a worker that ended badly.</summary>
    public static Finding For(string sourceName, WorkerReport report, WorkerSettings limits)
    {
        var where = report.Stage.Length > 0 ? $"in the stage \"{report.Stage}\"" : "before its first stage";
        var said = report.FirstError.Length > 0 ? $" It said: {OneLine(report.FirstError)}." : "";
        var (what, advice) = report.End switch
        {
            WorkerEnd.TimedOut => (
                $"the work did not end within {limits.TimeLimitS:0} s; it was ended {where}",
                "The source is untouched. Reduce the number of triangles, or raise worker.timeLimitS in the host's settings, then drop the file again."),
            WorkerEnd.OutOfMemory => (
                $"the work needed more than the {limits.MemoryMiB} MiB of memory that it may have; it was ended {where}",
                "The source is untouched. Reduce the number of triangles, or raise worker.memoryMiB in the host's settings, then drop the file again."),
            WorkerEnd.WroteTooMuch => (
                $"the work wrote more than the {limits.ScratchMiB} MiB that it may; it was ended {where}",
                "The source is untouched. Look whether a stage of your own takes part, or raise worker.scratchMiB in the host's settings, then drop the file again."),
            WorkerEnd.Crashed => (
                $"the work broke down {where} (exit code {report.ExitCode})",
                "The source is untouched. Look whether a stage of your own takes part; the log of the job has the details."),
            WorkerEnd.Done => (
                "the work ended without leaving a whole set behind",
                "The source is untouched. This is a fault of the program; the log of the job has the details."),
            _ => (
                $"the work could not be done; it ended {where} (exit code {report.ExitCode})",
                "The source is untouched. The log of the job has the details."),
        };
        return new Finding(FindingIds.StageFailed, Level.Stop, $"{sourceName} was not prepared: {what}.{said}", advice);
    }

    private static string OneLine(string text)
    {
        var line = string.Concat(text.Select(c => char.IsControl(c) ? ' ' : c)).TrimEnd('.', ' ');
        return line.Length > 300 ? line[..300] + " ..." : line;
    }
}
