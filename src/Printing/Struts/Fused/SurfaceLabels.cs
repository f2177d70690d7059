using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>Which triangles belong to which drawn body: those that hang together with its sides and lie wholly in or on it.</summary>
internal static class SurfaceLabels
{
    /// <summary>
    /// Spreads a body's label from its seeds over free triangles all of whose corners it holds. A union leaves no corner of
    /// the figure inside a body, and a body is convex, so a triangle of the figure never has all three there.
    /// </summary>
    public static void Spread(Mesh mesh, int[] twin, DrawnBody body, int label, int[] labels)
    {
        var queue = new Queue<int>();
        foreach (var t in body.Seeds)
        {
            if (labels[t] >= 0) continue;
            labels[t] = label;
            queue.Enqueue(t);
        }
        while (queue.TryDequeue(out var t))
            for (var k = 0; k < 3; k++)
            {
                var g = twin[3 * t + k];
                if (g < 0 || labels[g / 3] >= 0) continue;
                var (a, b, c) = mesh.Triangle(g / 3);
                if (!body.Holds(a) || !body.Holds(b) || !body.Holds(c)) continue;
                labels[g / 3] = label;
                queue.Enqueue(g / 3);
            }
    }

    /// <summary>
    /// Gives each body the free triangles that lie along its sides and border on its own: flaps of a side that is a little
    /// twisted. What another body holds is no longer free.
    /// </summary>
    public static void TakeFlaps(Mesh mesh, int[] twin, IReadOnlyList<DrawnBody> bodies, int[] labels)
    {
        for (var changed = true; changed;)
        {
            changed = false;
            for (var t = 0; t < labels.Length; t++)
            {
                if (labels[t] >= 0) continue;
                var (a, b, c) = mesh.Triangle(t);
                for (var k = 0; k < 3 && labels[t] < 0; k++)
                {
                    if (twin[3 * t + k] < 0 || labels[twin[3 * t + k] / 3] is not (>= 0 and var label) || !bodies[label].OnSide(a, b, c)) continue;
                    // Small ones at a contact are the figure's.
                    if (Math.Max(a.DistanceTo(b), Math.Max(b.DistanceTo(c), c.DistanceTo(a))) < bodies[label].Size) continue;
                    labels[t] = label;
                    changed = true;
                }
            }
        }
    }

    /// <summary>The connected parts of the triangles for which a test holds.</summary>
    public static List<int[]> Parts(int triangles, int[] twin, Func<int, bool> test)
    {
        var seen = new bool[triangles];
        var result = new List<int[]>();
        for (var start = 0; start < triangles; start++)
        {
            if (seen[start] || !test(start)) continue;
            seen[start] = true;
            var part = new List<int> { start };
            for (var i = 0; i < part.Count; i++)
                for (var k = 0; k < 3; k++)
                {
                    var g = twin[3 * part[i] + k];
                    if (g < 0 || seen[g / 3] || !test(g / 3)) continue;
                    seen[g / 3] = true;
                    part.Add(g / 3);
                }
            result.Add([.. part]);
        }
        return result;
    }
}
