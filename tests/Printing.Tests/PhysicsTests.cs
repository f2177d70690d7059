using Stiltwright.Printing.Fluids;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Strength;

namespace Stiltwright.Printing.Tests;

public class PhysicsTests
{
    public static TheoryData<int, string, string> Numbers()
    {
        var data = new TheoryData<int, string, string>();
        foreach (var row in PhysicsTable.Rows) data.Add(row.Number, row.Name, row.Source);
        return data;
    }

    [Theory]
    [MemberData(nameof(Numbers))]
    public void A_row_of_the_physics_table_comes_out(int number, string name, string source)
    {
        var row = PhysicsTable.Rows.Single(r => r.Number == number);
        var away = Math.Abs(row.Actual / row.Expected - 1);
        Assert.True(away <= 1e-4, $"Row {number}, {name} ({source}): expected {row.Expected}, computed {row.Actual}.");
    }

    [Fact]
    public void All_rows_of_the_table_are_here_once() =>
        Assert.Equal(Enumerable.Range(1, 92), PhysicsTable.Rows.Select(r => r.Number));

    [Fact] // Roark, table of torsion constants: 0.2913 at 5:1, 1/3 for a very long strip.
    public void Torsion_of_long_rectangles_is_the_handbook_value()
    {
        Assert.Equal(0.2913, Torsion.RectangleBeta(5), 4);
        Assert.Equal(1.0 / 3, Torsion.RectangleBeta(1e6), 5);
    }

    [Fact] // Polya 1948: no outline without holes beats the disc of its area.
    public void No_outline_is_pulled_harder_than_the_disc_of_its_area()
    {
        Assert.Equal(Torsion.Bound(Math.PI * 49), Torsion.Disc(7), 9);
        Assert.True(Torsion.Rectangle(3, 8) < Torsion.Bound(24));
        Assert.True(Torsion.Ellipse(3, 8) < Torsion.Bound(Math.PI * 24));
        Assert.Equal(Torsion.Disc(4), Torsion.Ellipse(4, 4), 9);
        Assert.Equal(Torsion.Disc(4), Torsion.FromHydraulicRadius(Math.PI * 16, Math.PI * 8), 9);
    }

    [Fact] // Budynas and Nisbett: both curves give half the strength where they meet.
    public void Euler_and_Johnson_meet_at_half_the_strength()
    {
        var meet = StrutCapacity.TransitionSlenderness(800, 20);
        Assert.Equal(10, StrutCapacity.ColumnStress(meet * (1 - 1e-9), 800, 20), 6);
        Assert.Equal(10, StrutCapacity.ColumnStress(meet * (1 + 1e-9), 800, 20), 6);
    }

    [Theory] // Worked holes of the physics table 5.4.
    [InlineData(1, 22.37e3, 15.81, 2934)]
    [InlineData(2, 1716, 1.213, 225.1)]
    [InlineData(4, 147.0, 0.1039, 19.28)]
    [InlineData(6, 36.90, 0.02608, 4.839)]
    public void Worked_holes_pull_and_drain_as_in_the_table(double hole, double pascal, double newton, double tau)
    {
        var k = HoleFlow.Factor(hole, 2);
        var cup = Math.PI * 225;
        Assert.Equal(1, SuctionCup.Pressure(cup, 1, 0.3, k) / pascal, 3);
        Assert.Equal(1, SuctionCup.Vented(cup, 1, 0.3, k) / newton, 3);
        Assert.Equal(1, DrainTime.Constant(1000, 0.3, 1.1, k) / tau, 3);
    }

    [Fact] // A liquid cannot pull harder than one atmosphere on a rigid cup.
    public void A_pinhole_pulls_no_harder_than_one_atmosphere()
    {
        var cup = Math.PI * 225;
        Assert.Equal(SuctionCup.Bound(cup), SuctionCup.Vented(cup, 1, 0.3, HoleFlow.Factor(0.5, 2)), 9);
        Assert.Equal(SuctionCup.Bound(cup), SuctionCup.Unvented(cup, 500), 9);
    }

    [Fact] // Maxwell and Duprez: for water (0.0728 N/m, 0.998 g/cm3) the largest pinned hole is 20.90 mm, about 20 measured.
    public void Water_stays_in_a_pinned_hole_up_to_twenty_millimetres() =>
        Assert.Equal(20.90, Capillarity.WidestPinned(0.0728, 0.998), 1);

    [Fact]
    public void A_head_below_the_held_one_is_never_reached() =>
        Assert.Equal(double.PositiveInfinity, DrainTime.Viscous(50, 40, 4, 4.3));

    [Fact]
    public void Overlapping_prints_are_not_fitted_with_one_number() =>
        Assert.Throws<ArgumentException>(() => Calibration.FailingUse(1.1, 0.9));
}
