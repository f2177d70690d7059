namespace Stiltwright.Geometry.Layers;

/// <summary>
/// A square grid of columns over the platform. Column (i, j) stands on the point
/// (X0 + (i + 1/2) PitchMm, Y0 + (j + 1/2) PitchMm); its number is j Nx + i. All lengths in mm.
/// </summary>
/// <param name="X0">Left border of column 0, mm.</param>
/// <param name="Y0">Front border of row 0, mm.</param>
/// <param name="PitchMm">Distance between neighbouring columns, mm.</param>
/// <param name="Nx">Columns along x.</param>
/// <param name="Ny">Columns along y.</param>
public readonly record struct ColumnGrid(double X0, double Y0, double PitchMm, int Nx, int Ny)
{
    /// <summary>Finest pitch that <see cref="PitchFor"/> proposes, mm: about the pixel of a fine printer.</summary>
    public const double FinestPitchMm = 0.05;

    /// <summary>Most columns a grid may have; above it the arrays of the model would outgrow their index.</summary>
    public const int MostColumns = 64_000_000;

    /// <summary>Number of columns.</summary>
    public int Count => Nx * Ny;

    /// <summary>Area that one column stands for, mm2.</summary>
    public double CellMm2 => PitchMm * PitchMm;

    /// <summary>x of a column's axis, mm.</summary>
    public double X(int i) => X0 + (i + 0.5) * PitchMm;

    /// <summary>y of a column's axis, mm.</summary>
    public double Y(int j) => Y0 + (j + 0.5) * PitchMm;

    /// <summary>The column whose cell holds a place, or -1 where the place lies outside the grid.</summary>
    public int ColumnAt(double x, double y)
    {
        double i = Math.Floor((x - X0) / PitchMm), j = Math.Floor((y - Y0) / PitchMm);
        return i >= 0 && j >= 0 && i < Nx && j < Ny ? (int)j * Nx + (int)i : -1;
    }

    /// <summary>
    /// The grid that covers a box with at least one empty column all around. Cell borders lie on whole multiples of the
    /// pitch, so grids of one pitch fit each other wherever the boxes are.
    /// </summary>
    /// <exception cref="ArgumentException">The box is empty, the pitch is not positive, or the grid would be too large.</exception>
    public static ColumnGrid Covering(Box3 box, double pitchMm)
    {
        if (box.IsEmpty) throw new ArgumentException("An empty box needs no columns.", nameof(box));
        if (!(pitchMm > 0) || !double.IsFinite(pitchMm)) throw new ArgumentException($"The pitch of columns must be positive, not {pitchMm} mm.", nameof(pitchMm));
        double i0 = Math.Floor(box.Min.X / pitchMm) - 1, j0 = Math.Floor(box.Min.Y / pitchMm) - 1;
        double nx = Math.Ceiling(box.Max.X / pitchMm) + 1 - i0, ny = Math.Ceiling(box.Max.Y / pitchMm) + 1 - j0;
        if (!(nx * ny <= MostColumns))
            throw new ArgumentException($"{nx} x {ny} columns of {pitchMm} mm are more than {MostColumns}; choose a coarser pitch.", nameof(pitchMm));
        return new ColumnGrid(i0 * pitchMm, j0 * pitchMm, pitchMm, (int)nx, (int)ny);
    }

    /// <summary>
    /// The finest pitch, in steps of 1/256 mm and never below <see cref="FinestPitchMm"/>, at which the grid over a box
    /// keeps to a number of columns. The step is a whole number of units on every lattice a part of up to 32 m uses.
    /// </summary>
    /// <param name="box">What is to be covered, mm.</param>
    /// <param name="maxColumns">Most columns wanted; at least 100.</param>
    public static double PitchFor(Box3 box, int maxColumns)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(maxColumns, 100);
        if (box.IsEmpty) return FinestPitchMm;
        const double step = 1.0 / 256;
        var s = box.Size;
        var n = Math.Max(Math.Ceiling(FinestPitchMm / step), Math.Floor(Math.Sqrt(s.X * s.Y / maxColumns) / step));
        n = Math.Max(n, Math.Floor(Math.Max(s.X, s.Y) / maxColumns / step));
        while ((s.X / (n * step) + 4) * (s.Y / (n * step) + 4) > maxColumns) n++;
        return n * step;
    }
}
