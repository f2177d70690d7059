namespace Stiltwright.Geometry.Files.ThreeMf;

/// <summary>An object resource: a mesh of its own, or components that place other objects.</summary>
internal sealed class ThreeMfObject(string part, int id, string name, string type)
{
    internal string Part { get; } = part;

    internal int Id { get; } = id;

    internal string Name { get; } = name;

    internal string Type { get; } = type;

    /// <summary>x, y, z in the unit of its model part.</summary>
    internal List<double> Vertices { get; } = [];

    internal List<int> Corners { get; } = [];

    internal List<ThreeMfPlace> Components { get; } = [];

    internal int Beams { get; set; }

    /// <summary>Triangles of this object with all that it places.</summary>
    internal long TotalTriangles { get; set; }

    /// <summary>How deep its components go; 0 for a mesh.</summary>
    internal int Depth { get; set; }
}

/// <summary>An object and where it is put: a component, or an item of the build. The map's shift is in the part's unit.</summary>
internal sealed record ThreeMfPlace(ThreeMfObject Object, Affine Map);

/// <summary>One model part of the package.</summary>
internal sealed class ThreeMfPart(string name)
{
    internal string Name { get; } = name;

    internal double UnitMm { get; set; } = 1;

    internal Dictionary<int, ThreeMfObject> Objects { get; } = [];

    internal List<ThreeMfPlace> Build { get; } = [];

    internal bool HasBuild { get; set; }

    internal bool HasResources { get; set; }
}
