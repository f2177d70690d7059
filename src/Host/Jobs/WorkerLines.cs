using System.Text.Json;

namespace Stiltwright.Host.Jobs;

/// <summary>How far a worker is.</summary>
/// <param name="Progress">Share of the whole job done, 0..1.</param>
/// <param name="Stage">The stage at work.</param>
public sealed record WorkerLine(double Progress, string Stage);

/// <summary>
/// What the worker says on standard output: JSON texts, each begun by a record separator and ended by a line feed
/// (RFC 7464), so that whatever else a library prints there is told from it.
/// </summary>
public static class WorkerLines
{
    private const char RecordSeparator = '\u001e';
    private static readonly JsonSerializerOptions Web = new(JsonSerializerDefaults.Web);

    /// <summary>Writes how far the job is.</summary>
    public static void Write(TextWriter to, string stage, double progress)
    {
        var line = RecordSeparator + JsonSerializer.Serialize(new WorkerLine(Math.Round(Math.Clamp(progress, 0, 1), 4), stage), Web) + "\n";
        lock (to)
        {
            to.Write(line);
            to.Flush();
        }
    }

    /// <summary>Reads a line; null where it is none of ours.</summary>
    public static WorkerLine? Read(string line)
    {
        if (line.Length == 0 || line[0] != RecordSeparator) return null;
        try
        {
            return JsonSerializer.Deserialize<WorkerLine>(line.AsSpan(1), Web) is { Stage: not null } l && double.IsFinite(l.Progress) ? l : null;
        }
        catch (JsonException)
        {
            // A stage printed something that begins like ours: it is not ours.
            return null;
        }
    }
}
