using Stiltwright.Geometry;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Tests;

/// <summary>Small load scenes put together by hand: struts as axes and radii, the figure as plain regions.</summary>
internal sealed class LoadsBench
{
    public static readonly ResinData Resin = new() { Name = "bench" };
    public static readonly ResinData Weightless = Resin with { CuredDensity = 0, LiquidDensity = 0 };
    public static readonly PrinterData Printer = new() { Name = "bench", WidthMm = 500, DepthMm = 500, HeightMm = 500 };

    private readonly List<StrutSegment> _segments = [];

    public LoadsBench(double layerMm = 1) => LayerMm = layerMm;

    public double LayerMm { get; }

    public IReadOnlyList<StrutSegment> Segments => _segments;

    /// <summary>A segment; joins to others are given by their numbers, and both sides know of it.</summary>
    public int Add(Role role, Vec3 from, Vec3 to, double radiusFrom, double radiusTo, EndHeldBy fromBy, EndHeldBy toBy, int[]? fromJoins = null, int[]? toJoins = null, int chain = -1)
    {
        var id = _segments.Count;
        _segments.Add(new StrutSegment
        {
            Id = id,
            Chain = chain < 0 ? id : chain,
            Role = role,
            From = from,
            To = to,
            RadiusFrom = radiusFrom,
            RadiusTo = radiusTo,
            Sides = 0,
            Confidence = 1,
            Shell = id,
            FromHeldBy = fromBy,
            ToHeldBy = toBy,
            FromJoins = fromJoins ?? [],
            ToJoins = toJoins ?? [],
            Contact = toBy == EndHeldBy.Figure ? to : fromBy == EndHeldBy.Figure ? from : null,
        });
        return id;
    }

    /// <summary>A plain round strut from the raft to the figure.</summary>
    public int Upright(double x, double y, double height, double diameter) =>
        Add(Role.Pillar, new Vec3(x, y, 0), new Vec3(x, y, height), diameter / 2, diameter / 2, EndHeldBy.Raft, EndHeldBy.Figure);

    /// <summary>A pillar with a short tip on it; answers the pillar's number, the tip's is the next.</summary>
    public int WithTip(double x, double y, double height, double diameter, double tip, double tipLength)
    {
        var chain = _segments.Count;
        var p = Add(Role.Pillar, new Vec3(x, y, 0), new Vec3(x, y, height - tipLength), diameter / 2, diameter / 2, EndHeldBy.Raft, EndHeldBy.Strut, null, [chain + 1], chain);
        Add(Role.Tip, new Vec3(x, y, height - tipLength), new Vec3(x, y, height), diameter / 2, tip / 2, EndHeldBy.Strut, EndHeldBy.Figure, [p], null, chain);
        return p;
    }

    /// <summary>A brace between two segments.</summary>
    public int Brace(int a, Vec3 from, int b, Vec3 to, double diameter) =>
        Add(Role.Brace, from, to, diameter / 2, diameter / 2, EndHeldBy.Strut, EndHeldBy.Strut, [a], [b]);

    public StrutGraph Graph() => new([.. _segments], []);

    /// <summary>Equal layers: a disc of an area around a centre, from a layer on.</summary>
    public static IReadOnlyList<IReadOnlyList<FigureRegion>> Discs(int layers, int first, double area, double x, double y)
    {
        var r = Math.Sqrt(area / Math.PI);
        var region = new FigureRegion(0, area, 2 * Math.PI * r, x, y, x - r, x + r, y - r, y + r);
        return [.. Enumerable.Range(0, layers).Select(k => (IReadOnlyList<FigureRegion>)(k >= first ? [region] : []))];
    }

    /// <summary>A figure of such layers that every contact within 60 mm of the middle reaches, however small its discs.</summary>
    public FigureLayers OneBody(int layers, int first, double area, double x, double y) =>
        new(LayerMm, Discs(layers, first, area, x, y), [new FigureBody(first, int.MaxValue, -1)], null, p => Math.Abs(p.X) < 60 && Math.Abs(p.Y) < 60 ? 0 : -1);

    public LoadScene Scene(FigureLayers figure, ResinData? resin = null, double offCentre = 0) => new()
    {
        Figure = figure,
        Struts = Graph(),
        Resin = resin ?? Weightless,
        Printer = Printer,
        OffCentre = offCentre,
    };

    /// <summary>The whole scene turned about the z axis by a number of right angles.</summary>
    public static StrutGraph Turned(StrutGraph graph, double radians)
    {
        var turn = Affine.Turn(Vec3.Up, radians);
        return new StrutGraph([.. graph.Segments.Select(g => g with { From = About(g.From), To = About(g.To), Contact = g.Contact is { } c ? About(c) : null })], []);

        // Heights stay exactly as they are: a rounding in the last place would move an end on a layer's border into the next layer.
        Vec3 About(Vec3 p) => turn.Apply(p) with { Z = p.Z };
    }
}
