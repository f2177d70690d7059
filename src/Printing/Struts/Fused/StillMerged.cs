using Stiltwright.Geometry;

namespace Stiltwright.Printing.Struts.Fused;

/// <summary>
/// Shells in which rods rise and none of which came off while other shells came apart: struts are in them still, so what is left of
/// them is no figure to thin or hollow. They stay unsure, for the reason they were unsure at first.
/// </summary>
internal static class StillMerged
{
    /// <param name="recognised">Roles in the separated source.</param>
    /// <param name="first">The first look at the source.</param>
    /// <param name="shells">Shells of the source.</param>
    /// <param name="ofTriangle">Shell of the separated source for each triangle of the source.</param>
    /// <param name="found">Shells of the separated source.</param>
    /// <param name="taken">Merged triangles that went to struts.</param>
    /// <param name="source">The merged shells.</param>
    public static Recognised Unsure(Recognised recognised, Recognised first, ShellSet shells, int[] ofTriangle, ShellSet found, IEnumerable<int> taken, MergedSurfaces source)
    {
        var gave = taken.Select(source.ShellOf).ToHashSet();
        // What the first look was sure of it made unsure; where it saw a few rods only it left the shell figure.
        var kept = first.Merged.Where(s => first.RoleOfShell[s] == Role.Unsure && !gave.Contains(s)).ToList();
        return recognised.InDoubt(kept.SelectMany(s => shells.Shells[s].Triangles.Select(t => ofTriangle[t]).Distinct().Where(i => i >= 0 && found.Shells[i].SignedVolumeMm3 > 0)
            .Select(i => (i, first.ConfidenceOfShell[s], first.WhyOfShell[s] + "; none of them could be taken off"))));
    }
}
