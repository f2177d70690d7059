namespace Stiltwright.Geometry.Files;

/// <summary>What a reader took, left out or mended, for a person to know. Nothing is left out without one.</summary>
/// <param name="Kind">A short name in lower case, for programs (such as <c>trailing-bytes</c>).</param>
/// <param name="Count">How many places it concerns.</param>
/// <param name="Text">A full sentence.</param>
public sealed record ReadRemark(string Kind, long Count, string Text);

/// <summary>A file that cannot be read as a mesh. The message is a full sentence: which file, what is wrong, where, what to do.</summary>
public sealed class MeshReadException : Exception
{
    /// <summary>Creates it with a full sentence.</summary>
    public MeshReadException(string message) : base(message) { }

    /// <summary>Creates it with a full sentence and the error below.</summary>
    public MeshReadException(string message, Exception inner) : base(message, inner) { }
}

/// <summary>Bounds beyond which a file is refused before it eats the memory of the machine.</summary>
public sealed record ReadLimits
{
    /// <summary>The usual limits.</summary>
    public static readonly ReadLimits Default = new();

    /// <summary>Largest file, bytes.</summary>
    public long MaxBytes { get; init; } = 8L << 30;

    /// <summary>Most triangles, polygons being split and repeated objects counted each time.</summary>
    public int MaxTriangles { get; init; } = 80_000_000;

    /// <summary>Most bytes that the parts of a 3MF package may unpack to, all together.</summary>
    public long MaxUnzippedBytes { get; init; } = 4L << 30;

    /// <summary>Most entries in a 3MF package.</summary>
    public int MaxPackageEntries { get; init; } = 4096;
}

/// <summary>
/// The triangles of a file. Points of equal coordinates are one point (exactly equal, -0 being 0), numbered in order of
/// first use; objects of a 3MF file do not share points with each other. Triangles that name one point twice are left out.
/// </summary>
public sealed class MeshFile
{
    internal MeshFile(
        string path, string format, double[] points, int[] corners, int trianglesInFile, string[] objectNames, string[] objectTypes,
        int[] objectOfTriangle, IReadOnlyList<ReadRemark> remarks)
    {
        Path = path;
        Format = format;
        Points = points;
        Corners = corners;
        TrianglesInFile = trianglesInFile;
        ObjectNames = objectNames;
        ObjectTypes = objectTypes;
        ObjectOfTriangle = objectOfTriangle;
        Remarks = remarks;
        Bounds = BoxOf(points);
    }

    private static Box3 BoxOf(double[] points)
    {
        var boxes = new Box3[(points.Length / 3 + Chunk - 1) / Chunk];
        Parallel.For(0, boxes.Length, c =>
        {
            double x0 = double.PositiveInfinity, y0 = x0, z0 = x0, x1 = double.NegativeInfinity, y1 = x1, z1 = x1;
            for (var i = 3 * c * Chunk; i < Math.Min(points.Length, 3 * (c + 1) * Chunk); i += 3)
            {
                x0 = Math.Min(x0, points[i]); x1 = Math.Max(x1, points[i]);
                y0 = Math.Min(y0, points[i + 1]); y1 = Math.Max(y1, points[i + 1]);
                z0 = Math.Min(z0, points[i + 2]); z1 = Math.Max(z1, points[i + 2]);
            }
            boxes[c] = new Box3(new Vec3(x0, y0, z0), new Vec3(x1, y1, z1));
        });
        var box = Box3.Empty;
        foreach (var b in boxes) box = box.With(b);
        return box;
    }

    /// <summary>Where it was read from.</summary>
    public string Path { get; }

    /// <summary>What the content is: <c>STL, binary</c>, <c>STL, text</c>, <c>OBJ</c>, <c>PLY, text</c>, <c>PLY, binary</c> or <c>3MF</c>.</summary>
    public string Format { get; }

    /// <summary>x, y, z of each point, mm (STL, OBJ and PLY carry no unit and are taken as mm).</summary>
    public double[] Points { get; }

    /// <summary>Three point numbers a triangle, counter-clockwise seen from outside as the file has it.</summary>
    public int[] Corners { get; }

    /// <summary>Triangles in the file, polygons split, before any was left out.</summary>
    public int TrianglesInFile { get; }

    /// <summary>Names of the objects (groups, solids); at least one.</summary>
    public IReadOnlyList<string> ObjectNames { get; }

    /// <summary>The object's 3MF type (<c>model</c>, <c>support</c>, <c>solidsupport</c>, <c>surface</c>); <c>model</c> for other formats.</summary>
    public IReadOnlyList<string> ObjectTypes { get; }

    /// <summary>Object of each triangle.</summary>
    public int[] ObjectOfTriangle { get; }

    /// <summary>What a person should know of the reading.</summary>
    public IReadOnlyList<ReadRemark> Remarks { get; }

    /// <summary>Smallest box around all points, mm.</summary>
    public Box3 Bounds { get; }

    /// <summary>Triangles kept.</summary>
    public int TriangleCount => Corners.Length / 3;

    /// <summary>
    /// The mesh mapped in double precision and rounded once to the lattice. Connectivity stays as the file has it; a
    /// mirroring map turns the triangles so that outside stays outside.
    /// </summary>
    /// <exception cref="MeshReadException">A point lands beyond the lattice.</exception>
    public Mesh ToMesh(Affine map, Lattice lattice)
    {
        ArgumentNullException.ThrowIfNull(lattice);
        var xyz = new int[Points.Length];
        var stray = -1;
        Parallel.For(0, (Points.Length / 3 + Chunk - 1) / Chunk, c =>
        {
            for (var v = c * Chunk; v < Math.Min(Points.Length / 3, (c + 1) * Chunk); v++)
            {
                var p = map.Apply(new Vec3(Points[3 * v], Points[3 * v + 1], Points[3 * v + 2]));
                if (!(Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z))) * lattice.UnitsPerMm <= Lattice.MaxUnits))
                {
                    Interlocked.Exchange(ref stray, v);
                    return;
                }
                xyz[3 * v] = lattice.Round(p.X);
                xyz[3 * v + 1] = lattice.Round(p.Y);
                xyz[3 * v + 2] = lattice.Round(p.Z);
            }
        });
        if (stray >= 0)
        {
            var s = new Vec3(Points[3 * stray], Points[3 * stray + 1], Points[3 * stray + 2]);
            throw new MeshReadException($"{System.IO.Path.GetFileName(Path)}: the point {s} lands {map.Apply(s)} mm from the origin, too far for this machine's grid of {Lattice.MaxUnits / lattice.UnitsPerMm} mm. Check the unit and the place of the model.");
        }
        var corners = Corners;
        if (map.Determinant < 0)
        {
            corners = (int[])corners.Clone();
            for (var t = 0; t < corners.Length; t += 3) (corners[t + 1], corners[t + 2]) = (corners[t + 2], corners[t + 1]);
        }
        return new Mesh(lattice, xyz, corners);
    }

    private const int Chunk = 1 << 16;
}
