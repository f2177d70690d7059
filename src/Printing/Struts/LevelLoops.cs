using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>A closed curve in which a level plane cuts a shell.</summary>
/// <param name="Area">Signed area, mm2; positive where material lies inside.</param>
/// <param name="X">Centroid.</param>
/// <param name="Y">Centroid.</param>
/// <param name="Roundness">4 pi area / perimeter squared: 1 for a circle, 0.785 for a square.</param>
internal readonly record struct LevelLoop(double Area, double X, double Y, double Roundness);

/// <summary>Cuts a shell by evenly spaced level planes and measures the loops.</summary>
internal static class LevelLoops
{
    public static List<LevelLoop>[] Cut(Mesh mesh, int[] triangles, double low, double span, int levels)
    {
        var edges = new Dictionary<long, (long To, double X, double Y)>[levels];
        for (var i = 0; i < levels; i++) edges[i] = [];
        foreach (var t in triangles)
        {
            int a = mesh.Corners[3 * t], b = mesh.Corners[3 * t + 1], c = mesh.Corners[3 * t + 2];
            Vec3 pa = mesh.Vertex(a), pb = mesh.Vertex(b), pc = mesh.Vertex(c);
            double z0 = Math.Min(pa.Z, Math.Min(pb.Z, pc.Z)), z1 = Math.Max(pa.Z, Math.Max(pb.Z, pc.Z));
            var first = Math.Max(0, (int)Math.Floor((z0 - low) / span * levels - 0.5));
            var last = Math.Min(levels - 1, (int)Math.Ceiling((z1 - low) / span * levels - 0.5));
            for (var i = first; i <= last; i++)
            {
                var z = low + span * (i + 0.5) / levels;
                if (z0 >= z || z1 < z) continue;
                long enter = -1, leave = -1;
                Vec3 at = default;
                Side(a, b, pa, pb);
                Side(b, c, pb, pc);
                Side(c, a, pc, pa);
                if (enter >= 0 && leave >= 0) edges[i].TryAdd(enter, (leave, at.X, at.Y));

                void Side(int u, int v, Vec3 pu, Vec3 pv)
                {
                    bool bu = pu.Z < z, bv = pv.Z < z;
                    if (bu == bv) return;
                    var key = (long)Math.Min(u, v) * mesh.VertexCount + Math.Max(u, v);
                    if (bu)
                    {
                        leave = key;
                    }
                    else
                    {
                        enter = key;
                        at = pu + (pv - pu) * ((pu.Z - z) / (pu.Z - pv.Z));
                    }
                }
            }
        }
        var result = new List<LevelLoop>[levels];
        for (var i = 0; i < levels; i++) result[i] = Loops(edges[i]);
        return result;
    }

    private static List<LevelLoop> Loops(Dictionary<long, (long To, double X, double Y)> edges)
    {
        var result = new List<LevelLoop>();
        var seen = new HashSet<long>();
        foreach (var first in edges.Keys)
        {
            if (!seen.Add(first)) continue;
            var start = edges[first];
            double area = 0, mx = 0, my = 0, length = 0;
            double px = start.X, py = start.Y;
            var at = start.To;
            var closed = false;
            while (true)
            {
                closed = at == first;
                if (!closed && (!edges.TryGetValue(at, out _) || !seen.Add(at))) break;
                var e = edges[at];
                // Relative to the first corner, so that small loops far from the origin keep their digits.
                double x0 = px - start.X, y0 = py - start.Y, x1 = e.X - start.X, y1 = e.Y - start.Y;
                var cross = x0 * y1 - x1 * y0;
                area += cross / 2;
                mx += (x0 + x1) * cross / 6;
                my += (y0 + y1) * cross / 6;
                length += Math.Sqrt((x1 - x0) * (x1 - x0) + (y1 - y0) * (y1 - y0));
                (px, py) = (e.X, e.Y);
                if (closed) break;
                at = e.To;
            }
            if (!closed || Math.Abs(area) < 1e-12) continue;
            result.Add(new LevelLoop(area, start.X + mx / area, start.Y + my / area, 4 * Math.PI * Math.Abs(area) / (length * length)));
        }
        return result;
    }
}
