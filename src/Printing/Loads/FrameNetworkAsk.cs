using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <content>The way back: which contact forces an inner force depends on, and how strongly.</content>
internal sealed partial class FrameNetwork
{
    /// <summary>
    /// Transpose of <see cref="Inner"/>: coefficients of every contact force (three a contact, for the first
    /// <paramref name="count"/> contacts given) in a weighted sum of the inner forces of one element (normal force, two
    /// moments at either end) or in the force of one bar.
    /// </summary>
    /// <param name="contacts">Contacts in the order wanted.</param>
    /// <param name="count">How many of them.</param>
    /// <param name="element">Element of the frame; -1 for a bar.</param>
    /// <param name="bar">Bar of the frame; -1 for an element.</param>
    /// <param name="five">Weights of the element's five values, or the bar's one.</param>
    /// <param name="onContacts">Answer.</param>
    /// <param name="ownBars">Forces of the bars when the weighted force acts as a gap and the contacts bear nothing.</param>
    public void Ask(List<ContactState> contacts, int count, int element, int bar, ReadOnlySpan<double> five, Span<double> onContacts, Span<double> ownBars)
    {
        onContacts.Clear();
        var nb = Bars.Length;
        var onBars = ownBars;
        onBars.Clear();
        if (bar >= 0) onBars[_placeOfBar[bar]] = five[0];
        else
        {
            var el = _frame.Elements[element];
            Vec3 a = Arm(el.Lower), b = Arm(el.Upper);
            var t = (b - a).Unit();
            var e1 = t.AnyPerpendicular();
            var e2 = t.Cross(e1);
            Vec3 low = e1 * five[1] + e2 * five[2], up = e1 * five[3] + e2 * five[4], along = t * five[0];
            // A force at p above the element adds F.t to the normal force and ((p - a) x F).e to a moment at a.
            Vec3 At(Vec3 p) => along + low.Cross(p - a) + up.Cross(p - b);
            var above = System.Buffers.ArrayPool<bool>.Shared.Rent(Slots); // nodes that the element carries; lower elements come first
            above.AsSpan(0, Slots).Clear();
            above[_slotOfNode[el.Upper]] = true;
            foreach (var (lower, upper) in _slots)
                if (above[lower]) above[upper] = true;
            for (var i = 0; i < nb; i++)
            {
                ref readonly var ends = ref _barEnds[i];
                if (ends.SlotA >= 0 && above[ends.SlotA]) onBars[i] += ends.Along.Dot(At(ends.ArmA));
                if (ends.SlotB >= 0 && above[ends.SlotB]) onBars[i] -= ends.Along.Dot(At(ends.ArmB));
            }
            for (var c = 0; c < count; c++)
            {
                var node = contacts[c].Contact.Node;
                if (_slotOfNode[node] is not (>= 0 and var slot) || !above[slot]) continue;
                var g = At(Arm(node));
                (onContacts[3 * c], onContacts[3 * c + 1], onContacts[3 * c + 2]) = (g.X, g.Y, g.Z);
            }
            System.Buffers.ArrayPool<bool>.Shared.Return(above);
        }
        for (var c = 0; c < count && nb > 0; c++)
            for (var k = 0; k < 3; k++)
                onContacts[3 * c + k] -= DenseKernels.Dot(_barPerContact.AsSpan((contacts[c].Row + k) * nb, nb), onBars, nb);
        if (nb == 0) return;
        DenseKernels.Forward(_barFactor, nb, nb, ownBars);
        DenseKernels.Backward(_barFactor, nb, nb, ownBars);
    }
}
