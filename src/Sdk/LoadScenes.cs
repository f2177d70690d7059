using System.Runtime.CompilerServices;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Loads;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Sdk;

/// <summary>What the load solver looks at: a piece as it will print, and the source at its own scale as evidence.</summary>
public static class LoadScenes
{
    private const int MostColumns = 1_000_000;

    private static readonly ConditionalWeakTable<object, LoadScene> Sources = [];

    /// <summary>A piece as it will print, with the struts given.</summary>
    public static LoadScene Of(Piece piece, StrutGraph struts, IStageContext context, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(piece);
        ArgumentNullException.ThrowIfNull(context);
        return new LoadScene
        {
            Figure = PieceModels.FigureLayers(piece, context.Resin.LayerMm, cancel).ForLoads(),
            Struts = struts,
            Resin = context.Resin,
            Printer = context.Printers.FirstOrDefault(p => p.Name == piece.Printer) ?? context.Printers[0],
            RaftTopMm = piece.Raft.TriangleCount == 0 ? 0 : piece.Raft.Bounds.Max.Z,
            Vents = [.. piece.Cavities.SelectMany(c => c.Holes.Select(h => new CupVent(c.Surface.Bounds, h.CentreMm, h.DiameterMm, c.WallAskedMm)))],
            WallMm = piece.Cavities.Count == 0 ? null : piece.Cavities.Min(c => c.WallAskedMm),
        };
    }

    /// <summary>The source at its own scale with its own struts, standing on z = 0; null where no figure was recognised. Built once.</summary>
    public static LoadScene? OfSource(Workpiece workpiece, IStageContext context, CancellationToken cancel)
    {
        ArgumentNullException.ThrowIfNull(workpiece);
        ArgumentNullException.ThrowIfNull(context);
        var inspection = workpiece.Inspection!;
        if (Sources.TryGetValue(inspection, out var known) && ReferenceEquals(known.Resin, context.Resin)) return known;
        var source = workpiece.Drawn;
        var down = Affine.Translation(new Vec3(0, 0, -source.Mesh.Bounds.Min.Z));
        var lattice = source.Mesh.Lattice;
        Mesh Of(Func<Role, bool> which) => Mesh.Concat(lattice, Enumerable.Range(0, inspection.RoleOfShell.Count).Where(i => which(inspection.RoleOfShell[i])).Select(source.Shells.MeshOf));
        var figure = Of(r => r is Role.Figure or Role.InnerShell or Role.Unsure);
        if (figure.TriangleCount == 0) return null;
        figure = figure.Placed(down, lattice);
        var raft = Of(r => r == Role.Raft);
        var grid = ColumnGrid.Covering(figure.Bounds, ColumnGrid.PitchFor(figure.Bounds, MostColumns));
        var layers = LayerStack.Build(Columns.Build([new ColumnPart(figure, 0)], grid, cancel), context.Resin.LayerMm, cancel);
        var scene = new LoadScene
        {
            Figure = layers.ForLoads(),
            Struts = inspection.Struts.Placed(down, lattice),
            Resin = context.Resin,
            Printer = context.Printers[0],
            RaftTopMm = raft.TriangleCount == 0 ? 0 : raft.Bounds.Max.Z - source.Mesh.Bounds.Min.Z,
        };
        Sources.AddOrUpdate(inspection, scene);
        return scene;
    }
}
