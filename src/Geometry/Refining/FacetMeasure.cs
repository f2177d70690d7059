namespace Stiltwright.Geometry.Refining;

/// <summary>Which edges between facets count. Those that turn less are smooth enough, those that turn more are meant as edges.</summary>
/// <param name="LeastTurnDegrees">Least turning angle.</param>
/// <param name="MostTurnDegrees">Largest turning angle.</param>
/// <param name="LeastWidthMm">Facets must be wider than this.</param>
/// <param name="LeastDeviationMm">And the smooth surface farther from them than this.</param>
public readonly record struct FacetRule(double LeastTurnDegrees, double MostTurnDegrees, double LeastWidthMm, double LeastDeviationMm);

/// <summary>How coarse the facets of a surface are.</summary>
/// <param name="Share">Share of the area next to edges that count, 0..1.</param>
/// <param name="DeviationMm">Largest chordal deviation among those edges, mm; 0 where none counts.</param>
/// <param name="WidthMm">Mean width of the two facets at that edge, across it, mm.</param>
/// <param name="TurnDegrees">Turning angle there, degrees.</param>
/// <param name="At">Its middle, mm.</param>
public sealed record FacetMeasure(double Share, double DeviationMm, double WidthMm, double TurnDegrees, Vec3 At)
{
    /// <summary>
    /// Chordal deviation of a facet from the smooth surface, mm, from its width and its turning angle to the next: L/2 tan(turn/4),
    /// exact for equal facets round a circle (from chord 2 R sin(turn/2) and sagitta R (1 - cos(turn/2))).
    /// </summary>
    public static double Deviation(double widthMm, double turnRadians) => widthMm / 2 * Math.Tan(turnRadians / 4);

    /// <summary>Looks at every edge between two triangles. Linear time; open edges and those with more than two triangles as paired.</summary>
    public static FacetMeasure Of(Mesh mesh, FacetRule rule)
    {
        ArgumentNullException.ThrowIfNull(mesh);
        var pairing = EdgePairing.Build(mesh);
        var twin = pairing.TwinArray;
        var corners = mesh.CornersArray;
        var counts = new bool[mesh.TriangleCount];
        var worst = new (double Deviation, double Width, double Turn, int Edge)[Ranges.Count(twin.Length)];
        double least = rule.LeastTurnDegrees * Math.PI / 180, most = rule.MostTurnDegrees * Math.PI / 180;
        Ranges.For(twin.Length, (r, from, to) =>
        {
            for (var h = from; h < to; h++)
            {
                if (twin[h] < 0 || pairing.Clashes(h)) continue;
                Vec3 p = mesh.AreaVector(h / 3), q = mesh.AreaVector(twin[h] / 3);
                double pl = p.Length, ql = q.Length;
                if (pl == 0 || ql == 0) continue;
                var turn = Math.Atan2(p.Cross(q).Length, p.Dot(q));
                if (turn < least || turn > most) continue;
                var length = mesh.Vertex(corners[h]).DistanceTo(mesh.Vertex(corners[EdgePairing.Next(h)]));
                var across = (pl + ql) / length; // mean height of the two triangles over their common edge
                var deviation = Deviation(across, turn);
                if (!(across > rule.LeastWidthMm) || !(deviation > rule.LeastDeviationMm)) continue;
                // Each half-edge marks its own triangle; where one lies across two ranges both set the same mark.
                counts[h / 3] = true;
                if (h < twin[h] && deviation > worst[r].Deviation) worst[r] = (deviation, across, turn, h);
            }
        });
        double area = 0, all = 0;
        for (var t = 0; t < counts.Length; t++)
        {
            var a = mesh.AreaVector(t).Length;
            all += a;
            if (counts[t]) area += a;
        }
        (double Deviation, double Width, double Turn, int Edge) found = default;
        foreach (var w in worst)
            if (w.Deviation > found.Deviation) found = w;
        var at = found.Deviation > 0 ? (mesh.Vertex(corners[found.Edge]) + mesh.Vertex(corners[EdgePairing.Next(found.Edge)])) * 0.5 : Vec3.Zero;
        return new FacetMeasure(all > 0 ? area / all : 0, found.Deviation, found.Width, found.Turn * 180 / Math.PI, at);
    }
}
