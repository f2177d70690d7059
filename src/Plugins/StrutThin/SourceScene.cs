using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.StrutThin;

/// <summary>The source at its own scale with its own struts: the evidence of the relative rule.</summary>
internal static class SourceScene
{
    private const int MostColumns = 1_000_000;

    /// <summary>The scene, or null where no figure was recognised. The source stands on z = 0 in it.</summary>
    public static LoadScene? Of(Workpiece w, IStageContext context, CancellationToken cancel)
    {
        var source = w.Drawn;
        var inspection = w.Inspection!;
        var down = Affine.Translation(new Vec3(0, 0, -source.Mesh.Bounds.Min.Z));
        var lattice = source.Mesh.Lattice;
        Mesh Of(Func<Role, bool> which) => Mesh.Concat(lattice, Enumerable.Range(0, inspection.RoleOfShell.Count).Where(i => which(inspection.RoleOfShell[i])).Select(source.Shells.MeshOf));
        var figure = Of(r => r is Role.Figure or Role.InnerShell or Role.Unsure);
        if (figure.TriangleCount == 0) return null;
        figure = figure.Placed(down, lattice);
        var raft = Of(r => r == Role.Raft);
        var grid = ColumnGrid.Covering(figure.Bounds, ColumnGrid.PitchFor(figure.Bounds, MostColumns));
        var layers = LayerStack.Build(Columns.Build([new ColumnPart(figure, 0)], grid, cancel), context.Resin.LayerMm, cancel);
        return new LoadScene
        {
            Figure = layers.ForLoads(),
            Struts = inspection.Struts.Placed(down, lattice),
            Resin = context.Resin,
            Printer = context.Printers[0],
            RaftTopMm = raft.TriangleCount == 0 ? 0 : raft.Bounds.Max.Z - source.Mesh.Bounds.Min.Z,
        };
    }
}
