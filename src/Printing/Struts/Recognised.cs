using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts;

/// <summary>What each shell of a source is, and the struts among them. In the coordinates of the source.</summary>
public sealed record Recognised
{
    /// <summary>Role of each shell.</summary>
    public required Role[] RoleOfShell { get; init; }

    /// <summary>How sure the role is, 0..1.</summary>
    public required double[] ConfidenceOfShell { get; init; }

    /// <summary>The reason for the role, in words.</summary>
    public required string[] WhyOfShell { get; init; }

    /// <summary>The accepted struts.</summary>
    public required StrutGraph Graph { get; init; }

    /// <summary>Shell of the source for each shell of the graph, by index.</summary>
    public required int[] SourceShellOfStrutShell { get; init; }

    /// <summary>True if struts seem to be one surface with the figure (or with each other, in a way that cannot be read).</summary>
    public required bool Fused { get; init; }

    /// <summary>What speaks for <see cref="Fused"/>, in words; empty where it is false.</summary>
    public required string FusedWhy { get; init; }

    /// <summary>Shells in each of which several rods rise. Never more than <see cref="MaybeMerged"/>.</summary>
    public IReadOnlyList<int> Merged { get; init; } = [];

    /// <summary>
    /// Shells in which struts may be one surface with each other, with the raft or with the figure, ascending. What is in here and not in
    /// <see cref="Merged"/> is taken apart only where it proves to be nothing but struts and raft.
    /// </summary>
    public IReadOnlyList<int> MaybeMerged { get; init; } = [];

    /// <summary>True if no shell is a strut and none seems to be.</summary>
    public required bool NoStruts { get; init; }

    /// <summary>True if there are struts and they stand on the platform without a raft.</summary>
    public required bool NoRaft { get; init; }

    /// <summary>The same with shells in doubt: such of them as are figure become unsure, with how sure that is and why.</summary>
    internal Recognised InDoubt(IEnumerable<(int Shell, double Confidence, string Why)> shells)
    {
        Role[] role = [.. RoleOfShell];
        double[] confidence = [.. ConfidenceOfShell];
        string[] why = [.. WhyOfShell];
        foreach (var (shell, sure, words) in shells)
            if (role[shell] == Role.Figure) (role[shell], confidence[shell], why[shell]) = (Role.Unsure, sure, words);
        return this with { RoleOfShell = role, ConfidenceOfShell = confidence, WhyOfShell = why };
    }
}
