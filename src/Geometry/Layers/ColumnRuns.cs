namespace Stiltwright.Geometry.Layers;

/// <summary>
/// Where each column is solid: rising, disjoint stretches [Z0, Z1) of height. The stretches of column c are numbers
/// Start[c] up to Start[c + 1]. Heights are whole units of <see cref="UnitMm"/>.
/// </summary>
public sealed class ColumnRuns
{
    internal ColumnRuns(ColumnGrid grid, double unitMm, int[] start, int[] z0, int[] z1)
    {
        (Grid, UnitMm, Start, Z0, Z1) = (grid, unitMm, start, z0, z1);
    }

    /// <summary>The grid of the columns.</summary>
    public ColumnGrid Grid { get; }

    /// <summary>One unit of height, mm.</summary>
    public double UnitMm { get; }

    /// <summary>Number of stretches.</summary>
    public int Count => Z0.Length;

    /// <summary>First stretch of each column, and one entry more. Never write to it.</summary>
    public int[] Start { get; }

    /// <summary>Lower end of each stretch, units. Never write to it.</summary>
    public int[] Z0 { get; }

    /// <summary>Upper end of each stretch, units. Never write to it.</summary>
    public int[] Z1 { get; }

    /// <summary>True if the column whose cell holds the place is solid at its height (mm).</summary>
    public bool Holds(Vec3 p)
    {
        var c = Grid.ColumnAt(p.X, p.Y);
        return c >= 0 && RunAt(c, p.Z / UnitMm) >= 0;
    }

    /// <summary>True if a column (by number) is solid at a height, mm.</summary>
    public bool Holds(int column, double zMm) => RunAt(column, zMm / UnitMm) >= 0;

    /// <summary>The stretch of a column that holds a height (units), or -1.</summary>
    internal int RunAt(int column, double z)
    {
        int lo = Start[column], hi = Start[column + 1];
        while (lo < hi)
        {
            var mid = (lo + hi) >>> 1;
            if (Z1[mid] > z) hi = mid;
            else lo = mid + 1;
        }
        return lo < Start[column + 1] && Z0[lo] <= z ? lo : -1;
    }
}
