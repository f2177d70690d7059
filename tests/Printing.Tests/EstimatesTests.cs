using Stiltwright.Printing.Estimates;
using Stiltwright.Printing.Resin;

namespace Stiltwright.Printing.Tests;

public class EstimatesTests
{
    private static readonly ResinData Resin = new() { Name = "workshop-grey" };
    private static readonly PrinterData Printer = new() { Name = "bench-small", WidthMm = 140, DepthMm = 80, HeightMm = 160 };

    [Fact]
    public void Transition_layers_fall_evenly_from_the_base_exposure_to_the_normal_one()
    {
        Assert.Equal(30, PrintTime.ExposureS(6, Resin));
        Assert.Equal(2.5, PrintTime.ExposureS(13, Resin));
        var steps = Enumerable.Range(6, 8).Select(k => PrintTime.ExposureS(k, Resin)).ToArray();
        for (var i = 1; i < steps.Length; i++) Assert.Equal(27.5 / 7, steps[i - 1] - steps[i], 9);
    }

    [Fact]
    public void The_time_of_a_run_is_the_sum_of_its_layers()
    {
        double sum = Printer.StartStopS;
        for (var k = 1; k <= 400; k++) sum += PrintTime.ExposureS(k, Resin) + PrintTime.MoveS(Printer);
        Assert.Equal(sum, PrintTime.RunS(400, Resin, Printer), 6);
    }

    [Fact]
    public void A_height_that_is_a_whole_number_of_layers_gets_no_extra_layer()
    {
        for (var n = 1; n < 5000; n += 37) Assert.Equal(n, PrintTime.Layers(n * 0.05, 0.05));
    }

    [Fact]
    public void A_print_that_fits_the_vat_needs_no_refill()
    {
        // 600 ml can be drawn; 1000 layers of 10,000 mm2 draw 590 ml, of 10,200 mm2 602 ml.
        double[] Steady(double area) => [.. Enumerable.Repeat(area, 1000)];
        Assert.Empty(VatFilling.Refills(Steady(10_000), 0.05, Resin, Printer));
        Assert.Single(VatFilling.Refills(Steady(10_200), 0.05, Resin, Printer));
    }

    [Fact] // Conservation: what was in the vat and what was poured cover what is drawn, and the vat never falls below its least.
    public void Refills_cover_the_draw_and_never_let_the_vat_run_low()
    {
        var area = new double[4000];
        for (var k = 0; k < area.Length; k++) area[k] = 8000 + 4000 * Math.Sin(k * 0.003);
        var refills = VatFilling.Refills(area, 0.05, Resin, Printer);
        Assert.True(refills.Count >= 2);
        double level = Printer.VatMl, drawn = 0;
        var next = 0;
        for (var k = 0; k < area.Length; k++)
        {
            if (next < refills.Count && refills[next].Layer == k + 1)
            {
                Assert.Equal(PrintTime.AfterLayersS(k, Resin, Printer), refills[next].AfterS, 6);
                level += refills[next++].Ml;
            }
            Assert.True(level <= Printer.VatMl + 1e-9);
            var draw = VatFilling.DrawMl(area[k], 0.05, Resin);
            level -= draw;
            drawn += draw;
            Assert.True(level >= Printer.VatLeastMl - 1e-9, $"layer {k + 1}: {level} ml left");
        }
        Assert.Equal(next, refills.Count);
        Assert.Equal(Printer.VatMl + refills.Sum(r => r.Ml) - drawn, level, 6);
        Assert.Equal(Printer.VatLeastMl, level, 6); // the last one pours only what the rest needs
    }

    [Fact]
    public void A_vat_that_can_give_nothing_is_refused() =>
        Assert.Throws<ArgumentException>(() => VatFilling.Refills([10], 0.05, Resin, Printer with { VatLeastMl = 800 }));

    [Fact]
    public void Plain_enlarging_needs_the_cube_of_the_scale()
    {
        var ways = WaysCompared.Of(20_000, 3, 300_000, 200_000, 1.18);
        Assert.Equal(["as-is", "hollowed", "thinned-hollowed"], ways.Select(w => w.Name));
        Assert.Equal(540_000, ways[0].VolumeMm3, 6);
        Assert.Equal(0, ways[0].SavedShare);
        Assert.Equal(1 - 300.0 / 540, ways[1].SavedShare, 12);
        Assert.Equal(236, ways[2].MassG, 9);
    }

    [Fact]
    public void Waste_and_films_come_on_top_of_the_part() =>
        Assert.Equal(107.2727 * 1.1 + 0.5, ResinNeed.DrawnMl(100_000, 500, Resin), 3);
}
