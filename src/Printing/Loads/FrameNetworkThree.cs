using System.Runtime.Intrinsics;
using Stiltwright.Geometry;

namespace Stiltwright.Printing.Loads;

/// <content>Inner forces of three load cases at once, one lane of a vector each.</content>
internal sealed partial class FrameNetwork
{
    /// <summary>
    /// As <see cref="Inner"/> for three columns of contact forces, one after the other in <paramref name="forces"/> (three numbers
    /// a contact in each, for all contacts given); what comes out lies in <paramref name="room"/> from column <paramref name="first"/> on.
    /// </summary>
    public void InnerOfThree(List<ContactState> contacts, ReadOnlySpan<double> forces, AnswerRoom room, int first)
    {
        var rows = forces.Length / 3;
        var nb = Bars.Length;
        var wrench = room.Wrench();
        Span<double> ba = room.Bars(first), bb = room.Bars(first + 1), bc = room.Bars(first + 2);
        ba.Clear();
        bb.Clear();
        bc.Clear();
        for (var c = 0; c < rows / 3; c++)
        {
            var node = contacts[c].Contact.Node;
            Vector256<double> Lanes(ReadOnlySpan<double> f, int axis) => Vector256.Create(f[3 * c + axis], f[rows + 3 * c + axis], f[2 * rows + 3 * c + axis], 0);
            Pull(wrench, _slotOfNode[node], _armOfNode[node], Lanes(forces, 0), Lanes(forces, 1), Lanes(forces, 2));
            for (var a = 0; a < 3 && nb > 0; a++)
            {
                var r = 3 * c + a;
                DenseKernels.AddScaled(-forces[r], -forces[rows + r], -forces[2 * rows + r], _barPerContact.AsSpan((contacts[c].Row + a) * nb, nb), ba, bb, bc, nb);
            }
        }
        for (var b = 0; b < nb; b++)
        {
            ref readonly var ends = ref _barEnds[b];
            var d = ends.Along;
            var f = Vector256.Create(ba[b], bb[b], bc[b], 0);
            Pull(wrench, ends.SlotA, ends.ArmA, f * d.X, f * d.Y, f * d.Z);
            Pull(wrench, ends.SlotB, ends.ArmB, f * -d.X, f * -d.Y, f * -d.Z);
        }
        var inner = room.Inner(first);
        var ne = Elements.Length;
        for (var i = ne - 1; i >= 0; i--)
        {
            var (lower, upper) = _slots[i];
            var w = wrench.Slice(6 * upper, 6);
            var below = wrench.Slice(6 * lower, 6);
            Vector256<double> fx = w[0], fy = w[1], fz = w[2];
            below[0] += fx;
            below[1] += fy;
            below[2] += fz;
            below[3] += w[3];
            below[4] += w[4];
            below[5] += w[5];
            ref readonly Vec3 a = ref _arm[2 * i], b = ref _arm[2 * i + 1], t = ref _axes[3 * i], e1 = ref _axes[3 * i + 1], e2 = ref _axes[3 * i + 2];
            inner[i] = fx * t.X + fy * t.Y + fz * t.Z;
            Vector256<double> mx = w[3] - (fz * a.Y - fy * a.Z), my = w[4] - (fx * a.Z - fz * a.X), mz = w[5] - (fy * a.X - fx * a.Y);
            inner[ne + i] = mx * e1.X + my * e1.Y + mz * e1.Z;
            inner[2 * ne + i] = mx * e2.X + my * e2.Y + mz * e2.Z;
            (mx, my, mz) = (w[3] - (fz * b.Y - fy * b.Z), w[4] - (fx * b.Z - fz * b.X), w[5] - (fy * b.X - fx * b.Y));
            inner[3 * ne + i] = mx * e1.X + my * e1.Y + mz * e1.Z;
            inner[4 * ne + i] = mx * e2.X + my * e2.Y + mz * e2.Z;
        }
    }

    // Adds three forces at a node, with their moments about its tree's root.
    private static void Pull(Span<Vector256<double>> wrench, int slot, in Vec3 p, Vector256<double> fx, Vector256<double> fy, Vector256<double> fz)
    {
        if (slot < 0) return; // a root: the ground takes it
        var w = wrench.Slice(6 * slot, 6);
        w[0] += fx;
        w[1] += fy;
        w[2] += fz;
        w[3] += fz * p.Y - fy * p.Z;
        w[4] += fx * p.Z - fz * p.X;
        w[5] += fy * p.X - fx * p.Y;
    }
}
