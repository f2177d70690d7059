using Stiltwright.Geometry;
using Stiltwright.Printing.Struts;
using Stiltwright.Sdk;

namespace Stiltwright.Plugins.Rescale;

/// <summary>The source's shells by what becomes of them.</summary>
/// <param name="Figure">Closed outer shells of the figure.</param>
/// <param name="Hollows">Closed hollows inside it.</param>
/// <param name="Raft">The raft.</param>
/// <param name="Untouched">Open or unsure shells.</param>
/// <param name="All">Box of everything, source mm.</param>
internal sealed record SourceParts(IReadOnlyList<int> Figure, IReadOnlyList<int> Hollows, IReadOnlyList<int> Raft, IReadOnlyList<int> Untouched, Box3 All, SourceFigure Source)
{
    public static SourceParts Sort(SourceFigure source, Inspection inspection)
    {
        List<int> figure = [], hollows = [], raft = [], untouched = [];
        for (var i = 0; i < source.Shells.Shells.Count; i++)
        {
            var closed = source.Shells.Shells[i].Closed;
            switch (inspection.RoleOfShell[i])
            {
                case Role.Figure when closed: figure.Add(i); break;
                case Role.InnerShell when closed: hollows.Add(i); break;
                case Role.Raft when closed: raft.Add(i); break;
                case Role.Foot or Role.Pillar or Role.Brace or Role.Tip when closed: break; // they are in the strut graph
                default: untouched.Add(i); break;
            }
        }
        return new SourceParts(figure, hollows, raft, untouched, source.Mesh.Bounds, source);
    }

    public Box3 BoxOf(IEnumerable<int> shells) => shells.Aggregate(Box3.Empty, (b, i) => b.With(Source.Shells.Shells[i].Bounds));
}
