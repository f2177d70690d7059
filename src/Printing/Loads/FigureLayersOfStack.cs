using System.Runtime.CompilerServices;
using Stiltwright.Geometry.Layers;

namespace Stiltwright.Printing.Loads;

/// <summary>Takes the load solver's view of the figure from the layer model.</summary>
public static class FigureLayersOfStack
{
    private static readonly ConditionalWeakTable<LayerStack, FigureLayers> Known = [];

    /// <summary>Regions, bodies and cups of a layer model that was built of the figure alone (no struts, no raft). The same model gives the same object.</summary>
    public static FigureLayers ForLoads(this LayerStack stack)
    {
        ArgumentNullException.ThrowIfNull(stack);
        return Known.GetValue(stack, Read);
    }

    private static FigureLayers Read(LayerStack stack)
    {
        var regions = new IReadOnlyList<FigureRegion>[stack.Count];
        var cups = new IReadOnlyList<FigureCup>[stack.Count];
        for (var k = 0; k < stack.Count; k++)
        {
            var from = stack.RegionsOf(k);
            var list = new FigureRegion[from.Length];
            for (var i = 0; i < list.Length; i++)
            {
                var r = from[i];
                list[i] = new FigureRegion(r.Body, r.AreaMm2, r.PerimeterMm, r.X, r.Y, r.MinX, r.MaxX, r.MinY, r.MaxY);
            }
            regions[k] = list;
            var hollow = stack.CupsOf(k);
            var own = new FigureCup[hollow.Length];
            for (var i = 0; i < own.Length; i++)
            {
                var c = hollow[i];
                own[i] = new FigureCup(c.Void, c.AreaMm2, c.X, c.Y, c.Vented, c.VolumeMm3);
            }
            cups[k] = own;
        }
        FigureBody[] bodies = [.. stack.Bodies.Select(b => new FigureBody(b.FirstLayer, b.MergeLayer, b.MergesInto))];
        return new FigureLayers(stack.LayerMm, regions, bodies, cups, stack.BodyAt);
    }
}
