namespace Stiltwright.Geometry.Layers;

public sealed partial class Columns
{
    /// <summary>
    /// Volume of the union of some groups, mm3: the solid lengths summed in whole units, times the cell. The error is that
    /// of a midpoint rule in x and y (see <see cref="VolumeWithSpread"/>).
    /// </summary>
    public double VolumeMm3(ulong groups = AllGroups) => Mass(groups).VolumeMm3;

    /// <summary>
    /// Volume with a cheap measure of how far it may be off: the columns are four grids of twice the pitch laid into each
    /// other, each of which gives a volume of its own; half their range is what the coarser grids are off by, and the full
    /// grid is as a rule nearer than they are.
    /// </summary>
    public VolumeEstimate VolumeWithSpread(ulong groups = AllGroups)
    {
        var runs = Runs(groups);
        var sums = new long[4];
        for (var j = 0; j < Grid.Ny; j++)
            for (var i = 0; i < Grid.Nx; i++)
            {
                var c = j * Grid.Nx + i;
                for (var r = runs.Start[c]; r < runs.Start[c + 1]; r++) sums[(j & 1) * 2 + (i & 1)] += runs.Z1[r] - runs.Z0[r];
            }
        var unit = Grid.CellMm2 * Heights.UnitMm;
        return new VolumeEstimate(sums.Sum() * unit, (sums.Max() - sums.Min()) * 4 * unit / 2);
    }

    /// <summary>
    /// Volume, centroid and inertia of the union of some groups: each stretch is a thin square rod, integrated in closed
    /// form along z and with the rod's own second moment across it. Rows are summed in order, so the result does not
    /// depend on the number of threads.
    /// </summary>
    public MassProperties Mass(ulong groups = AllGroups)
    {
        var runs = Runs(groups);
        var grid = Grid;
        var u = Heights.UnitMm;
        var rows = new (Int128 L, double X, double Y, double Z, double Xx, double Yy, double Zz, double Xy, double Xz, double Yz)[grid.Ny];
        Parallel.For(0, grid.Ny, new ParallelOptions { MaxDegreeOfParallelism = _workers }, j =>
        {
            long units = 0;
            double sx = 0, sz = 0, sxx = 0, szz = 0, sxz = 0, length = 0;
            for (var i = 0; i < grid.Nx; i++)
            {
                var c = j * grid.Nx + i;
                if (runs.Start[c] == runs.Start[c + 1]) continue;
                double l = 0, m = 0, q = 0;
                for (var r = runs.Start[c]; r < runs.Start[c + 1]; r++)
                {
                    units += runs.Z1[r] - runs.Z0[r];
                    double a = runs.Z0[r] * u, b = runs.Z1[r] * u;
                    l += b - a;
                    m += (b - a) * (a + b) / 2;
                    q += (b - a) * (a * a + a * b + b * b) / 3;
                }
                var x = grid.X(i);
                length += l;
                sx += x * l;
                sxx += x * x * l;
                sz += m;
                szz += q;
                sxz += x * m;
            }
            var y = grid.Y(j);
            rows[j] = (units, sx, y * length, sz, sxx, y * y * length, szz, y * sx, sxz, y * sz);
        });
        Int128 lengthUnits = 0;
        double mx = 0, my = 0, mz = 0, xx = 0, yy = 0, zz = 0, xy = 0, xz = 0, yz = 0;
        foreach (var r in rows)
        {
            lengthUnits += r.L;
            mx += r.X; my += r.Y; mz += r.Z;
            xx += r.Xx; yy += r.Yy; zz += r.Zz;
            xy += r.Xy; xz += r.Xz; yz += r.Yz;
        }
        if (lengthUnits == 0) return default;
        var total = (double)lengthUnits * u;
        var k = grid.CellMm2;
        var own = grid.PitchMm * grid.PitchMm / 12 * total;
        double cx = mx / total, cy = my / total, cz = mz / total;
        xx = xx + own - total * cx * cx;
        yy = yy + own - total * cy * cy;
        zz -= total * cz * cz;
        return new MassProperties(
            total * k, new Vec3(cx, cy, cz), (yy + zz) * k, (xx + zz) * k, (xx + yy) * k,
            -(xy - total * cx * cy) * k, -(xz - total * cx * cz) * k, -(yz - total * cy * cz) * k);
    }
}
