using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>A source parted into the shells in which struts may be one surface with something else, and the rest, which stays as it is.</summary>
internal sealed class MergedSurfaces
{
    private readonly int[] _shell;
    private readonly int[] _triangle;

    /// <param name="mesh">The source.</param>
    /// <param name="shells">Its shells.</param>
    /// <param name="merged">Numbers of the shells to be taken apart.</param>
    public MergedSurfaces(Mesh mesh, ShellSet shells, IReadOnlyCollection<int> merged)
    {
        var cutter = new LocalShell.Cutter(mesh);
        var chosen = merged.Order().ToArray();
        _triangle = [.. chosen.SelectMany(s => shells.Shells[s].Triangles).Order()];
        _shell = Array.ConvertAll(_triangle, t => shells.OfTriangle[t]);
        var rest = Enumerable.Range(0, shells.Shells.Count).Except(chosen).ToArray();
        // Where surfaces fold onto themselves the order of corners tells which edges pair: kept where it can be.
        Mesh = rest.Length == 0 ? mesh : mesh.Part(_triangle);
        Rest = [.. rest.Select(s => cutter.TakeMesh(shells.Shells[s].Triangles))];
        RestTriangles = [.. rest.Select(s => shells.Shells[s].Triangles)];
    }

    /// <summary>The shells to be taken apart.</summary>
    public Mesh Mesh { get; }

    /// <summary>The other shells.</summary>
    public IReadOnlyList<Mesh> Rest { get; }

    /// <summary>Triangles of the source in each of them, in the order of theirs.</summary>
    public IReadOnlyList<int[]> RestTriangles { get; }

    /// <summary>Source shell of a triangle of <see cref="Mesh"/>.</summary>
    public int ShellOf(int triangle) => _shell[triangle];

    /// <summary>Source triangle of a triangle of <see cref="Mesh"/>.</summary>
    public int SourceTriangle(int triangle) => _triangle[triangle];
}
