using System.Runtime.InteropServices;
using Stiltwright.Geometry.Spatial;

namespace Stiltwright.Geometry.Fields;

/// <summary>The surfaces that border one hollow: an outer one and those of solid lumps that hang free inside it.</summary>
internal sealed class Hollow
{
    internal required int[] Corners;
    internal required int[] Xyz;
    internal required double UnitMm;
    internal required double VolumeMm3;

    internal int VertexCount => Corners.Length;
    internal Vec3 At(int corner) => new(Xyz[3 * Corners[corner]] * UnitMm, Xyz[3 * Corners[corner] + 1] * UnitMm, Xyz[3 * Corners[corner] + 2] * UnitMm);

    internal Mesh ToMesh(Lattice lattice, int[] xyz)
    {
        // Vertices in the order of their first use; a table of all where the hollow uses many of them, else a dictionary.
        var table = Corners.Length > xyz.Length / 12 ? new int[xyz.Length / 3] : null;
        var number = table is null ? new Dictionary<int, int>(Corners.Length / 5) : [];
        var points = new List<int>(Corners.Length / 2 + 12);
        var corners = new int[Corners.Length];
        for (var i = 0; i < Corners.Length; i++)
        {
            // One more than the number, so that zero means unknown.
            ref var n = ref table is not null ? ref table[Corners[i]] : ref CollectionsMarshal.GetValueRefOrAddDefault(number, Corners[i], out _);
            if (n == 0)
            {
                points.AddRange(xyz.AsSpan(3 * Corners[i], 3));
                n = points.Count / 3;
            }
            corners[i] = n - 1;
        }
        return new Mesh(lattice, points.ToArray(), corners);
    }
}

/// <summary>Parts the triangles of a closed surface into hollows.</summary>
internal static class Hollows
{
    internal static List<Hollow> Find(Lattice lattice, int[] xyz, int[] corners)
    {
        var parent = new int[xyz.Length / 3];
        for (var v = 0; v < parent.Length; v++) parent[v] = v;
        for (var t = 0; t < corners.Length; t += 3)
        {
            Unite(corners[t], corners[t + 1]);
            Unite(corners[t], corners[t + 2]);
        }
        var numberOf = new int[parent.Length];
        numberOf.AsSpan().Fill(-1);
        var counts = new List<int>();
        for (var t = 0; t < corners.Length; t += 3)
        {
            var root = parent[corners[t]] = Root(corners[t]);
            if (numberOf[root] < 0)
            {
                numberOf[root] = counts.Count;
                counts.Add(0);
            }
            counts[numberOf[root]] += 3;
        }
        var lists = counts.Count == 1 ? [corners] : counts.ConvertAll(n => new int[n]);
        if (lists.Count > 1)
        {
            var at = new int[lists.Count];
            for (var t = 0; t < corners.Length; t += 3)
            {
                var n = numberOf[parent[corners[t]]];
                corners.AsSpan(t, 3).CopyTo(lists[n].AsSpan(at[n]));
                at[n] += 3;
            }
        }
        var outer = new List<Hollow>();
        var lumps = new List<Hollow>();
        foreach (var array in lists)
        {
            var h = new Hollow { Corners = array, Xyz = xyz, UnitMm = lattice.UnitMm, VolumeMm3 = Volume(lattice, xyz, array) };
            (h.VolumeMm3 > 0 ? outer : lumps).Add(h);
        }
        if (lumps.Count > 0) Hang(lattice, xyz, outer, lumps);
        return outer;

        int Root(int v)
        {
            while (parent[v] != v) v = parent[v] = parent[parent[v]];
            return v;
        }

        void Unite(int a, int b)
        {
            a = Root(a);
            b = Root(b);
            if (a != b) parent[Math.Max(a, b)] = Math.Min(a, b);
        }
    }

    /// <summary>The triangles of several hollows as one list.</summary>
    internal static int[] Join(List<Hollow> hollows)
    {
        if (hollows.Count == 1) return hollows[0].Corners;
        var all = new int[hollows.Sum(h => h.Corners.Length)];
        var at = 0;
        foreach (var h in hollows)
        {
            h.Corners.CopyTo(all, at);
            at += h.Corners.Length;
        }
        return all;
    }

    // Each free lump belongs to the smallest hollow around it.
    private static void Hang(Lattice lattice, int[] xyz, List<Hollow> outer, List<Hollow> lumps)
    {
        var trees = outer.ConvertAll(h => TriangleTree.Build(h.ToMesh(lattice, xyz)));
        foreach (var lump in lumps)
        {
            var p = lump.At(0);
            var owner = -1;
            for (var i = 0; i < outer.Count; i++)
                if (trees[i].Winding(p) > 0 && (owner < 0 || outer[i].VolumeMm3 < outer[owner].VolumeMm3)) owner = i;
            if (owner < 0) throw new InvalidOperationException("A lump of the cavity's surface lies in no hollow.");
            outer[owner] = new Hollow
            {
                Corners = [.. outer[owner].Corners, .. lump.Corners],
                Xyz = xyz,
                UnitMm = lattice.UnitMm,
                VolumeMm3 = outer[owner].VolumeMm3 + lump.VolumeMm3,
            };
        }
    }

    private static double Volume(Lattice lattice, int[] xyz, int[] corners)
    {
        Int128 six = 0;
        for (var i = 0; i < corners.Length; i += 3)
        {
            int a = 3 * corners[i], b = 3 * corners[i + 1], c = 3 * corners[i + 2];
            long ax = xyz[a], ay = xyz[a + 1], az = xyz[a + 2], bx = xyz[b], by = xyz[b + 1], bz = xyz[b + 2], cx = xyz[c], cy = xyz[c + 1], cz = xyz[c + 2];
            six += (Int128)ax * (by * cz - bz * cy) + (Int128)ay * (bz * cx - bx * cz) + (Int128)az * (bx * cy - by * cx);
        }
        return (double)six / 6 * lattice.UnitMm * lattice.UnitMm * lattice.UnitMm;
    }
}
