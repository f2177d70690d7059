using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <summary>What a strut is checked for.</summary>
public enum LoadCheck
{
    /// <summary>Nothing loads it.</summary>
    None,

    /// <summary>The tip tears off at the contact.</summary>
    TipPull,

    /// <summary>Pull and bending in the shaft.</summary>
    ShaftPull,

    /// <summary>Push and bending in the shaft.</summary>
    ShaftPush,

    /// <summary>It buckles between the places that hold it.</summary>
    Buckling,

    /// <summary>It stands free, not yet joined to the figure, under the load of its own layer.</summary>
    StandingFree,

    /// <summary>The tip tears out of a thin wall.</summary>
    WallPullOut,
}

/// <summary>What one segment bears at worst over all layers. Uses are load over capacity with no safety factor.</summary>
/// <param name="Segment">Its id.</param>
/// <param name="PullN">Largest pull, N.</param>
/// <param name="PushN">Largest push, N.</param>
/// <param name="BendingNmm">Largest bending moment, N mm.</param>
/// <param name="Slenderness">Slenderness of the hardest column it is part of, as it stands joined.</param>
/// <param name="UseOf">Use by check; the index is <see cref="LoadCheck"/>.</param>
/// <param name="LayerOf">Layer of each of those uses, from 1; 0 where none.</param>
public sealed record SegmentLoad(int Segment, double PullN, double PushN, double BendingNmm, double Slenderness, double[] UseOf, int[] LayerOf)
{
    /// <summary>The check with the highest use.</summary>
    public LoadCheck Hardest
    {
        get
        {
            var best = 0;
            for (var c = 1; c < UseOf.Length; c++) if (UseOf[c] > UseOf[best]) best = c;
            return (LoadCheck)best;
        }
    }

    /// <summary>Load over capacity of the hardest check.</summary>
    public double Use => UseOf[(int)Hardest];

    /// <summary>Layer at which it is used hardest, from 1; 0 where nothing loads it.</summary>
    public int AtLayer => LayerOf[(int)Hardest];
}

/// <summary>Why the solver could not treat a place as it would like to.</summary>
public enum LoadRemarkKind
{
    /// <summary>A strut end that should touch the figure does not.</summary>
    ContactMissesFigure,

    /// <summary>A strut that stands on nothing, so it bears nothing.</summary>
    StrutStandsOnNothing,

    /// <summary>A brace that joins no two struts, so it braces nothing.</summary>
    BraceLoose,

    /// <summary>A body of the figure that no strut, raft or platform holds at a layer where it is pulled.</summary>
    BodyNotHeld,

    /// <summary>A body with too few contacts to be held against turning; the part of the load that turns it is left out.</summary>
    BodyCanTurn,
}

/// <summary>Something the solver could not treat as usual.</summary>
/// <param name="Kind">What.</param>
/// <param name="Segment">Segment concerned, -1 if none.</param>
/// <param name="Body">Body concerned, -1 if none.</param>
/// <param name="FirstLayer">First layer where it matters, from 1; 0 if not tied to a layer.</param>
/// <param name="LastLayer">Last such layer, from 1.</param>
/// <param name="At">Where, mm.</param>
/// <param name="Amount">N for a body that is not held, N mm of unheld moment for one that can turn.</param>
public sealed record LoadRemark(LoadRemarkKind Kind, int Segment, int Body, int FirstLayer, int LastLayer, Vec3 At, double Amount);

/// <summary>Loads of one layer on everything that struts hold, N.</summary>
/// <param name="Separation">Pull of the film on the figure's regions.</param>
/// <param name="Cups">Suction of cups.</param>
/// <param name="Weight">Weight hanging, resin in unvented cups included.</param>
/// <param name="Reaction">Vertical sum of what the struts carry of it (lift case, without off-centre part).</param>
public readonly record struct LayerLoad(double Separation, double Cups, double Weight, double Reaction);

/// <summary>A contact between strut and figure, as the solver saw it.</summary>
/// <param name="Segment">Segment that ends there.</param>
/// <param name="At">Where, mm.</param>
/// <param name="Body">Body it holds, numbered as at its beginning; -1 if it misses the figure.</param>
/// <param name="FromLayer">First layer in which it carries, from 1.</param>
/// <param name="PullN">Largest pull along z, N.</param>
/// <param name="SideShiftMm">Largest sideways elastic shift, mm.</param>
/// <param name="CarriesIsland">True if its body began there: the first layers hang on this contact.</param>
/// <param name="UnventedCup">True if an unvented cup pulled on its body.</param>
public sealed record ContactLoad(int Segment, Vec3 At, int Body, int FromLayer, double PullN, double SideShiftMm, bool CarriesIsland, bool UnventedCup);

/// <summary>What the solver found.</summary>
/// <param name="Segments">One entry a segment, by id.</param>
/// <param name="Contacts">All contacts.</param>
/// <param name="Layers">Loads of each layer, from the lowest.</param>
/// <param name="Remarks">What could not be treated as usual.</param>
public sealed record LoadResult(IReadOnlyList<SegmentLoad> Segments, IReadOnlyList<ContactLoad> Contacts, IReadOnlyList<LayerLoad> Layers, IReadOnlyList<LoadRemark> Remarks)
{
    /// <summary>Use of the hardest used segment.</summary>
    public double WorstUse => Segments.Count == 0 ? 0 : Segments.Max(s => s.Use);
}

/// <summary>A segment that is over a rule of safety.</summary>
/// <param name="Segment">Its id.</param>
/// <param name="Check">The check in which it is farthest over.</param>
/// <param name="Use">Load over capacity there, no factor in it.</param>
/// <param name="Over">Use over its limit.</param>
/// <param name="AtLayer">Layer, from 1.</param>
public sealed record OverloadedStrut(int Segment, LoadCheck Check, double Use, double Over, int AtLayer);
