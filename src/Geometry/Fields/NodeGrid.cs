namespace Stiltwright.Geometry.Fields;

/// <summary>
/// The regular grid on which the field is kept: nodes at lattice points, the spacing a whole number of lattice units, bricks
/// of 8 x 8 x 8 nodes. Two nodes of margin lie outside the figure on every side.
/// </summary>
internal sealed class NodeGrid
{
    internal const int Brick = 8;
    internal readonly Lattice Lattice;
    internal readonly int X0, Y0, Z0, Step;
    internal readonly int Nx, Ny, Nz;
    internal readonly int Bx, By, Bz;
    internal readonly double Cell;

    internal NodeGrid(Mesh mesh, double cellMm)
    {
        Lattice = mesh.Lattice;
        Step = Math.Max(1, Lattice.Round(cellMm));
        Cell = Lattice.ToMm(Step);
        var box = mesh.Bounds;
        X0 = Lattice.Round(box.Min.X) - 2 * Step;
        Y0 = Lattice.Round(box.Min.Y) - 2 * Step;
        Z0 = Lattice.Round(box.Min.Z) - 2 * Step;
        Bx = Bricks(box.Max.X, X0);
        By = Bricks(box.Max.Y, Y0);
        Bz = Bricks(box.Max.Z, Z0);
        (Nx, Ny, Nz) = (Bx * Brick, By * Brick, Bz * Brick);
    }

    private int Bricks(double max, int from) => (int)(((long)Lattice.Round(max) - from) / Step + 3) / Brick + 1;

    internal double X(double i) => (X0 + i * Step) * Lattice.UnitMm;
    internal double Y(double j) => (Y0 + j * Step) * Lattice.UnitMm;
    internal double Z(double k) => (Z0 + k * Step) * Lattice.UnitMm;
    internal Vec3 At(int i, int j, int k) => new(X(i), Y(j), Z(k));
}
