using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Splitting;

/// <summary>Whether something fits a platform, turned about z if that helps. The outline is the convex hull seen from above.</summary>
public sealed class PlatformFit
{
    private readonly (double X, double Y)[] _hull;

    /// <summary>Takes the convex hull, seen from above, of all vertices used; mm.</summary>
    public PlatformFit(IEnumerable<Mesh> meshes)
    {
        var points = new List<(double X, double Y)>();
        var high = double.NegativeInfinity;
        foreach (var m in meshes)
        {
            if (m.TriangleCount == 0) continue;
            high = Math.Max(high, m.Bounds.Max.Z);
            points.AddRange(ConvexOutline.Hull(Enumerable.Range(0, m.VertexCount).Select(v => (m.Vertex(v).X, m.Vertex(v).Y))));
        }
        _hull = [.. ConvexOutline.Hull(points)];
        HeightMm = points.Count == 0 ? 0 : high;
    }

    /// <summary>Height above the platform, mm.</summary>
    public double HeightMm { get; }

    /// <summary>Size in x and y after a turn about z, mm.</summary>
    public (double X, double Y) SizeTurned(double radians)
    {
        var (s, c) = Math.SinCos(radians);
        double x0 = double.PositiveInfinity, x1 = double.NegativeInfinity, y0 = x0, y1 = x1;
        foreach (var (x, y) in _hull)
        {
            double tx = c * x - s * y, ty = s * x + c * y;
            x0 = Math.Min(x0, tx); x1 = Math.Max(x1, tx);
            y0 = Math.Min(y0, ty); y1 = Math.Max(y1, ty);
        }
        return _hull.Length == 0 ? (0, 0) : (x1 - x0, y1 - y0);
    }

    /// <summary>
    /// The turn in whole degrees, smallest first (a quarter turn right after none, since it rounds nothing), with which it
    /// fits the printer's platform inside its margins; null if none does or it is too high.
    /// </summary>
    public double? TurnToFit(PrinterData printer)
    {
        if (HeightMm > printer.HeightMm) return null;
        double w = printer.WidthMm - 2 * printer.MarginMm, d = printer.DepthMm - 2 * printer.MarginMm;
        foreach (var degrees in Turns())
        {
            var (x, y) = SizeTurned(degrees * Math.PI / 180);
            if (x <= w && y <= d) return degrees * Math.PI / 180;
        }
        return null;
    }

    /// <summary>The turn that needs the fewest pieces on a printer, ties to the smaller turn.</summary>
    public double TurnForFewestPieces(PrinterData printer, double reserveMm)
    {
        double w = printer.WidthMm - 2 * printer.MarginMm - reserveMm, d = printer.DepthMm - 2 * printer.MarginMm - reserveMm;
        double best = double.PositiveInfinity, turn = 0;
        foreach (var degrees in Turns())
        {
            var (x, y) = SizeTurned(degrees * Math.PI / 180);
            var cost = Math.Ceiling(x / w) * Math.Ceiling(y / d) + 0.01 * (x / w + y / d);
            if (cost < best - 1e-9) (best, turn) = (cost, degrees * Math.PI / 180);
        }
        return turn;
    }

    private static IEnumerable<int> Turns()
    {
        yield return 0;
        yield return 90;
        for (var a = 1; a < 180; a++)
            if (a != 90) yield return a;
    }
}
