using Stiltwright.Geometry;
using Stiltwright.Host.Summaries;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Tests;

public class SummariesPicturesTests
{
    private static readonly Lattice Grid = new(14);

    private static Workpiece HollowBall(params string[] letters)
    {
        Vec3 middle = new(0, 0, 40);
        var outer = Primitives.Sphere(Grid, middle, 20, 12);
        var hollow = Primitives.Sphere(Grid, middle, 17, 12);
        var strut = Primitives.Cylinder(Grid, new Vec3(0, 0, 1.5), new Vec3(0, 0, 20.2), 1);
        var graph = new StrutGraph(
            [new StrutSegment { Id = 0, Chain = 0, Role = Role.Pillar, From = new Vec3(0, 0, 1.5), To = new Vec3(0, 0, 20.2), RadiusFrom = 1, RadiusTo = 1, Sides = 32, Confidence = 1, Shell = 0, Contact = new Vec3(0, 0, 20) }],
            [new StrutShell(strut, [0], [])]);
        return new Workpiece
        {
            Source = new SourceFigure("ball.stl", new string('0', 64), outer, new ShellSet(outer, [], []), outer.TriangleCount),
            Pieces =
            [
                .. letters.Select(l => new Piece
                {
                    Letter = l,
                    Outer = outer,
                    Figure = Mesh.Concat(Grid, [outer, hollow.Turned()]),
                    Untouched = Mesh.Empty(Grid),
                    OldHollows = Mesh.Empty(Grid),
                    Struts = graph,
                    StrutsAsEnlarged = graph,
                    Raft = Primitives.Box(Grid, new Vec3(-15, -15, 0), new Vec3(15, 15, 1.5)),
                    Cavities = [new Cavity(hollow, 3, 2.97, 3, 3.05, [new DrainHole(new Vec3(0, -20, 40), new Vec3(0, -1, 0), 5, "drain"), new DrainHole(new Vec3(0, 0, 60), Vec3.Up, 3.5, "air")])],
                }),
            ],
        };
    }

    [Fact]
    public void A_set_gets_its_pictures_and_each_place_its_mark()
    {
        var folder = Directory.CreateTempSubdirectory("stiltwright-pictures-").FullName;
        try
        {
            Finding[] findings =
            [
                new Finding("layer-peak", Level.Note, "t", "a"),
                new Finding("island", Level.Check, "t", "a") { AtMm = new Vec3(0, -20, 40), Layer = 800 },
                new Finding("island", Level.Check, "t", "a") { AtMm = new Vec3(-14, -14, 38), Layer = 700 },
            ];
            var pictures = SetPictures.Draw(HollowBall(""), findings, folder, CancellationToken.None);
            Assert.Equal(["overview", "section", "inside", "below", "places-1"], pictures.Select(p => Path.GetFileNameWithoutExtension(p.File)));
            foreach (var p in pictures)
            {
                // PNG: the size stands in bytes 16 to 23, most significant first.
                var png = File.ReadAllBytes(Path.Combine(folder, p.File));
                Assert.Equal((2 * p.PreviewWidth, 2 * p.PreviewHeight), ((png[18] << 8) + png[19], (png[22] << 8) + png[23]));
                Assert.InRange(p.Preview.Length, 2_000, 900_000);
            }
            Assert.Equal([1, 2], pictures[4].FindingIndexes);
            Assert.Equal(2, pictures[4].Marks.Count);
            Assert.StartsWith("layer 800", pictures[4].Marks[0]);
            Assert.Contains("1 of 1 are seen from here", pictures[3].Caption);
            Assert.Contains(pictures[1].Marks, m => m.StartsWith("drain hole, 5.00 mm wide", StringComparison.Ordinal));
            var named = SetPictures.WithPictures(findings, pictures);
            Assert.Null(named[0].Picture);
            Assert.Equal("pictures/places-1.png", named[1].Picture);
        }
        finally
        {
            Directory.Delete(folder, true);
        }
    }

    [Fact]
    public void A_split_set_shows_its_pieces_side_by_side()
    {
        var folder = Directory.CreateTempSubdirectory("stiltwright-pictures-").FullName;
        try
        {
            var pictures = SetPictures.Draw(HollowBall("a", "b"), [], folder, CancellationToken.None);
            Assert.Equal("pictures/pieces.png", pictures[0].File);
            Assert.Contains(pictures, p => p.File == "pictures/section-b.png");
            Assert.Equal(pictures.Count, pictures.Select(p => p.File).Distinct().Count());
            using var stopped = new CancellationTokenSource();
            stopped.Cancel();
            Assert.ThrowsAny<OperationCanceledException>(() => SetPictures.Draw(HollowBall(""), [], folder, stopped.Token));
        }
        finally
        {
            Directory.Delete(folder, true);
        }
    }

    [Fact]
    public void Nothing_to_draw_gives_no_pictures()
    {
        var empty = HollowBall() with { Pieces = [] };
        Assert.Empty(SetPictures.Draw(empty, [], "/nowhere", CancellationToken.None));
    }
}
