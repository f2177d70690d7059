using Stiltwright.Geometry;

namespace Stiltwright.Printing.Estimates;

/// <summary>How much of a figure will show its facets.</summary>
/// <param name="ShownShare">Share of the area next to edges whose facets show, 0..1.</param>
/// <param name="LargestDeviationMm">Largest chordal deviation among those edges, mm.</param>
/// <param name="LongestMm">Width of the widest facet among them, mm.</param>
/// <param name="TurnDegrees">Turning angle there, degrees.</param>
/// <param name="At">Where the largest deviation is.</param>
public sealed record FacetSurvey(double ShownShare, double LargestDeviationMm, double LongestMm, double TurnDegrees, Vec3 At)
{
    /// <summary>From this share on the facets are worth a finding (physics 7).</summary>
    public const double WorthSaying = 0.02;

    /// <summary>
    /// Looks at every edge between two facets: turning angle and the width of the facets across it give the chordal
    /// deviation from the smooth surface (exact for equal facets), and <see cref="Facets.Shows"/> judges it.
    /// </summary>
    public static FacetSurvey Of(Mesh figure, double pixelMm, double layerMm)
    {
        var corners = figure.CornersArray;
        var n = figure.TriangleCount;
        var edges = new (long Key, int Corner)[3 * n];
        for (var c = 0; c < edges.Length; c++)
        {
            int a = corners[c], b = corners[c % 3 == 2 ? c - 2 : c + 1];
            edges[c] = (((long)Math.Min(a, b) << 32) | (uint)Math.Max(a, b), c);
        }
        Array.Sort(edges);
        var shown = new bool[n];
        double largest = 0, width = 0, turnAt = 0;
        var at = Vec3.Zero;
        for (var i = 0; i + 1 < edges.Length; i++)
        {
            if (edges[i].Key != edges[i + 1].Key || (i + 2 < edges.Length && edges[i + 2].Key == edges[i].Key)) continue;
            int t = edges[i].Corner / 3, u = edges[i + 1].Corner / 3;
            Vec3 p = figure.AreaVector(t), q = figure.AreaVector(u);
            double pl = p.Length, ql = q.Length;
            if (pl == 0 || ql == 0) continue;
            var turn = Math.Atan2(p.Cross(q).Length, p.Dot(q));
            Vec3 from = figure.Vertex((int)(edges[i].Key >> 32)), to = figure.Vertex((int)(edges[i].Key & 0xffffffff));
            var length = from.DistanceTo(to);
            if (length == 0) continue;
            var across = (pl + ql) / length; // mean height of the two triangles over their common edge
            if (!Facets.Shows(across, turn, pixelMm, layerMm)) continue;
            shown[t] = shown[u] = true;
            var deviation = Facets.Deviation(across, turn);
            if (deviation > largest) (largest, width, turnAt, at) = (deviation, across, turn, (from + to) * 0.5);
            i++;
        }
        double area = 0, all = 0;
        for (var t = 0; t < n; t++)
        {
            var a = figure.AreaVector(t).Length;
            all += a;
            if (shown[t]) area += a;
        }
        return new FacetSurvey(all > 0 ? area / all : 0, largest, width, turnAt * 180 / Math.PI, at);
    }
}
