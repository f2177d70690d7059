namespace Stiltwright.Printing.Struts;

/// <summary>What a shell or strut segment is for.</summary>
public enum Role
{
    /// <summary>The displayed object, or a part of it.</summary>
    Figure,

    /// <summary>The lowest end of a strut, on the raft or the platform.</summary>
    Foot,

    /// <summary>The shaft of a strut.</summary>
    Pillar,

    /// <summary>A link between struts.</summary>
    Brace,

    /// <summary>The end of a strut that thins towards the figure.</summary>
    Tip,

    /// <summary>The plate (or grid, rails, discs) on the platform.</summary>
    Raft,

    /// <summary>A closed hollow inside the figure.</summary>
    InnerShell,

    /// <summary>Not known well enough: enlarged only, never thinned, never hollowed, and reported.</summary>
    Unsure,
}
