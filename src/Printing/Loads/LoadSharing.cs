namespace Stiltwright.Printing.Loads;

/// <summary>A load on a group of equal upright struts under a stiff body (physics table 3.5; statics).</summary>
public static class LoadSharing
{
    /// <summary>
    /// Share of every strut of an off-centre load, N: F/N + F e x_i/sum x^2, for struts on a line through their own centre
    /// (or any group whose principal axis it is).
    /// </summary>
    /// <param name="forceN">Load, N.</param>
    /// <param name="offCentreMm">Distance of the load from the centre of the group, mm.</param>
    /// <param name="places">Distance of every strut from that centre along the same axis, mm.</param>
    public static double[] Eccentric(double forceN, double offCentreMm, ReadOnlySpan<double> places)
    {
        double sum = 0;
        foreach (var x in places) sum += x * x;
        var shares = new double[places.Length];
        for (var i = 0; i < places.Length; i++)
            shares[i] = forceN / places.Length + (sum > 0 ? forceN * offCentreMm * places[i] / sum : 0);
        return shares;
    }

    /// <summary>Axial force of a strut that leans from the vertical while others hold the body sideways, N: F/cos b.</summary>
    public static double Leaning(double forceN, double leanRadians) => forceN / Math.Cos(leanRadians);
}
