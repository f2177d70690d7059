using System.Globalization;
using Stiltwright.Geometry.Fields.Creases;
using Stiltwright.Geometry.Simplifying;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Makes the hollows of a figure: the places at least a wall's thickness below the outer surface of the union of its closed
/// shells. The depth is kept as lower bounds of exact distances at grid nodes and cut, linear between them, at the level
/// wall + 3 cell^2 / (8 wall). For a distance g to a convex piece and a tetrahedron inside a ball of radius rho the linear
/// interpolant is at most r + rho^2 / (2 r) where the distance is r; on Kuhn tetrahedra rho^2 is 3/4 cell^2, so at that level every
/// point of the cut keeps the wall, as long as the cell is at most a third of it. Inner edges and corners that the cells blunt are put
/// back afterwards (<see cref="CreaseSharpener"/>).
/// </summary>
public static class CavityBuilder
{
    private const double MostBandNodes = 4e6;
    private const long MostBricks = 150_000_000;

    /// <summary>Builds the hollows.</summary>
    /// <param name="outer">The solid figure: closed, outward-turned shells, which may overlap and cross (solid where the winding number is 1 or more).</param>
    /// <param name="request">Wall, places that stay solid, limits.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <exception cref="ArgumentException">The request contradicts itself: wall, cell or a radius not above zero, or a cell above a third of the wall.</exception>
    public static CavityResult Build(Mesh outer, CavityRequest request, CancellationToken cancel = default)
    {
        ArgumentNullException.ThrowIfNull(outer);
        ArgumentNullException.ThrowIfNull(request);
        Check(request);
        if (outer.TriangleCount == 0) return Refused("The figure has no triangles, so there is nothing to hollow.", 0);
        var (unmatched, at) = Closedness.Check(outer);
        if (unmatched > 0)
            return Refused(string.Create(CultureInfo.InvariantCulture,
                $"The figure's surface is not closed: {unmatched} edges have no partner, one of them at {at} mm. Close the surface there, then hollow again."), 0);

        var wall = request.WallMm;
        var threads = request.MaxThreads;
        var cell = request.CellMm ?? CellFor(outer, wall);
        var size = outer.Bounds.Size;
        if (size.X / cell / 8 * (size.Y / cell / 8) * (size.Z / cell / 8) > MostBricks)
            return Refused(string.Create(CultureInfo.InvariantCulture,
                $"The figure is {size.X:0} x {size.Y:0} x {size.Z:0} mm; with a wall of {wall:0.##} mm that is more than the field can hold. Ask for a thicker wall or check the unit of the file."), cell);

        var grid = new NodeGrid(outer, cell);
        cell = grid.Cell;
        var tree = TriangleTree.Build(outer, threads);
        var columns = NodeColumns.Build(outer, grid, threads);
        if (columns.OpenColumns > 0) throw new InvalidOperationException("A closed surface left a column of the grid unbalanced.");
        var border = UnionBoundary.Of(tree, columns, grid, threads, cancel);
        if (border.Count == 0) return new CavityResult { Parts = [], CellMm = cell };

        // The level that proves the wall, and a little more where triangles are to be saved, so that they may move both ways.
        var proven = wall + 3 * cell * cell / (8 * wall);
        var spare = Math.Min(0.25 * request.SimplifyMm, 0.02);
        var level = proven + spare;
        var most = proven + Math.Max(request.SimplifyMm, spare);
        var band = Math.Sqrt(3) * cell * 1.01;
        var kept = KeptSolid.Of(request, wall, level, 0.75 * cell * cell);
        var field = new FieldBuilder(grid, columns, border, kept, proven - band, most + band, level).Run(threads, cancel);
        var judge = request.SimplifyMm > 0 ? new LevelJudge(field, proven + 0.6 * spare, most, Math.Sqrt(2 * wall * 0.6 * spare)) : null;
        var (xyz, corners) = LevelSurface.Extract(field, level, judge, threads, cancel);
        var before = corners.Length / 3;

        var hollows = Hollows.Find(grid.Lattice, xyz, corners);
        var depth = new Depth(border, kept);
        SharpSurface sharp = default;
        var (keep, dropped, droppedMm3) = Sort(hollows, request, depth, level);
        corners = Hollows.Join(keep);
        if (corners.Length > 0)
        {
            if (judge is not null) (xyz, corners) = CavitySimplifier.Run(field, xyz, corners, level, judge, threads, cancel);
            if (double.IsFinite(request.DeeperMm))
            {
                // Points between those looked at may lie a little deeper than these.
                var deepest = Math.Max(wall + 0.75 * request.DeeperMm, most + 0.01);
                sharp = CreaseSharpener.Run(border, kept, grid.Lattice, xyz, corners, new CreaseLimits(cell, wall, level, deepest), threads, cancel);
                (xyz, corners) = (sharp.Xyz, sharp.Corners);
            }
            keep = Hollows.Find(grid.Lattice, xyz, corners);
        }
        var parts = new List<CavityPart>();
        foreach (var h in keep.OrderByDescending(h => h.VolumeMm3))
        {
            cancel.ThrowIfCancellationRequested();
            var surface = h.ToMesh(grid.Lattice, xyz);
            var (min, mean, p99, deeper) = WallMeasure.Of(surface, border, kept, wall, threads);
            parts.Add(new CavityPart(surface, h.VolumeMm3, depth.LargestBall(surface, level, 16), min, mean, p99) { DeeperMm = deeper });
        }
        return new CavityResult
        {
            Parts = parts,
            Dropped = dropped,
            DroppedMm3 = droppedMm3,
            CellMm = cell,
            TrianglesBefore = before,
            BluntMm = Math.Max(0, sharp.Depth - wall),
            GapMm = Math.Max(0, sharp.InGap - wall),
            GapAt = sharp.GapAt,
        };
    }

    private static (List<Hollow> Keep, int Dropped, double DroppedMm3) Sort(List<Hollow> hollows, CavityRequest request, Depth depth, double level)
    {
        var keep = new List<Hollow>();
        var dropped = 0;
        double mm3 = 0;
        foreach (var h in hollows)
        {
            if (h.VolumeMm3 >= request.LeastVolumeMm3 && depth.HoldsBall(h, request.LeastRadiusMm, level)) keep.Add(h);
            else
            {
                dropped++;
                mm3 += h.VolumeMm3;
            }
        }
        return (keep, dropped, mm3);
    }

    private static double CellFor(Mesh outer, double wall)
    {
        double area = 0;
        for (var t = 0; t < outer.TriangleCount; t++) area += outer.AreaVector(t).Length;
        // About four nodes a column through the band hold exact distances.
        var largeEnough = Math.Sqrt(4 * area / MostBandNodes);
        return Math.Min(Math.Max(Math.Clamp(wall / 4, 0.15, 0.6), largeEnough), wall / 3.001);
    }

    private static void Check(CavityRequest r)
    {
        if (!(r.WallMm > 0) || !double.IsFinite(r.WallMm)) throw new ArgumentException($"A wall of {r.WallMm} mm cannot be kept; it must be above zero.", nameof(r));
        if (r.CellMm is { } c && !(c > 0 && c <= r.WallMm / 3))
            throw new ArgumentException(string.Create(CultureInfo.InvariantCulture, $"A cell of {c} mm does not prove a wall of {r.WallMm} mm; it must be above zero and at most a third of the wall."), nameof(r));
        if (!(r.DeeperMm > 0)) throw new ArgumentException("How much deeper than the wall the surface may lie must be above zero.", nameof(r));
        if (!(r.SimplifyMm >= 0)) throw new ArgumentException("The deviation allowed for saving triangles cannot be negative.", nameof(r));
        foreach (var k in r.KeepSolid)
            if (!(k.RadiusMm > 0)) throw new ArgumentException($"A place that stays solid has a radius of {k.RadiusMm} mm; it must be above zero.", nameof(r));
    }

    private static CavityResult Refused(string why, double cell) => new() { Parts = [], CellMm = cell, Refusal = why };
}
