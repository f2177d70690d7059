using System.Diagnostics;
using Stiltwright.Geometry;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>A stage that ran, for the summary.</summary>
/// <param name="Stage">Its name.</param>
/// <param name="Version">Its version.</param>
/// <param name="Seconds">Wall time, s (all tries together).</param>
/// <param name="PeakMiB">Most resident memory of the process so far, MiB.</param>
public sealed record StageRun(string Stage, string Version, double Seconds, double PeakMiB);

/// <summary>A time that the job went back, for the summary.</summary>
/// <param name="From">The stage that asked.</param>
/// <param name="Request">What it asked for.</param>
public sealed record WentBack(string From, BackRequest Request);

/// <summary>A stage with its settings, ready to run.</summary>
/// <param name="Create">Makes an instance.</param>
/// <param name="Settings">Checked settings of the stage's own type.</param>
public sealed record ReadyStage(Func<IStage> Create, object Settings);

/// <summary>How the stages ended.</summary>
/// <param name="Workpiece">The result, or the last sound workpiece where the job was refused.</param>
/// <param name="Refusal">Why the job was refused, or null.</param>
/// <param name="Runs">The stages that ran.</param>
/// <param name="Backs">The times it went back.</param>
public sealed record StagesResult(Workpiece Workpiece, Finding? Refusal, IReadOnlyList<StageRun> Runs, IReadOnlyList<WentBack> Backs);

/// <summary>Runs the stages of an order one after the other, checks what each returns, and goes back where one asks.</summary>
public static class StageRunner
{
    /// <summary>A job goes back twice at most; after that the stage's finding stands.</summary>
    public const int MostBacks = 2;

    /// <summary>Runs all stages. A stage that throws ends the job with a finding; only cancellation is passed on.</summary>
    public static StagesResult Run(
        WorkOrder order, IReadOnlyList<ReadyStage> stages, Workpiece source, JobNotes notes, Action<string, double> progress, CancellationToken cancel)
    {
        var inputs = new Workpiece[stages.Count + 1];
        inputs[0] = source;
        var seconds = new double[stages.Count];
        var peak = new double[stages.Count];
        var versions = new string[stages.Count];
        var backs = new List<WentBack>();
        var soundMeshes = new HashSet<Mesh>(ReferenceEqualityComparer.Instance);

        StagesResult End(int step, Finding? refusal) => new(
            inputs[step], refusal,
            [.. Enumerable.Range(0, stages.Count).Where(i => versions[i] is not null).Select(i => new StageRun(order.Stages[i].Stage, versions[i], seconds[i], peak[i]))],
            backs);

        var at = 0;
        while (at < stages.Count)
        {
            cancel.ThrowIfCancellationRequested();
            var name = order.Stages[at].Stage;
            progress(name, (double)at / stages.Count);
            var clock = Stopwatch.StartNew();
            StageResult result;
            var stage = stages[at].Create();
            versions[at] = stage.Version;
            try
            {
                result = stage.Run(inputs[at], stages[at].Settings, new StageContext(order, notes, at, backs.Count, progress), cancel);
            }
            catch (OperationCanceledException) when (cancel.IsCancellationRequested)
            {
                throw;
            }
            catch (Exception e) when (e is not OutOfMemoryException)
            {
                // The technician gets the sentence; whoever mends the stage finds the trace in the log (standard error).
                Console.Error.WriteLine(e);
                return End(at, Failed(order, name, $"stopped with an error: {OneLine(e.Message)} ({e.GetType().Name})"));
            }
            finally
            {
                seconds[at] += clock.Elapsed.TotalSeconds;
                peak[at] = Environment.WorkingSet > 0 ? Process.GetCurrentProcess().PeakWorkingSet64 / 1048576.0 : 0;
            }

            if (result.Refusal is { } refusal) return End(at, refusal);
            if (result.Request is { } request)
            {
                var to = Enumerable.Range(0, at).LastOrDefault(i => order.Stages[i].Stage == request.Stage, -1);
                if (to < 0 || backs.Count == MostBacks)
                    return End(at, Failed(order, name, to < 0
                        ? $"asked to go back to \"{request.Stage}\", which does not run before it"
                        : $"asked to go back a third time ({OneLine(request.Why)})"));
                backs.Add(new WentBack(name, request));
                notes.ForgetFrom(to);
                inputs[to] = WithPlaces(inputs[to], request);
                at = to;
                continue;
            }

            var next = result.Workpiece!;
            if (WorkpieceCheck.FirstFault(inputs[at], next, stage.Changes, soundMeshes) is { } fault)
                return End(at, Failed(order, name, $"returned a workpiece that breaks its contract: {fault}"));
            inputs[++at] = next;
        }
        return End(stages.Count, null);
    }

    private static Workpiece WithPlaces(Workpiece w, BackRequest request) => w with
    {
        Pieces = [.. w.Pieces.Select(p => p.Letter == request.PieceLetter || w.Pieces.Count == 1 ? p with { KeepSolid = [.. p.KeepSolid, .. request.Places] } : p)],
    };

    private static Finding Failed(WorkOrder order, string stage, string what) => new(
        FindingIds.StageFailed, Level.Stop,
        $"{order.SourceName}: the stage \"{stage}\" {what}. Nothing was prepared.",
        "The source is untouched. Drop the file again after the stage was mended, or use a recipe without it; the log of the service has the details.");

    private static string OneLine(string text) => text.ReplaceLineEndings(" ").TrimEnd('.', ' ');
}
