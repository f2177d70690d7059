using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>
/// Places that must stay solid, as further terms of the field: each term is the distance to a convex set plus a constant, chosen
/// so that the level never comes nearer to the axis than the radius asked.
/// </summary>
internal sealed class KeptSolid
{
    private const int FewCapsules = 8;
    private readonly (Capsule Capsule, double Plus)[] _capsules;
    private readonly (HalfSpace Space, double Plus)[] _spaces;
    private readonly KeptTree? _tree;

    private KeptSolid((Capsule, double)[] capsules, (HalfSpace, double)[] spaces, bool many = false)
    {
        _capsules = capsules;
        _spaces = spaces;
        if (many && capsules.Length > FewCapsules) _tree = new KeptTree(capsules);
    }

    internal bool IsEmpty => _capsules.Length == 0 && _spaces.Length == 0;

    /// <param name="request">Names the capsules and half-spaces.</param>
    /// <param name="wall">The wall asked, mm.</param>
    /// <param name="level">The level at which the field guarantees that wall, mm.</param>
    /// <param name="ball2">Squared radius of the smallest ball around a tetrahedron of the field, mm2.</param>
    internal static KeptSolid Of(CavityRequest request, double wall, double level, double ball2)
    {
        // On a linear piece level <= g + ball2 / (2 g) + plus for the distance g to the axis, so g >= radius.
        var capsules = request.KeepSolid.Select(c => (c, c.RadiusMm >= wall ? wall - c.RadiusMm : level - c.RadiusMm - ball2 / (2 * c.RadiusMm))).ToArray();
        // Linear functions are met exactly.
        var spaces = (request.KeepSolidBeyond ?? []).Select(s => (s, level)).ToArray();
        return new KeptSolid(capsules, spaces, true);
    }

    /// <summary>The least term at a point, mm; where none lies below <paramref name="within"/>, that.</summary>
    internal double At(Vec3 p, double within = double.PositiveInfinity)
    {
        var least = within;
        if (_tree is not null) least = _tree.Least(p, within);
        else
            foreach (var (c, plus) in _capsules)
                least = Math.Min(least, TriangleDistance.ClosestOnSegment(p, c.From, c.To).DistanceTo(p) + plus);
        foreach (var (s, plus) in _spaces)
            least = Math.Min(least, s.OffsetMm - s.Normal.Dot(p) + plus);
        return least;
    }

    /// <summary>
    /// Whether a corner of pieces that fit a ball lies far enough away for all corners alike to keep the places solid on the whole
    /// pieces: radius + ball^2 / (2 radius) from an axis, beyond a half-space's own border.
    /// </summary>
    internal bool Holds(Vec3 p, double ball2)
    {
        foreach (var (c, _) in _capsules)
            if (TriangleDistance.ClosestOnSegment(p, c.From, c.To).DistanceTo(p) < c.RadiusMm + ball2 / (2 * c.RadiusMm) + FieldBuilder.SlackMm) return false;
        foreach (var (s, _) in _spaces)
            if (s.OffsetMm < s.Normal.Dot(p)) return false;
        return true;
    }

    /// <summary>Those terms that can fall below <paramref name="reach"/> plus the way, for points that near to p: the others do not matter there.</summary>
    internal KeptSolid Near(Vec3 p, double reach)
    {
        if (_capsules.Length == 0) return this;
        if (_tree is not null) return new KeptSolid(_tree.Within(p, reach), _spaces);
        return new KeptSolid(
            Array.FindAll(_capsules, c => TriangleDistance.ClosestOnSegment(p, c.Capsule.From, c.Capsule.To).DistanceTo(p) + c.Plus <= reach), _spaces);
    }
}
