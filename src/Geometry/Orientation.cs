using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry;

/// <summary>
/// Turns shells so that solid is where the winding number is 1 or more, and nothing else: inside a shell triangles are
/// made to agree; a closed shell turned inside out that lies outside all others is turned; one that lies strictly inside
/// solid is a hollow and stays; where neither is plain nothing is changed and a note says so.
/// </summary>
public static class Orientation
{
    // A shell inside out that crosses others cannot be a hollow if most of it lies in the open; below this share nobody can tell.
    private const double OutsideShareToTurn = 0.8;
    private const int Samples = 512;

    /// <summary>Settles which way every closed shell faces. Triangles keep their numbers.</summary>
    public static OrientedMesh Settle(Mesh mesh, ShellSet shells)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        ArgumentNullException.ThrowIfNull(shells);
        var notes = new List<RepairNote>();
        if (shells.Shells.Any(s => s.ClashingEdges > 0)) (mesh, shells) = Agree(mesh, shells, notes);
        if (shells.Shells.Any(s => s.Closed && s.SignedVolumeMm3 < 0))
        {
            var turn = new TurningJob(mesh, shells, notes).Decide();
            if (turn.Length > 0)
            {
                var flip = new bool[mesh.TriangleCount];
                foreach (var s in turn)
                    foreach (var t in shells.Shells[s].Triangles) flip[t] = true;
                mesh = Turn(mesh, flip);
                shells = ShellFinder.Find(mesh);
            }
        }
        return new OrientedMesh(mesh, shells, notes);
    }

    /// <summary>Makes the triangles of each shell agree where that is possible; the side with less area is turned, or the one that gives a closed shell a positive volume.</summary>
    private static (Mesh, ShellSet) Agree(Mesh mesh, ShellSet shells, List<RepairNote> notes)
    {
        var edges = EdgePairing.Build(mesh);
        var twin = edges.TwinArray;
        var flip = new bool[mesh.TriangleCount];
        var seen = new bool[mesh.TriangleCount];
        var queue = new Queue<int>();
        int turned = 0, oneSided = 0;
        Vec3? turnedAt = null, oneSidedAt = null;
        foreach (var shell in shells.Shells)
        {
            if (shell.ClashingEdges == 0) continue;
            var first = shell.Triangles[0];
            seen[first] = true;
            queue.Enqueue(first);
            var orientable = true;
            double kept = 0, other = 0, volume = 0;
            while (queue.TryDequeue(out var t))
            {
                var area = mesh.AreaVector(t).Length;
                if (flip[t]) other += area; else kept += area;
                var (a, b, c) = mesh.Triangle(t);
                volume += (flip[t] ? -1 : 1) * a.Dot(b.Cross(c)) / 6;
                for (var h = 3 * t; h < 3 * t + 3; h++)
                {
                    if (twin[h] < 0) continue;
                    var u = twin[h] / 3;
                    var want = flip[t] ^ edges.Clashes(h);
                    if (!seen[u])
                    {
                        seen[u] = true;
                        flip[u] = want;
                        queue.Enqueue(u);
                    }
                    else if (flip[u] != want) orientable = false;
                }
            }
            if (!orientable)
            {
                foreach (var t in shell.Triangles) flip[t] = false;
                oneSided++;
                oneSidedAt ??= shell.Bounds.Center;
                continue;
            }
            if (shell.OpenEdges == 0 ? volume < 0 : other > kept)
                foreach (var t in shell.Triangles) flip[t] = !flip[t];
            foreach (var t in shell.Triangles)
                if (flip[t])
                {
                    turned++;
                    turnedAt ??= mesh.Vertex(mesh.Corners[3 * t]);
                }
        }
        if (oneSided > 0)
            notes.Add(new RepairNote("one-sided", oneSided, oneSidedAt, $"{oneSided} shells cannot be given an inside and an outside (like a Moebius strip); they were left as they are.", false));
        if (turned == 0) return (mesh, shells);
        notes.Add(new RepairNote("triangles-turned", turned, turnedAt, $"{turned} triangles faced against their neighbours and were turned."));
        var agreed = Turn(mesh, flip);
        return (agreed, ShellFinder.Find(agreed));
    }

    private static Mesh Turn(Mesh mesh, bool[] flip)
    {
        var corners = mesh.Corners.ToArray();
        for (var t = 0; t < flip.Length; t++)
            if (flip[t]) (corners[3 * t + 1], corners[3 * t + 2]) = (corners[3 * t + 2], corners[3 * t + 1]);
        return new Mesh(mesh.Lattice, mesh.XyzArray, corners);
    }

    private sealed class TurningJob(Mesh mesh, ShellSet set, List<RepairNote> notes)
    {
        private readonly TriangleTree _tree = TriangleTree.Build(mesh);
        private readonly bool[] _turned = new bool[set.Shells.Count];

        // Only these count for where solid is: closed shells that face outwards, and those inside out once they are decided.
        private readonly bool[] _counts = [.. set.Shells.Select(s => s.Closed && s.SignedVolumeMm3 > 0)];

        internal int[] Decide()
        {
            var inward = set.Shells.Where(s => s.Closed && s.SignedVolumeMm3 < 0).Select(s => s.Index).ToArray();
            var groups = new UnionFind(set.Shells.Count);
            var touchesOutward = new bool[set.Shells.Count];
            foreach (var s in inward) FindCrossings(s, groups, touchesOutward);

            List<Shell> hollows = [], flipped = [], unsure = [];
            // Large ones first: what a smaller one lies in is then settled.
            foreach (var group in inward.GroupBy(groups.Find).OrderBy(g => g.Sum(s => set.Shells[s].SignedVolumeMm3)).ThenBy(g => g.Key))
            {
                var members = group.ToArray();
                if (!members.Any(s => touchesOutward[s]))
                {
                    // Nothing crosses: any one point tells for the whole group.
                    var around = SolidAt(SamplePoints(members[0], 1)[0]);
                    foreach (var s in members) Settle(s, around < 1);
                    continue;
                }
                var verdicts = new List<(int Shell, bool Turn)>();
                foreach (var s in members)
                {
                    var points = SamplePoints(s, Samples);
                    var outside = points.Count(p => SolidAt(p) < 1);
                    if (outside >= OutsideShareToTurn * points.Length) verdicts.Add((s, true));
                    else unsure.Add(set.Shells[s]);
                }
                foreach (var (s, turn) in verdicts) Settle(s, turn);
            }
            Note(flipped, "shell-inverted", true, "closed shells were inside out and lie outside all others; they were turned");
            Note(hollows, "hollow-shell", false, "closed shells face inwards and lie wholly inside others; they were kept as hollows");
            Note(unsure, "shell-unsure", false, "closed shells face inwards and cross or touch others, so that it cannot be told whether they are hollows or inside out; they were left as they are");
            return [.. flipped.Select(s => s.Index).Order()];

            void Settle(int s, bool turn)
            {
                _counts[s] = true;
                _turned[s] = turn;
                (turn ? flipped : hollows).Add(set.Shells[s]);
            }
        }

        private void Note(List<Shell> shells, string kind, bool changed, string what)
        {
            if (shells.Count == 0) return;
            var places = string.Join(", ", shells.Take(3).Select(s => s.Bounds.Center.ToString())) + (shells.Count > 3 ? ", ..." : "");
            notes.Add(new RepairNote(kind, shells.Count, shells[0].Bounds.Center, $"{shells.Count} {what} (at {places} mm).", changed));
        }

        /// <summary>Winding number at a point, of the shells settled so far, as they will face.</summary>
        private int SolidAt(Vec3 p) =>
            _tree.Winding(p, t => Use(t, false)) - _tree.Winding(p, t => Use(t, true));

        private bool Use(int t, bool turned)
        {
            var s = set.OfTriangle[t];
            return _counts[s] && _turned[s] == turned;
        }

        /// <summary>Which other closed shells a shell meets: inward ones become one group with it, of outward ones only that there are some counts.</summary>
        private void FindCrossings(int shell, UnionFind groups, bool[] touchesOutward)
        {
            int[] xyz = mesh.XyzArray, corners = mesh.CornersArray;
            var near = new List<int>();
            var met = new HashSet<int>();
            foreach (var t in set.Shells[shell].Triangles)
            {
                var (a, b, c) = mesh.Triangle(t);
                near.Clear();
                _tree.Overlapping(Box3.Empty.With(a).With(b).With(c), near);
                foreach (var u in near)
                {
                    var other = set.OfTriangle[u];
                    if (other == shell || !set.Shells[other].Closed || met.Contains(other)) continue;
                    if (!TriangleMeet.Touches(xyz, corners.AsSpan(3 * t, 3), corners.AsSpan(3 * u, 3))) continue;
                    met.Add(other);
                    if (set.Shells[other].SignedVolumeMm3 < 0) groups.Join(shell, other);
                    else touchesOutward[shell] = true;
                }
            }
        }

        /// <summary>Centres of triangles, picked evenly by area.</summary>
        private Vec3[] SamplePoints(int shell, int count)
        {
            var triangles = set.Shells[shell].Triangles;
            var total = 0.0;
            foreach (var t in triangles) total += mesh.AreaVector(t).Length;
            var points = new Vec3[count];
            double sum = 0;
            var next = 0;
            foreach (var t in triangles)
            {
                sum += mesh.AreaVector(t).Length;
                var (a, b, c) = mesh.Triangle(t);
                while (next < count && sum >= (next + 0.5) / count * total) points[next++] = (a + b + c) / 3;
            }
            while (next < count) points[next++] = mesh.Vertex(mesh.Corners[3 * triangles[^1]]);
            return points;
        }
    }
}
