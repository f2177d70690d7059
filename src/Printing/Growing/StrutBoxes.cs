using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Printing.Growing;

/// <summary>
/// Boxes of struts, grown by what others keep away from their axes, in square cells seen from above: few of a thousand struts
/// are near any one path. Struts may be added; asking is safe from several threads as long as nobody adds. mm.
/// </summary>
internal sealed class StrutBoxes
{
    private const double CellMm = 8;

    private readonly List<StrutSegment> _struts = [];
    private readonly List<Box3> _boxes = [];
    private readonly Dictionary<(int X, int Y), List<int>> _cells = [];

    public StrutBoxes(IEnumerable<StrutSegment> struts)
    {
        foreach (var s in struts) Add(s);
    }

    /// <summary>How many there are.</summary>
    public int Count => _struts.Count;

    /// <summary>Adds a strut.</summary>
    public void Add(StrutSegment s)
    {
        var box = new Box3(Vec3.Min(s.From, s.To), Vec3.Max(s.From, s.To)).Grown(Math.Max(s.RadiusFrom, s.RadiusTo) + GrowthScene.FromTipsMm);
        var (low, high) = (Cell(box.Min), Cell(box.Max));
        for (var x = low.X; x <= high.X; x++)
            for (var y = low.Y; y <= high.Y; y++)
            {
                if (!_cells.TryGetValue((x, y), out var list)) _cells[(x, y)] = list = [];
                list.Add(_struts.Count);
            }
        _struts.Add(s);
        _boxes.Add(box);
    }

    /// <summary>How many shafts of others a piece from a to b passes through; -1 where it comes too near to another's tip.</summary>
    public int Crossings(Vec3 a, Vec3 b, double radius)
    {
        var crossings = 0;
        var reach = new Vec3(radius, radius, radius);
        Vec3 min = Vec3.Min(a, b) - reach, max = Vec3.Max(a, b) + reach;
        var (low, high) = (Cell(min), Cell(max));
        for (var x = low.X; x <= high.X; x++)
            for (var y = low.Y; y <= high.Y; y++)
            {
                if (!_cells.TryGetValue((x, y), out var list)) continue;
                foreach (var i in list)
                {
                    var near = _boxes[i];
                    if (min.X > near.Max.X || max.X < near.Min.X || min.Y > near.Max.Y || max.Y < near.Min.Y || min.Z > near.Max.Z || max.Z < near.Min.Z) continue;
                    // One that lies in several cells counts in the first of them only.
                    var first = Cell(near.Min);
                    if (x != Math.Max(low.X, first.X) || y != Math.Max(low.Y, first.Y)) continue;
                    var s = _struts[i];
                    if (!(Segments.Distance(a, b, s.From, s.To) < radius + Math.Max(s.RadiusFrom, s.RadiusTo) + GrowthScene.FromTipsMm)) continue;
                    if (s.Role == Role.Tip) return -1;
                    if (s.Role != Role.Foot) crossings++;
                }
            }
        return crossings;
    }

    private static (int X, int Y) Cell(Vec3 p) => ((int)Math.Floor(p.X / CellMm), (int)Math.Floor(p.Y / CellMm));
}
