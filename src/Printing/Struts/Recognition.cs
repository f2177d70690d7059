using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>
/// Finds struts, raft, figure and inner shells among the shells of a source. Each shell's shape is measured, the shells
/// are linked by what touches what, and context decides: see <see cref="StrutEvidence"/>.
/// </summary>
public static class Recognition
{
    /// <summary>From this many separate contacts on, a source counts as supported by separate struts.</summary>
    private const int SeparateContacts = 5;

    /// <summary>
    /// Recognises a source that stands as it prints: z up, raft or platform at the bottom. The shells must be settled:
    /// outer shells with positive volume, true hollows with negative volume. The mesh is not changed.
    /// </summary>
    public static Recognised Recognise(Mesh mesh, ShellSet shells, RecognitionSettings settings, CancellationToken ct) =>
        Recognise(mesh, shells, settings, true, ct);

    /// <summary>The same without looking for struts that are one surface with the figure.</summary>
    internal static Recognised RecogniseShells(Mesh mesh, ShellSet shells, RecognitionSettings settings, CancellationToken ct) =>
        Recognise(mesh, shells, settings, false, ct);

    private static Recognised Recognise(Mesh mesh, ShellSet shells, RecognitionSettings settings, bool lookForFused, CancellationToken ct)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        ArgumentNullException.ThrowIfNull(shells);
        ArgumentNullException.ThrowIfNull(settings);
        var scene = Scene.Read(mesh, shells, settings, ct);
        var evidence = new StrutEvidence(scene);
        evidence.Collect();
        ct.ThrowIfCancellationRequested();

        var n = scene.Parts.Length;
        var role = new Role[n];
        var confidence = new double[n];
        var why = new string[n];
        for (var i = 0; i < n; i++)
        {
            var s = scene.Parts[i].Shell;
            // What was mended is a rod whose middle lies in no other shell: never a hollow, so no hollow becomes a strut.
            var hollow = s.Closed && s.SignedVolumeMm3 < 0 && scene.Parts[i].Mended is null && InsideAnother(scene, s);
            role[i] = hollow ? Role.InnerShell : Role.Figure;
            confidence[i] = hollow ? 0.99 : s.Closed ? 0.99 : 0.9;
            why[i] = hollow ? "turned inwards, inside another shell" : s.Closed ? "not a strut, not a raft" : "an open surface; not examined as a strut";
        }

        var accepted = new SortedSet<int>();
        foreach (var m in evidence.Members)
        {
            var c = evidence.Confidence[m];
            if (c >= settings.Accept) accepted.Add(m);
            if (c < settings.Reject)
            {
                confidence[m] = 1 - c;
                why[m] = "strut-like, but: " + evidence.Why[m];
                continue;
            }
            role[m] = Role.Unsure;
            confidence[m] = c;
            why[m] = evidence.Why[m];
        }
        foreach (var d in evidence.Dangling)
        {
            if (evidence.Members.Contains(d)) continue;
            why[d] = "stands like a strut, but an end hangs free or is sunk deep into the figure";
            var make = scene.Parts[d].Signature;
            if (!accepted.Any(m => !scene.Parts[m].Low && scene.Parts[m].Signature == make)) continue;
            role[d] = Role.Unsure;
            confidence[d] = 0.7;
        }

        var balls = new List<int>();
        foreach (var (ball, tubes) in scene.TubesOfBall)
        {
            if (!tubes.Any(accepted.Contains)) continue;
            balls.Add(ball);
        }
        balls.Sort();
        var chains = new StrutChains(scene, evidence, accepted);
        var graph = accepted.Count > 0 ? chains.Build(balls) : StrutGraph.None;
        foreach (var m in accepted) role[m] = chains.RoleOf(m);
        foreach (var b in balls)
        {
            var at = scene.TubesOfBall[b].Where(accepted.Contains).ToList();
            role[b] = at.Count == 1 || at.All(t => role[t] == Role.Tip) ? Role.Tip : Role.Pillar;
            confidence[b] = at.Max(t => confidence[t]);
            why[b] = "a ball on a joint or contact of struts";
        }

        var (raft, plates) = Raft.Find(scene, accepted);
        foreach (var p in plates)
        {
            role[p] = Role.Unsure;
            confidence[p] = 0.6;
            why[p] = "lies flat on the platform and carries struts, but the figure stands on it, too: its base or a raft";
        }
        foreach (var r in raft)
        {
            role[r] = Role.Raft;
            confidence[r] = 0.99;
            why[r] = "lies flat on the platform and carries struts";
        }

        // A figure that separate struts hold needs no fused ones: what rises from its base then are its own legs and stems.
        var heldBySeparateStruts = graph.Segments.Count(s => s.Contact is not null) >= SeparateContacts;
        var signs = lookForFused ? FusedSigns.Look(scene, heldBySeparateStruts, ct) : FusedSigns.None;
        foreach (var (shell, words) in signs.Sure)
        {
            if (role[shell] != Role.Figure) continue;
            role[shell] = Role.Unsure;
            confidence[shell] = 0.6;
            why[shell] = words;
        }
        var unsureStruts = evidence.Members.Any(m => role[m] == Role.Unsure);
        return new Recognised
        {
            RoleOfShell = role,
            ConfidenceOfShell = confidence,
            WhyOfShell = why,
            Graph = graph,
            SourceShellOfStrutShell = [.. chains.SourceShells],
            Fused = signs.Sure.Count > 0,
            FusedWhy = signs.Sure.Count > 0 ? signs.Sure[0].Why : "",
            Merged = signs.Merged,
            MaybeMerged = signs.Maybe,
            NoStruts = graph.Segments.Count == 0 && !unsureStruts && signs.Sure.Count == 0,
            NoRaft = graph.Segments.Count > 0 && raft.Count == 0 && plates.Count == 0,
        };
    }

    private static bool InsideAnother(Scene scene, Shell s)
    {
        foreach (var o in scene.Shells.Shells)
            if (o.Index != s.Index && o.SignedVolumeMm3 > -s.SignedVolumeMm3 && o.Bounds.Holds(s.Bounds.Min) && o.Bounds.Holds(s.Bounds.Max)) return true;
        return false;
    }
}
