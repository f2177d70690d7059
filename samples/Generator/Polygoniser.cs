using Stiltwright.Geometry;

namespace Stiltwright.Samples;

/// <summary>Turns a distance function into a closed triangle mesh by marching over tetrahedra (six to a cell, no ambiguous case).</summary>
internal static class Polygoniser
{
    // The six tetrahedra of a cell share its diagonal 0-7 (Kuhn 1960); corners are numbered by bits x, y, z.
    private static readonly int[][] Tetrahedra = [[0, 1, 3, 7], [0, 3, 2, 7], [0, 2, 6, 7], [0, 6, 4, 7], [0, 4, 5, 7], [0, 5, 1, 7]];

    public static (List<Vec3> Points, List<int> Corners) Of(Func<Vec3, double> distance, Box3 box, double cell)
    {
        var size = box.Grown(1.5 * cell).Size;
        var origin = box.Grown(1.5 * cell).Min;
        int nx = (int)Math.Ceiling(size.X / cell) + 1, ny = (int)Math.Ceiling(size.Y / cell) + 1, nz = (int)Math.Ceiling(size.Z / cell) + 1;
        var value = new float[nx * ny * nz];
        Array.Fill(value, float.NaN);
        Vec3 At(int x, int y, int z) => origin + new Vec3(x, y, z) * cell;
        const int block = 8;
        Parallel.For(0, (nz + block - 1) / block, bz =>
        {
            for (var by = 0; by < ny; by += block)
                for (var bx = 0; bx < nx; bx += block)
                {
                    var middle = At(bx, by, bz * block) + new Vec3(block, block, block) * (cell / 2);
                    var d = distance(middle);
                    var far = Math.Abs(d) > 2.2 * block * cell; // the functions are a little steeper or flatter than true distances
                    for (var z = bz * block; z < Math.Min(nz, (bz + 1) * block); z++)
                        for (var y = by; y < Math.Min(ny, by + block); y++)
                            for (var x = bx; x < Math.Min(nx, bx + block); x++)
                            {
                                var border = x == 0 || y == 0 || z == 0 || x == nx - 1 || y == ny - 1 || z == nz - 1;
                                var v = border ? cell : far ? d : distance(At(x, y, z));
                                value[(z * ny + y) * nx + x] = (float)(Math.Abs(v) < 0.02 * cell ? 0.02 * cell : v);
                            }
                }
        });
        var ids = new Dictionary<long, int>();
        var points = new List<Vec3>();
        var corners = new List<int>();
        Span<int> node = stackalloc int[8];
        for (var z = 0; z + 1 < nz; z++)
            for (var y = 0; y + 1 < ny; y++)
                for (var x = 0; x + 1 < nx; x++)
                {
                    var inside = 0;
                    for (var k = 0; k < 8; k++)
                    {
                        node[k] = ((z + (k >> 2)) * ny + y + ((k >> 1) & 1)) * nx + x + (k & 1);
                        if (value[node[k]] < 0) inside |= 1 << k;
                    }
                    if (inside is 0 or 255) continue;
                    foreach (var t in Tetrahedra) Tetrahedron(node[t[0]], node[t[1]], node[t[2]], node[t[3]]);
                }
        return (points, corners);

        void Tetrahedron(int a, int b, int c, int d)
        {
            // Sort inside corners first, keeping the orientation by counting swaps.
            Span<int> n = [a, b, c, d];
            var odd = false;
            for (var i = 0; i < 3; i++)
                for (var j = 0; j < 3 - i; j++)
                    if (value[n[j]] >= 0 && value[n[j + 1]] < 0) { (n[j], n[j + 1]) = (n[j + 1], n[j]); odd = !odd; }
            var count = 0;
            foreach (var k in n) if (value[k] < 0) count++;
            switch (count)
            {
                case 1: Triangle(Edge(n[0], n[1]), Edge(n[0], n[2]), Edge(n[0], n[3]), odd); break;
                case 2:
                    int p = Edge(n[0], n[2]), q = Edge(n[0], n[3]), r = Edge(n[1], n[3]), s = Edge(n[1], n[2]);
                    Triangle(p, q, r, odd);
                    Triangle(p, r, s, odd);
                    break;
                case 3: Triangle(Edge(n[0], n[3]), Edge(n[1], n[3]), Edge(n[2], n[3]), odd); break;
            }
        }

        void Triangle(int a, int b, int c, bool odd)
        {
            corners.Add(a);
            corners.Add(odd ? c : b);
            corners.Add(odd ? b : c);
        }

        int Edge(int a, int b)
        {
            if (a > b) (a, b) = (b, a);
            var key = ((long)a << 32) | (uint)b;
            if (ids.TryGetValue(key, out var id)) return id;
            double va = value[a], vb = value[b];
            var t = va / (va - vb);
            Vec3 pa = At(a % nx, a / nx % ny, a / nx / ny), pb = At(b % nx, b / nx % ny, b / nx / ny);
            ids[key] = points.Count;
            points.Add(pa + (pb - pa) * t);
            return points.Count - 1;
        }
    }
}
