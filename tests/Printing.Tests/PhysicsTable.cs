using Stiltwright.Printing.Estimates;
using Stiltwright.Printing.Fluids;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Resin;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Tests;

/// <summary>
/// The check values of the house's physics table: number, name, expected value, what the program computes, where the
/// formula comes from. "house" marks a formula whose form or constants are a choice of the print room.
/// </summary>
public static class PhysicsTable
{
    private const string Torsions = "Saint-Venant series; Roark, Timoshenko and Goodier";
    private const string Stefan = "Stefan 1874; Reynolds 1886";
    private const string Columns = "Euler, Johnson: Budynas and Nisbett ch. 4; Timoshenko and Gere";
    private const string Roark = "Roark's Formulas for Stress and Strain";
    private const string Flow = "Poiseuille; Sampson 1891; Dagan et al. 1982";
    private const string Volumes = "elementary geometry";
    private const string Capillary = "de Gennes, Brochard-Wyart and Quere";
    private const string House = "house";

    private static readonly ResinData Resin = new() { Name = "table" };
    private static readonly PrinterData Printer = new() { Name = "table", WidthMm = 200, DepthMm = 120, HeightMm = 250 };

    public static IReadOnlyList<(int Number, string Name, double Expected, double Actual, string Source)> Rows { get; } = Build();

    private static double Sep(double area, double rim, double speed) =>
        SeparationLoad.Force(area, rim, Resin, Printer with { LiftSpeedMmS = speed });

    private static List<(int, string, double, double, string)> Build()
    {
        double cup15 = Math.PI * 225, cup50 = Math.PI * 2500;
        double k3 = HoleFlow.Factor(3, 2), k2 = HoleFlow.Factor(2, 2), k1 = HoleFlow.Factor(1, 2);
        var cupFlow50 = 0.3 * cup50 * 1e-6 * 1e-3;
        double SkinShare(double s) => 0.020 * SeparationLoad.SphereShellSlice(8 * s, 2) / 8;
        double held3 = Capillarity.HeldHead(3, 0.035, 1.1), tau3 = DrainTime.Constant(1000, 0.3, 1.1, k3);
        var timing = Resin with { TransitionLayers = 0 };
        var run = PrintTime.RunS(PrintTime.Layers(150, 0.05), timing, Printer with { StartStopS = 0 });
        return
        [
            (1, "torsion beta, square", 0.140577, Torsion.RectangleBeta(1), Torsions),
            (2, "torsion beta, 2:1", 0.228682, Torsion.RectangleBeta(2), Torsions),
            (3, "torsion beta, 10:1", 0.312325, Torsion.RectangleBeta(10), Torsions),
            (4, "squeezed disc, N", 1.767146, SqueezeFilm.Force(Torsion.Disc(10), 0.3, 1, 0.2), Stefan),
            (5, "squeezed square, N", 2.530386, SqueezeFilm.Force(Torsion.Rectangle(20, 20), 0.3, 1, 0.2), Stefan),
            (6, "squeezed ellipse, N", 0.596412, SqueezeFilm.Force(Torsion.Ellipse(15, 5), 0.3, 1, 0.2), Stefan),
            (7, "gap at one atmosphere, um", 76.2954, 1e3 * SqueezeFilm.GapAtOneAtmosphere(10, 0.3, 1), Stefan),
            (8, "settling time, s", 2.25629, SqueezeFilm.SettlingTime(20, 0.3, 20, 1, 0.05), Stefan),
            (9, "peel line, N/m", 44.7102, PeelLine.Force(1, 1000), "Rivlin 1944; Kendall 1975"),
            (10, "compactness of a strip", 0.215473, SeparationLoad.Compactness(200, 108), Volumes),
            (11, "separation of a disc, N", 25.13274, Sep(Math.PI * 400, Math.PI * 40, 1), House),
            (12, "separation of a square, N", 16.06858, Sep(900, 120, 1), House),
            (13, "separation of a ring, N", 2.51327, Sep(Math.PI * (400 - 324), Math.PI * 76, 1), House),
            (14, "square, fast, N", 22.72441, Sep(900, 120, 2), House),
            (15, "square, slow, N", 8.03429, Sep(900, 120, 0.25), House),
            (16, "square, clamped speed, N", 32.13717, Sep(900, 120, 9), House),
            (17, "slice of a sphere's shell, mm2", 238.7610, SeparationLoad.SphereShellSlice(20, 2), Volumes),
            (18, "closing skin, N", 4.77522, DiscPull(SeparationLoad.SphereShellSlice(20, 2)), House),
            (19, "bound of a cup, N", 71.6224, SuctionCup.Bound(cup15), "one atmosphere, ISO 2533"),
            (20, "hole factor, 1/m3", 1.89491e9, k3, Flow),
            (21, "cup pressure, 3 mm hole, Pa", 401.829, SuctionCup.Pressure(cup15, 1, 0.3, k3), Flow),
            (22, "cup pressure, 1 mm hole, Pa", 22369.4, SuctionCup.Pressure(cup15, 1, 0.3, k1), Flow),
            (23, "cup force, 2 mm hole, N", 1.21309, SuctionCup.Vented(cup15, 1, 0.3, k2), Flow),
            (24, "cup pressure, two 3 mm holes, Pa", 200.914, SuctionCup.Pressure(cup15, 1, 0.3, HoleFlow.Together([k3, k3])), Flow),
            (25, "hole for 5 kPa, mm", 2.9054, HoleFlow.DiameterFor(5000 / cupFlow50, 2), Flow),
            (26, "calibrated separation stress, kPa", 24.2180, Calibration.SeparationStress(20, Calibration.FailingUse(0.62, 1.10)), House),
            (27, "tip 0.4 mm, N", 1.25664, StrutCapacity.Tip(0.4, 20, 0.5), House),
            (28, "tip 0.3 mm, N", 0.706858, StrutCapacity.Tip(0.3, 20, 0.5), House),
            (29, "pitch of contacts, mm", 6.47209, Spacing.ContactPitch(StrutCapacity.Tip(0.4, 20, 0.5), 1.5, 0.020), House),
            (30, "tip for a pull, mm", 0.586323, Thinning.TipDiameter(1.8, 1.5, 20, 0.5, 1), House),
            (31, "Euler, pinned, N", 0.968946, StrutCapacity.Euler(1, 20, 800, 1), Columns),
            (32, "Euler, fixed-pinned, N", 1.97744, StrutCapacity.Euler(1, 20, 800, 0.7), Columns),
            (33, "Euler, fixed-free, N", 0.242237, StrutCapacity.Euler(1, 20, 800, 2), Columns),
            (34, "Euler, twice as large, N", 3.87578, StrutCapacity.Euler(2, 40, 800, 1), Columns),
            (35, "transition slenderness", 28.0993, StrutCapacity.TransitionSlenderness(800, 20), Columns),
            (36, "Johnson stress, MPa", 14.9339, StrutCapacity.JohnsonStress(20, 800, 20), Columns),
            (37, "Johnson load, N", 46.9164, StrutCapacity.Column(2, 10, 800, 20, 1), Columns),
            (38, "longest shaft, mm", 16.0744, StrutCapacity.LongestColumn(1, 800, 1.5, 1), Columns),
            (39, "Greenhill's height, mm", 323.528, Beams.GreenhillHeight(1, 800, 1.18), "Greenhill 1881"),
            (40, "cantilever, mm", 6.79061, Beams.CantileverSag(1, 20, 800, 0.1), Roark),
            (41, "cantilever stress, MPa", 20.37183, Beams.CantileverStress(1, 20, 0.1), Roark),
            (42, "sway, both ends fixed, mm", 1.69765, Beams.FixedFixedSway(1, 20, 800, 0.1), Roark),
            (43, "drag on a rod across, uN", 19.6116, 1e6 * Viscosity.RodDragAcross(1, 20, 0.3, 1), "Tirado, Martinez and Garcia de la Torre 1984"),
            (44, "off-centre load on four struts, N", 3.0, LoadSharing.Eccentric(8, 5, [10, 10, -10, -10])[0], "statics"),
            (45, "diagonal brace, N/mm", 14.21723, Beams.DiagonalBraceStiffness(0.8, 10, 10, 800), "statics"),
            (46, "thinning ratio", 0.680375, Thinning.Ratio(0.30, 0.15, 0.7, 3, 0.8), House),
            (47, "use of ten tips at three times the size", 0.238732, 1.5 * 0.020 * 900 / (10 * StrutCapacity.Tip(1.2, 20, 0.5)), House),
            (48, "thinned tip at 350 %, mm", 0.48107,
                1.4 * Thinning.Ratio(1.5 * SkinShare(3.5) / StrutCapacity.Tip(1.4, 20, 0.5), 0, 0.7, 1.4, 0.3), House),
            (49, "thinned shaft at 500 %, mm", 2.07870,
                6 * Thinning.Ratio(0, 1.5 * SkinShare(5) / StrutCapacity.Column(6, 75, 800, 20, 0.7), 0.7, 6, 0.8), House),
            (50, "span of two layers, mm", 3.65148, Spacing.LayerSpan(0.1, 20, 1.5, 0.020), "clamped strip, Roark"),
            (51, "sphere shell, mm3", 9081.2972, HandbookVolumes.SphereShell(20, 2), Volumes),
            (52, "cube shell, mm3", 17344.0, HandbookVolumes.BoxShell(40, 40, 40, 2), Volumes),
            (53, "box shell, mm3", 19584.0, HandbookVolumes.BoxShell(60, 40, 30, 2), Volumes),
            (54, "cylinder shell, mm3", 10920.1761, HandbookVolumes.CylinderShell(15, 50, 2), Volumes),
            (55, "capsule shell, mm3", 5437.0497, HandbookVolumes.CapsuleShell(10, 30, 2), Volumes),
            (56, "torus shell, mm3", 16580.9354, HandbookVolumes.TorusShell(30, 8, 2), "Pappus"),
            (57, "tetrahedron shell, mm3", 10545.1495, HandbookVolumes.TetrahedronShell(60, 2), Volumes),
            (58, "prism of 64 sides, mm3", 35286.1705, HandbookVolumes.Prism(64, 15, 50), Volumes),
            (59, "its shell, mm3", 10911.6899, HandbookVolumes.PrismShell(64, 15, 50, 2), Volumes),
            (60, "grown box, mm3", 95267.1385, HandbookVolumes.BoxGrown(60, 40, 30, 2), "Steiner; Schneider 2014"),
            (61, "grown cylinder, mm3", 41778.3355, HandbookVolumes.CylinderGrown(15, 50, 1), "Steiner; Schneider 2014"),
            (62, "shrinkage by density", 0.067797, Curing.ShrinkageByVolume(1.10, 1.18), "conservation of mass"),
            (63, "the same by length", 0.023130, Curing.ShrinkageByLength(1.10, 1.18), "conservation of mass"),
            (64, "shrinkage by double bonds", 0.134013, Curing.ShrinkageByBonds(2, 1.09, 0.8, 286.3), "Patel, Braden and Davy 1987"),
            (65, "cure depth, mm", 0.087547, Curing.Depth(0.1, 12, 5), "Jacobs 1992"),
            (66, "trapped pressure, MPa", 1.72589, Curing.TrappedPressure(5e-4, 20, 2000, 20, 2, 1700, 0.4), Roark),
            (67, "collapse of a sphere, MPa", 10.0791, ThinWalls.SphereCollapse(20, 2, 800, 0.4), "Zoelly 1915"),
            (68, "panel stress, MPa", 1.5, ThinWalls.PanelStress(20, 2, 0.02), Roark),
            (69, "panel sag, mm", 0.07875, ThinWalls.PanelSag(20, 2, 0.02, 800, 0.4), Roark),
            (70, "capillary length, mm", 1.80126, Capillarity.Length(0.035, 1.1), Capillary),
            (71, "held head, 3 mm, mm", 4.32607, held3, Capillary),
            (72, "held head, 1 mm, mm", 12.9782, Capillarity.HeldHead(1, 0.035, 1.1), Capillary),
            (73, "bore of a stuck bubble, mm", 3.30570, Capillarity.StuckBubbleBore(0.035, 1.1), "Bretherton 1961"),
            (74, "drain constant, s", 52.6982, tau3, Flow),
            (75, "drain time, s", 201.387, DrainTime.Viscous(tau3, 50, held3 + 1, held3), Flow),
            (76, "thin-liquid drain time, s", 23.8098, DrainTime.Torricelli(1000, 3, 50, 0), "Torricelli"),
            (77, "wall film, um", 48.1408, 1e3 * WallFilm.Thickness(0.3, 50, 1.1, 600), "Jeffreys 1930"),
            (78, "viscosity at 15 degrees over 25", 2.01370, Viscosity.Ratio(15), "Arrhenius"),
            (79, "print time, s", 38665.0, run, "arithmetic"),
            (80, "layers", 2469, PrintTime.Layers(123.41, 0.05), "arithmetic"),
            (81, "liquid, ml", 107.2727, ResinNeed.LiquidMl(100_000, Resin), "conservation of mass"),
            (82, "cost", 47.06042, Costing.Cost(0.250 * 1.1, 40, run / 3600, 1.5, 0.75, 25, 1.2), "arithmetic"),
            (83, "chord deviation, mm", 0.048153, Facets.ChordDeviation(10, 32), Volumes),
            (84, "deviation of a facet, mm", 0.021820, Facets.Deviation(2, 5 * Math.PI / 180), Volumes),
            (85, "sides needed", 71, Facets.SidesNeeded(50, 0.05), Volumes),
            (86, "limit of the eye, mm", 0.087266, Facets.EyeLimit(300), "Westheimer 1979"),
            (87, "cusp, mm", 0.043301, Facets.Cusp(0.05, Math.PI / 6), "Dolenc and Makela 1994"),
            (88, "joint stress, MPa", 0.62431, Standing.JointStress(0.5, 100, 10), Roark),
            (89, "toppling angle, degrees", 16.6992, Standing.TipAngle(60, 200) * 180 / Math.PI, "statics"),
            (90, "toppling push, N", 4.41299, Standing.TipForce(3, 60, 400), "statics"),
            (91, "mass centre, mm", 46.6667, Standing.MassCentre([2, 1], [10, 120]), "statics"),
            (92, "cured weight, N", 5.78592, Physical.WeightN(500_000, 1.18), "ISO 80000-3"),
        ];
    }

    private static double DiscPull(double area) => Sep(area, Math.Sqrt(4 * Math.PI * area), 1);
}
