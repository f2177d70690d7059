using Stiltwright.Geometry;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>
/// What every workpiece must keep true, whoever wrote the stage: closed shells where the contract says closed, one lattice,
/// the platform at z = 0, and nothing changed that the stage did not declare.
/// </summary>
public static class WorkpieceCheck
{
    /// <summary>The first thing that is wrong, as the end of a sentence; null if all is well. Meshes in <paramref name="sound"/> were seen before and are not looked at again.</summary>
    public static string? FirstFault(Workpiece before, Workpiece after, Parts changes, ISet<Mesh> sound)
    {
        if (!ReferenceEquals(before.Source, after.Source)) return "the source was replaced";
        if (before.Inspection != after.Inspection && !changes.HasFlag(Parts.Roles)) return "roles were changed without saying so";
        if (before.Placement != after.Placement && !changes.HasFlag(Parts.Placement)) return "the placement was changed without saying so";
        if (before.Pieces.Count > 0 && before.Pieces.Count != after.Pieces.Count && !changes.HasFlag(Parts.Pieces)) return "the number of pieces was changed without saying so";
        if (after.Pieces.Count > 0 && after.Placement is null) return "there are pieces but no placement";
        var letters = new HashSet<string>(StringComparer.Ordinal);
        for (var i = 0; i < after.Pieces.Count; i++)
        {
            var p = after.Pieces[i];
            if (!letters.Add(p.Letter)) return $"two pieces have the letter \"{p.Letter}\"";
            var old = before.Pieces.Count == after.Pieces.Count && !changes.HasFlag(Parts.Pieces) ? before.Pieces[i] : null;
            if (old is not null)
            {
                if (!changes.HasFlag(Parts.Figure) && (!ReferenceEquals(old.Figure, p.Figure) || !ReferenceEquals(old.Outer, p.Outer))) return "the figure was changed without saying so";
                if (!changes.HasFlag(Parts.Struts) && !ReferenceEquals(old.Struts, p.Struts)) return "struts were changed without saying so";
                if (!changes.HasFlag(Parts.Raft) && !ReferenceEquals(old.Raft, p.Raft)) return "the raft was changed without saying so";
            }
            var name = p.Letter.Length == 0 ? "the figure" : $"piece {p.Letter}";
            if (MeshFault(p.Outer, $"{name}'s outer surface", after, sound) is { } a) return a;
            if (MeshFault(p.Figure, name, after, sound) is { } b) return b;
            if (MeshFault(p.Raft, $"the raft of {name}", after, sound) is { } c) return c;
            foreach (var shell in p.Struts.Shells)
                if (MeshFault(shell.Shape, $"a strut of {name}", after, sound) is { } d) return d;
            foreach (var cavity in p.Cavities)
                if (MeshFault(cavity.Surface, $"a cavity of {name}", after, sound) is { } e) return e;
        }
        return null;
    }

    private static string? MeshFault(Mesh mesh, string name, Workpiece w, ISet<Mesh> sound)
    {
        if (sound.Contains(mesh)) return null;
        if (mesh.Lattice != w.Placement!.Lattice) return $"{name} lies on another lattice than the set";
        if (mesh.TriangleCount > 0 && mesh.Bounds.Min.Z < -2 * mesh.Lattice.UnitMm) return $"{name} reaches {-mesh.Bounds.Min.Z:0.###} mm below the platform";
        if (Closedness.FirstUnpairedEdge(mesh) is { } at) return $"{name} is open at {at} mm";
        sound.Add(mesh);
        return null;
    }
}
