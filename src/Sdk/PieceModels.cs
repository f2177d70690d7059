using System.Runtime.CompilerServices;
using Stiltwright.Geometry;
using Stiltwright.Geometry.Layers;
using Stiltwright.Printing.Struts;

namespace Stiltwright.Sdk;

/// <summary>
/// The columns and layers of what will be printed, built once and kept for as long as the meshes live: stages and the final
/// audit that ask for the same thing get the same model. Lengths mm.
/// </summary>
public static class PieceModels
{
    /// <summary>Group number of figure shells in the columns.</summary>
    public const byte FigureGroup = 0;

    /// <summary>Group number of open or unsure shells.</summary>
    public const byte UntouchedGroup = 1;

    /// <summary>Group number of struts.</summary>
    public const byte StrutGroup = 2;

    /// <summary>Group number of the raft.</summary>
    public const byte RaftGroup = 3;

    /// <summary>Columns in a model: enough for walls and holes, few enough for two cores.</summary>
    private const int MostColumns = 1_500_000;

    private sealed record Held(Mesh Raft, Columns Columns)
    {
        public Dictionary<double, LayerStack> Layers { get; } = [];
    }

    private static readonly ConditionalWeakTable<Mesh, Held> Figures = [];
    private static readonly ConditionalWeakTable<StrutGraph, Tuple<Mesh, Held>> Prints = [];

    /// <summary>Columns of the figure (with cavities and holes) and of open or unsure shells, on a grid that covers the whole piece.</summary>
    public static Columns FigureColumns(Piece piece, CancellationToken cancel) => FigureHeld(piece, cancel).Columns;

    /// <summary>Layers of the figure alone, as the load solver wants them.</summary>
    public static LayerStack FigureLayers(Piece piece, double layerMm, CancellationToken cancel) => Layers(FigureHeld(piece, cancel), layerMm, cancel);

    /// <summary>Columns of all that prints: figure, struts and raft.</summary>
    public static Columns PrintColumns(Piece piece, CancellationToken cancel) => PrintHeld(piece, cancel).Columns;

    /// <summary>Layers of all that prints.</summary>
    public static LayerStack PrintLayers(Piece piece, double layerMm, CancellationToken cancel) => Layers(PrintHeld(piece, cancel), layerMm, cancel);

    /// <summary>The grid of a piece's models.</summary>
    public static ColumnGrid GridOf(Piece piece)
    {
        var box = Box3.Empty;
        foreach (var mesh in (Mesh[])[piece.Outer, piece.Untouched, piece.Raft, .. piece.StrutsAsEnlarged.Shells.Select(s => s.Shape), .. piece.Struts.Shells.Select(s => s.Shape)])
            if (mesh.TriangleCount > 0) box = box.With(mesh.Bounds);
        return ColumnGrid.Covering(box, ColumnGrid.PitchFor(box, MostColumns));
    }

    private static Held FigureHeld(Piece piece, CancellationToken cancel)
    {
        if (Figures.TryGetValue(piece.Figure, out var held) && held.Columns.Grid == GridOf(piece)) return held;
        held = new Held(piece.Raft, Columns.Build([new ColumnPart(piece.Figure, FigureGroup), new ColumnPart(piece.Untouched, UntouchedGroup)], GridOf(piece), cancel));
        Figures.AddOrUpdate(piece.Figure, held);
        return held;
    }

    private static Held PrintHeld(Piece piece, CancellationToken cancel)
    {
        if (Prints.TryGetValue(piece.Struts, out var known) && ReferenceEquals(known.Item1, piece.Figure) && ReferenceEquals(known.Item2.Raft, piece.Raft)) return known.Item2;
        var struts = piece.Struts.ToMesh(piece.Figure.Lattice);
        var held = new Held(piece.Raft, FigureColumns(piece, cancel).With([new ColumnPart(struts, StrutGroup), new ColumnPart(piece.Raft, RaftGroup)], cancel));
        Prints.AddOrUpdate(piece.Struts, Tuple.Create(piece.Figure, held));
        return held;
    }

    private static LayerStack Layers(Held held, double layerMm, CancellationToken cancel)
    {
        if (!held.Layers.TryGetValue(layerMm, out var layers))
            held.Layers[layerMm] = layers = LayerStack.Build(held.Columns, layerMm, cancel);
        return layers;
    }
}
