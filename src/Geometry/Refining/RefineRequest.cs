namespace Stiltwright.Geometry.Refining;

/// <summary>How far a coarse surface is to be smoothed.</summary>
public sealed record RefineRequest
{
    /// <summary>An edge is cut where the smooth surface lies farther from it than this, mm, above zero.</summary>
    public required double ToleranceMm { get; init; }

    /// <summary>Largest distance of any new vertex from the flat triangle that it came from, mm, above zero.</summary>
    public required double MostMoveMm { get; init; }

    /// <summary>Edges that turn by more are meant as edges and stay as they are, degrees.</summary>
    public double CreaseDegrees { get; init; } = 30;

    /// <summary>The result has no more triangles than this; the coarsest places come first.</summary>
    public int MostTriangles { get; init; } = int.MaxValue;

    /// <summary>Triangles that stay as they are, by number; null for none.</summary>
    public bool[]? Keep { get; init; }

    /// <summary>Threads at most; 0: as many as there are processors. The result does not depend on it.</summary>
    public int MaxThreads { get; init; }
}

/// <summary>A refined surface.</summary>
/// <param name="Surface">
/// The vertices of the input, unmoved and with their numbers, and the new ones after them; the input itself where nothing was to be
/// cut. Closed where the input was; it crosses itself only near where the input did.
/// </param>
/// <param name="LargestMoveMm">
/// Largest distance of a new vertex from its place on the flat triangle, mm. The refined surface is linear between its vertices and so is
/// the way back to the flat triangle, so no point of either surface lies farther from the other one than this (and the rounding to the lattice).
/// </param>
public sealed record RefineResult(Mesh Surface, double LargestMoveMm)
{
    /// <summary>For every triangle of the result the triangle of the input that it is a part of; empty where nothing was cut.</summary>
    public IReadOnlyList<int> SourceTriangles { get; init; } = [];

    /// <summary>Triangles of the input that were left flat because the smooth surface would have crossed or folded there.</summary>
    public int LeftFlat { get; init; }

    /// <summary>True if more would have been cut but for the most triangles allowed.</summary>
    public bool StoppedByCount { get; init; }
}
