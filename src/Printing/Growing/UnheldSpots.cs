using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>
/// Finds where a figure begins in mid-air without a contact: a body of the layer model that no strut holds within its first
/// layers, that does not stand on raft or platform, and that does not join a held one at once.
/// </summary>
public static class UnheldSpots
{
    /// <summary>A body that joins another within this many layers is the flat lower end of something held.</summary>
    public const int SoonHeldLayers = 6;

    /// <summary>A body of which less than this is printed before it joins is a grain of the raster, mm3.</summary>
    public const double LeastMm3 = 0.02;

    /// <summary>The spots, from below; places on the surface of the scene's figure.</summary>
    public static IReadOnlyList<GrowthSpot> Find(GrowthScene scene, FigureLayers figure, StrutGraph struts)
    {
        ArgumentNullException.ThrowIfNull(scene);
        ArgumentNullException.ThrowIfNull(figure);
        ArgumentNullException.ThrowIfNull(struts);
        var spots = new List<GrowthSpot>();
        if (figure.Count == 0) return spots;
        var heldFrom = new int[figure.Bodies.Length];
        Array.Fill(heldFrom, int.MaxValue);
        foreach (var s in struts.Segments)
        {
            if (s.Contact is not { } at) continue;
            var inwards = s.ContactNormal is { } n ? -n : Vec3.Up;
            var body = figure.BodyOfContact(at, inwards, Math.Max(0.2, s.RadiusTo));
            // What it holds from then on is the body, and every one that this joins.
            for (var layer = figure.LayerFrom(at.Z); body >= 0;)
            {
                layer = Math.Max(layer, figure.Bodies[body].FirstLayer);
                heldFrom[body] = Math.Min(heldFrom[body], layer);
                if (figure.Bodies[body].MergeLayer == int.MaxValue) break;
                layer = Math.Max(layer, figure.Bodies[body].MergeLayer);
                body = figure.Bodies[body].MergesInto;
            }
        }
        var alone = Alone(figure, heldFrom);
        for (var b = 0; b < figure.Bodies.Length; b++)
        {
            var body = figure.Bodies[b];
            if ((body.FirstLayer - 0.5) * figure.LayerMm <= scene.RaftTopMm + 1e-9) continue;
            if (body.MergeLayer != int.MaxValue && body.MergeLayer - body.FirstLayer <= SoonHeldLayers) continue;
            if (alone[b].VolumeMm3 < LeastMm3 || heldFrom[b] <= body.FirstLayer + SoonHeldLayers) continue;
            var first = alone[b].First;
            var place = new Vec3(first.X, first.Y, (body.FirstLayer + 0.5) * figure.LayerMm);
            var near = scene.Figure.Closest(place);
            if (!near.Found || Touched(struts, near.Point)) continue;
            var normal = scene.Figure.Mesh.AreaVector(near.Triangle).Unit();
            // The very lowest point of something round or sharp has a chance triangle's normal: straight down is its own.
            if (!(normal.Z < -0.3)) normal = new Vec3(0, 0, -1);
            var layers = Math.Min(heldFrom[b], Math.Min(figure.Count, body.MergeLayer)) - body.FirstLayer;
            spots.Add(new GrowthSpot(near.Point, normal, $"begins in mid-air and hangs free for {layers} layers") { FreeMm3 = alone[b].VolumeMm3 });
        }
        return spots;
    }

    /// <summary>True where a strut runs into the place though no contact was noted there.</summary>
    private static bool Touched(StrutGraph struts, Vec3 p)
    {
        foreach (var s in struts.Segments)
        {
            var axis = s.To - s.From;
            var t = Math.Clamp((p - s.From).Dot(axis) / Math.Max(1e-12, axis.LengthSquared), 0, 1);
            if (p.DistanceTo(s.From + axis * t) <= s.RadiusFrom + (s.RadiusTo - s.RadiusFrom) * t) return true;
        }
        return false;
    }

    /// <summary>For each body its first region and the volume that prints before a contact holds it or it joins another.</summary>
    private static (FigureRegion First, double VolumeMm3)[] Alone(FigureLayers figure, int[] heldFrom)
    {
        var result = new (FigureRegion First, double VolumeMm3)[figure.Bodies.Length];
        for (var k = 0; k < figure.Count; k++)
            foreach (var r in figure.Regions(k))
            {
                var root = figure.RootAt(r.Body, k);
                if (k == figure.Bodies[root].FirstLayer) result[root].First = r;
                if (k < heldFrom[root]) result[root].VolumeMm3 += r.AreaMm2 * figure.LayerMm;
            }
        return result;
    }
}
