using Stiltwright.Geometry;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Summaries;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>
/// Where the child process begins its work: read the source, run the stages, audit, write the set. Whatever is wrong with
/// the source or a stage ends in a set with a summary; only the end of the process itself leaves none.
/// </summary>
public static class WorkEntry
{
    /// <summary>Carries out an order; the set lies in the order's folder afterwards.</summary>
    public static void Run(WorkOrder order, Action<string, double> progress, CancellationToken cancel)
    {
        Directory.CreateDirectory(order.OutDir);
        var notes = new JobNotes();
        var stages = Stages(order, notes);
        if (stages is null)
        {
            Refuse(order, "", null, [], notes);
            return;
        }

        progress("read", 0);
        var read = SourceReading.Read(order, notes, cancel);
        if (read.Source is null)
        {
            notes.Add(-1, read.Refusal!);
            Refuse(order, read.Sha256, null, [], notes);
            return;
        }

        // The last tenth is the audit, the pictures and the writing.
        var done = StageRunner.Run(order, stages, new Workpiece { Source = read.Source }, notes, (stage, share) => progress(stage, 0.02 + 0.83 * share), cancel);
        if (done.Refusal is { } refusal)
        {
            notes.Add(int.MaxValue, refusal);
            Refuse(order, read.Sha256, read.Source, done.Runs, notes);
            return;
        }
        if (done.Workpiece.Pieces.Count == 0 || done.Workpiece.Pieces.All(p => SetWriter.Everything(p).TriangleCount == 0))
        {
            notes.Add(int.MaxValue, new Finding(FindingIds.StageFailed, Level.Stop, $"{order.SourceName}: the recipe {order.RecipeName} left nothing to print.", "Look at its stages: \"rescale\" makes the piece that is written."));
            Refuse(order, read.Sha256, read.Source, done.Runs, notes);
            return;
        }
        progress("audit", 0.86);
        WriteSet(order, done, notes, progress, cancel);
    }

    private static void WriteSet(WorkOrder order, StagesResult done, JobNotes notes, Action<string, double> progress, CancellationToken cancel)
    {
        foreach (var back in done.Backs)
            notes.Add(int.MaxValue, new Finding("went-back", Level.Note, $"\"{back.From}\" asked \"{back.Request.Stage}\" to do it again: {back.Request.Why}.", "Nothing to do."));
        var audit = FinalAudit.Run(order, done.Workpiece, notes, cancel);
        progress("pictures", 0.91);
        var stem = SetNames.Stem(order.SourceName, order.Target);
        // Writing keeps the disk and one core busy, drawing the other: neither adds a finding, so they may run side by side.
        var writing = Task.Run(() =>
        {
            var name = SetWriter.WriteMeshes(order.OutDir, stem, done.Workpiece, notes);
            ReadBack.Check(order.OutDir, stem, done.Workpiece, audit, cancel);
            return name;
        }, cancel);
        IReadOnlyList<SetPicture> pictures;
        try
        {
            pictures = SetPictures.Draw(done.Workpiece, notes.Findings, order.OutDir, cancel);
        }
        finally
        {
            // The folder may only be left alone once nobody writes into it any more.
            ((IAsyncResult)writing).AsyncWaitHandle.WaitOne();
        }
        var threeMf = writing.GetAwaiter().GetResult();
        notes.Replace(SetPictures.WithPictures(notes.Findings, pictures));
        var summary = SetFacts.Of(order, done, audit, notes, stem);
        SetWriter.WriteSummary(order.OutDir, summary, new PageMaterial
        {
            Pictures = pictures,
            Layers = audit.Curves,
            Struts = summary.Struts is null ? null : StrutsFile.From(done.Workpiece, SetFacts.Raft(done.Workpiece)),
            Judging = [.. done.Workpiece.Pieces.SelectMany(p => p.Judging).Distinct()],
            WentBack = [.. done.Backs.Select(b => $"{b.From} asked {b.Request.Stage} to do it again: {b.Request.Why}.")],
            Measures = [.. notes.Measures.Select(m => new StageMeasure(m.Stage, m.Name, m.Value, m.Unit))],
            ThreeMfFile = threeMf,
        });
        progress("done", 1);
    }

    private static void Refuse(WorkOrder order, string sha256, SourceFigure? source, IReadOnlyList<StageRun> runs, JobNotes notes)
    {
        var summary = SetFacts.Refused(order, sha256, source, runs, notes);
        SetWriter.WriteSummary(order.OutDir, summary, PageMaterial.None);
    }

    /// <summary>The stages of the order with their settings; null (and a finding each) where one is missing or badly set.</summary>
    private static List<ReadyStage>? Stages(WorkOrder order, JobNotes notes)
    {
        var catalog = PluginCatalog.Load(order.PluginFolders, order.AllowedPlugins);
        var ready = new List<ReadyStage>();
        var sound = true;
        foreach (var wanted in order.Stages)
        {
            if (!catalog.Stages.TryGetValue(wanted.Stage, out var stage))
            {
                var why = string.Join(" ", catalog.Problems.Select(p => p.ToString()));
                Fail($"{order.SourceName}: the stage \"{wanted.Stage}\" of recipe {order.RecipeName} could not be loaded.{(why.Length > 0 ? " " + why : "")}");
                continue;
            }
            var bound = SettingsBinder.Bind(stage.SettingsType, wanted.Settings, $"stage {wanted.Stage}");
            if (bound.Value is null) Fail($"{order.SourceName}: the settings of stage \"{wanted.Stage}\" are wrong: {string.Join(" ", bound.Mistakes.Select(m => m.ToString()))}");
            else ready.Add(new ReadyStage(stage.Create, bound.Value));
        }
        return sound ? ready : null;

        void Fail(string text)
        {
            sound = false;
            notes.Add(-1, new Finding(FindingIds.StageFailed, Level.Stop, text, "Mend the configuration; \"stiltwright check\" says every mistake at once."));
        }
    }
}
