using NetTopologySuite.Geometries;
using NetTopologySuite.Operation.Polygonize;
using NetTopologySuite.Operation.Union;
using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.LayersScenes;

namespace Stiltwright.Geometry.Tests;

/// <summary>Layers against exact sections, polygonised and united by NetTopologySuite (the outside reference here).</summary>
public class LayersSectionTests
{
    [Fact]
    public void Areas_centres_and_rims_of_layers_are_those_of_the_united_section_polygons()
    {
        // A ring, a tilted box through it, a ball beside it and a thin rod: sections with holes and overlaps.
        var meshes = new[]
        {
            Turned(0.013, 0.007, 90, (4, 1), (7, 1), (8, 4), (7, 7), (4, 7)),
            Tilted(Box(-2, -6, 2, 2, 6, 6), 0.35, 0.6),
            Sphere(new Vec3(11.5, 2, 5), 4.2, 40, 60),
            Tilted(Box(-6, 9, 1, 6, 9.6, 1.6), 0.2, 0.1),
        };
        const double pitch = 0.05, layer = 0.25;
        var columns = Columns.Build([.. meshes.Select(m => new ColumnPart(m, 0))], ColumnGrid.Covering(BoundsOf(meshes), pitch), default);
        var stack = LayerStack.Build(columns, layer, default);
        int compared = 0, holes = 0;
        for (var k = 0; k < stack.Count; k++)
        {
            var section = UnaryUnionOp.Union([.. meshes.Select(m => Section(m, stack.PlaneZ(k))).Where(g => !g.IsEmpty)]);
            if (section is null || section.IsEmpty) { Assert.Equal(0, stack.AreaMm2[k]); continue; }
            // Six standard errors of the pixel count (0.3 p sqrt(P p)).
            Assert.Equal(section.Area, stack.AreaMm2[k], 6 * 0.3 * pitch * Math.Sqrt(section.Length * pitch));
            // Gaps and necks of about a pixel are the raster's to decide; where there are none, regions must be the polygons.
            var shape = Shape(section);
            if (Shape(section.Buffer(1.5 * pitch)) != shape || Shape(section.Buffer(-1.5 * pitch)) != shape) continue;
            var polygons = Enumerable.Range(0, section.NumGeometries).Select(n => (Polygon)section.GetGeometryN(n)).Where(p => p.Area > 0.5).OrderBy(p => p.Area).ToArray();
            var regions = stack.RegionsOf(k).ToArray().Where(r => r.AreaMm2 > 0.5).OrderBy(r => r.AreaMm2).ToArray();
            Assert.Equal(polygons.Length, regions.Length);
            for (var r = 0; r < regions.Length; r++)
            {
                Assert.Equal(polygons[r].Area, regions[r].AreaMm2, 0.2);
                Assert.Equal(polygons[r].Centroid.X, regions[r].X, 0.03);
                Assert.Equal(polygons[r].Centroid.Y, regions[r].Y, 0.03);
                Assert.InRange(regions[r].PerimeterMm / polygons[r].Length, 0.94, 1.035);
                // A sharp corner is thinner than a pixel near its tip, so a box may fall short by a few, never reach out by one.
                Assert.InRange(regions[r].MinX - polygons[r].EnvelopeInternal.MinX, -pitch / 2, 4 * pitch);
                Assert.InRange(regions[r].MaxY - polygons[r].EnvelopeInternal.MaxY, -4 * pitch, pitch / 2);
                holes += polygons[r].NumInteriorRings;
                compared++;
            }
            var enclosed = polygons.SelectMany(p => p.InteriorRings).Select(h => new Polygon((LinearRing)h).Area).Where(a => a > 0.5).Order().ToArray();
            var cups = stack.CupsOf(k).ToArray().Select(c => c.AreaMm2).Where(a => a > 0.5).Order().ToArray();
            Assert.Equal(enclosed.Length, cups.Length);
            for (var h = 0; h < cups.Length; h++) Assert.Equal(enclosed[h], cups[h], 0.2);
        }
        Assert.True(compared > 40 && holes > 20, $"{compared} regions, {holes} holes");
    }

    private static (int Polygons, int Holes) Shape(NetTopologySuite.Geometries.Geometry g) => (
        g.NumGeometries, Enumerable.Range(0, g.NumGeometries).Sum(n => ((Polygon)g.GetGeometryN(n)).NumInteriorRings));

    [Fact]
    public void Layers_add_up_to_the_volume()
    {
        var m = Tilted(Sphere(new Vec3(0, 0, 12), 9), 0.3, 0.4);
        var columns = Columns.Build([new(m, 0)], ColumnGrid.Covering(m.Bounds, 0.08), default);
        var stack = LayerStack.Build(columns, 0.05, default);
        Assert.Equal(columns.VolumeMm3(), stack.AreaMm2.Sum() * 0.05, columns.VolumeMm3() * 5e-5);
        Assert.Equal(columns.Mass().Centroid.Z, stack.BodySolid(0, stack.Count).Centroid.Z, 0.002);
    }

    /// <summary>The even-odd polygon of one shell's section: its own loops do not cross.</summary>
    private static NetTopologySuite.Geometries.Geometry Section(Mesh m, double z)
    {
        var factory = GeometryFactory.Default;
        var polygonizer = new Polygonizer(true);
        for (var t = 0; t < m.TriangleCount; t++)
        {
            var cut = new List<Coordinate>();
            for (var e = 0; e < 3; e++)
            {
                int a = m.Corners[3 * t + e], b = m.Corners[3 * t + (e + 1) % 3];
                if (a > b) (a, b) = (b, a);
                Vec3 p = m.Vertex(a), q = m.Vertex(b);
                if (p.Z < z == q.Z < z) continue;
                var f = (z - p.Z) / (q.Z - p.Z);
                cut.Add(new Coordinate(p.X + f * (q.X - p.X), p.Y + f * (q.Y - p.Y)));
            }
            if (cut.Count == 2 && !cut[0].Equals2D(cut[1])) polygonizer.Add(factory.CreateLineString([.. cut]));
        }
        return polygonizer.GetGeometry();
    }
}
