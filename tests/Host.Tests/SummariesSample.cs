using Stiltwright.Geometry;
using Stiltwright.Geometry.Rendering;
using Stiltwright.Host.Board;
using Stiltwright.Host.Summaries;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Tests;

/// <summary>Made-up summaries of the aquarium's exhibit workshop, with every key in use.</summary>
internal static class SummariesSample
{
    internal const string NastyName = "<b>Krake</b> \"größer\" & 'タコ' #1?.stl";

    internal static Summary Full(string file = "anglerfish.stl", Outcome outcome = Outcome.Check) => new()
    {
        Number = "0412",
        Source = new SourceFacts(file, new string('a', 64), 133_578, new Vec3(61.2, 40.25, 74.9)),
        Folder = "enlarge-200",
        Recipe = "enlarge-200",
        Scale = 2,
        Height = new HeightFacts(141.5, 149.8, new Vec3(0, 0.4226, 0.9063)),
        Outcome = outcome,
        Printer = "bench-small",
        Resin = "workshop-grey",
        Placement = Affine.Scaling(2).Then(Affine.Translation(new Vec3(1, 2, 3))),
        Pieces =
        [
            new PieceFacts("anglerfish-200-a.stl", "a", new Vec3(122, 80, 149.8), 203_118, 941, true, 152_340, 179.8, true, Affine.Scaling(2)),
            new PieceFacts("anglerfish-200-b.stl", "b", new Vec3(60, 44, 70), 33_118, 41, true, 22_340, 26.4, true, Affine.Scaling(2)),
        ],
        Roles = new RoleFacts(2, 930, 1, 0, 9, 0.62),
        Struts = new StrutFacts(599, 560, 39, 0, 0, new BeforeAfter(new Spread(1.4, 1.96, 3.1), new Spread(0.8, 1.31, 2.4)), new BeforeAfter(new Spread(0.6, 0.8, 1), new Spread(0.31, 0.52, 0.9)), 0.464, 211),
        Cavities =
        [
            new CavityFacts(151_000, new WallFacts(2, 2.003, 2.21, 3.4), [new HoleFacts(new Vec3(4, -20, 12), new Vec3(0, -0.8, -0.6), 6, "drain"), new HoleFacts(new Vec3(-3, 10, 130), new Vec3(0, 0, 1), 3.5, "air")], "a", true, 12.5),
            new CavityFacts(900, new WallFacts(2, 2.01, 2.4, 3.1), [], "b", false, 900),
        ],
        Layers = new LayerFacts(2996, 0.05, new PeakFacts(2210.5, 1203), 2, 1, new PeakFacts(14.2, 1204)),
        Ways = [new WayFacts("as-is", 402_000, 474.4, 0), new WayFacts("hollowed", 251_000, 296.2, 0.3756), new WayFacts("thinned-hollowed", 174_680, 206.1, 0.5655)],
        Estimate = new EstimateFacts(206.1, 206.2, 38_665, new CostFacts(47.06, "EUR"), 2),
        Runs =
        [
            new RunFacts("bench-small", ["a"], 2996, 38_665, 180.5, [new RefillFacts(2200, 27_000, 120)]),
            new RunFacts("bench-small", ["b"], 1400, 18_000, 25.7, []),
        ],
        Finish = [new FinishFacts("a", 179.8, new Vec3(0.3, -0.6, -0.74), 780, 4.2), new FinishFacts("b", 26.4, null, null, null)],
        Extras = [new ExtraFacts("plug-a1.stl", "plug of the drain hole of piece a")],
        Findings =
        [
            new FindingFacts("layer-peak", Level.Note, "Layer 1,203 is 1.6 times as large as the one before it.", "Nothing, if the machine copes; else lean the source more.", Layer: 1203),
            new FindingFacts("resin-trapped", Level.Check, "900 mm³ of resin stay in the cavity of piece b & cannot leave.", "Give the slip a hole place, or keep piece b solid.", new Vec3(1, 2, 30), 600, "pictures/places-1.png", "b"),
            new FindingFacts("strut-overloaded", Level.Check, "One brace <12> is used at 108 %.", "Add a strut near it in the source.", new Vec3(5, 6, 40), 210, null, "a"),
        ],
        Stages = [new StageFacts("inspect", "1.0.0", 1.25, 310), new StageFacts("rescale", "1.0.0", 0.4, 410), new StageFacts("shell", "1.0.0", 6.9, 902.5)],
    };

    internal static Summary Ready() => Full(outcome: Outcome.Ready) with { Findings = [Full().Findings[0]] };

    internal static Summary Refused(string file) => new()
    {
        Number = "0413",
        Source = new SourceFacts(file, new string('b', 64)),
        Folder = "enlarge-300",
        Recipe = "enlarge-300",
        Outcome = Outcome.Stop,
        Findings = [new FindingFacts("source-unreadable", Level.Stop, $"{file} says 120,000 triangles in byte 80 but holds bytes for 4,711.", "Copy the file again.")],
    };

    internal static PageMaterial Material(IReadOnlyList<SetPicture>? pictures = null) => new()
    {
        Pictures = pictures ?? [Picture("pictures/overview.png", "The print as it stands.", true), Picture("pictures/places-1.png", "Where: resin trapped <i>.", true, "layer 600, x 1, y 2, z 30 mm")],
        Layers = [new LayerCurve("a", 0.05, Curve(2996, 2210), Curve(2996, 14.2)), new LayerCurve("b", 0.05, Curve(1400, 600), null)],
        Struts = Struts(),
        Judging = ["Both rules were asked for; the source's braces are used at 41 % at most (95th percentile)."],
        WentBack = ["strut-thin asked shell to keep 3 places solid in piece a: two contacts lay over the cavity."],
        ChangedSinceLast = ["The resin changed from workshop-clear to workshop-grey."],
        Measures = [new StageMeasure("shell", "cell", 0.35, "mm")],
        ThreeMfFile = "anglerfish-200.3mf",
    };

    internal static StrutsFile Struts() => new(
        [
            new StrutEntry(0, "foot", new Vec3(1, 1, 1.5), new Vec3(1, 1, 3), [1.6, 1], [1.6, 0.7], 8, 0.98, "thinned", 0.21, "relative rule", 12, 0, "a", null),
            new StrutEntry(1, "pillar", new Vec3(1, 1, 3), new Vec3(1, 1, 40), [1, 1], [0.7, 0.7], 8, 0.98, "thinned", 0.464, "absolute rule", 211, 0, "a", null),
            new StrutEntry(2, "tip", new Vec3(1, 1, 40), new Vec3(2, 1, 43), [1, 0.4], [0.7, 0.26], 8, 0.95, "thinned", 0.4, "least tip", 211, 0, "a", new Vec3(2, 1, 43)),
            new StrutEntry(3, "unsure", new Vec3(9, 1, 0), new Vec3(9, 1, 43), [1, 0.4], [1, 0.4], 0, 0.3, "unsure", null, null, null, 1, "b", null),
        ],
        new RaftEntry(6, 1.5));

    internal static SetPicture Picture(string file, string caption, bool inMail, params string[] marks)
    {
        var png = Png.ToBytes(new Image(40, 30));
        return new SetPicture(file, caption, marks, [], png, 40, 30, inMail);
    }

    internal static BoardModel Board() => new(
        "\\\\server\\exhibit <b>", new DateTimeOffset(2026, 3, 4, 5, 6, 0, TimeSpan.FromHours(1)), "PRINTROOM-1, version 0.1.0", 30,
        [
            new BoardFolder("enlarge-200", "200 %, wall 2.0 mm, for bench-small",
                [
                    new BoardJob("crab.stl", null, BoardState.Working, At(5, 4), "shell, 40 %", null, null, null),
                    new BoardJob(NastyName, "0412", BoardState.Check, At(4, 50), null, 41.2, "900 mm³ of resin stay in the cavity.", "enlarge-200/" + NastyName.Replace(".stl", ".set") + "/summary.html", "accepted by Ada"),
                    new BoardJob("seahorse.stl", "0409", BoardState.Ready, At(2, 0), null, 33, null, "enlarge-200/seahorse.set/summary.html"),
                    new BoardJob("empty.stl", "0408", BoardState.Stop, At(1, 0), null, 0.1, "empty.stl is empty.", "enlarge-200/empty.set/summary.html"),
                    new BoardJob("ray.stl", null, BoardState.Settling, At(5, 5), null, null, "still being copied: 12 of 40 MB", null),
                ],
                ["The sub-folder “kit” is left alone: kits are not done yet."]),
            new BoardFolder("attic", null, [], []),
        ],
        [new UnsentMail("printroom@example.org", "crab.stl: ready to print", At(3, 0), 2, "No mail server is set; the mail lies in the outbox as a file.")],
        ["The plug-in Paint was set aside: it was built for contract 2, this program has 1."]);

    private static DateTimeOffset At(int hour, int minute) => new(2026, 3, 4, hour, minute, 0, TimeSpan.FromHours(1));

    private static double[] Curve(int n, double most) => [.. Enumerable.Range(0, n).Select(i => most * Math.Sqrt(Math.Abs(Math.Sin(Math.PI * (i + 0.5) / n) * Math.Cos(3.0 * i / n))))];
}
