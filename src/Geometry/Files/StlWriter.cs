using System.Buffers.Binary;

namespace Stiltwright.Geometry.Files;

/// <summary>Writes binary STL. Lattice coordinates are exact 32-bit floats, so the file is the mesh bit for bit.</summary>
public static class StlWriter
{
    private const int TrianglesAtOnce = 1 << 15;

    /// <summary>
    /// Writes a mesh in mm. The header (80 bytes, plain ASCII) names the content; it never begins with "solid", which
    /// would make some readers take the file for text. Attribute bytes are zero. The same mesh gives the same bytes.
    /// </summary>
    /// <exception cref="ArgumentException">A coordinate lies beyond 2^24 units, where a float is no longer exact.</exception>
    public static void Write(Stream stream, Mesh mesh, string header)
    {
        ArgumentNullException.ThrowIfNull(stream);
        ArgumentNullException.ThrowIfNull(mesh);
        foreach (var c in mesh.XyzArray)
            if (Math.Abs((long)c) > Lattice.MaxUnits)
                throw new ArgumentException($"A coordinate of {mesh.Lattice.ToMm(c)} mm lies beyond what a 32-bit float holds exactly on this lattice.", nameof(mesh));
        var head = new byte[84];
        head.AsSpan(0, 80).Fill((byte)' ');
        var text = HeaderText(header);
        for (var i = 0; i < text.Length; i++) head[i] = (byte)text[i];
        var n = mesh.TriangleCount;
        BinaryPrimitives.WriteUInt32LittleEndian(head.AsSpan(80), (uint)n);
        stream.Write(head);

        // Two blocks are filled at once, then written in order.
        const int workers = 2;
        var blocks = new byte[workers][];
        for (var w = 0; w < workers; w++) blocks[w] = new byte[50 * Math.Min(TrianglesAtOnce, Math.Max(1, n))];
        for (var first = 0; first < n; first += workers * TrianglesAtOnce)
        {
            var from = first;
            Parallel.For(0, workers, w => Fill(mesh, blocks[w], from + w * TrianglesAtOnce, Math.Min(n, from + (w + 1) * TrianglesAtOnce)));
            for (var w = 0; w < workers; w++)
                stream.Write(blocks[w], 0, 50 * Math.Clamp(n - first - w * TrianglesAtOnce, 0, TrianglesAtOnce));
        }
    }

    private static string HeaderText(string header)
    {
        var text = string.Concat((header ?? "").Select(c => c is >= ' ' and < (char)127 ? c : '?')).Trim();
        if (text.StartsWith("solid", StringComparison.OrdinalIgnoreCase)) text = "mm, " + text;
        if (text.Length == 0) text = "mm";
        return text.Length > 80 ? text[..80] : text;
    }

    private static void Fill(Mesh mesh, byte[] block, int from, int to)
    {
        int[] xyz = mesh.XyzArray, corners = mesh.CornersArray;
        var unit = (float)mesh.Lattice.UnitMm; // a power of two: products with it are exact
        for (var t = from; t < to; t++)
        {
            var s = block.AsSpan(50 * (t - from), 50);
            int a = 3 * corners[3 * t], b = 3 * corners[3 * t + 1], c = 3 * corners[3 * t + 2];
            long ux = (long)xyz[b] - xyz[a], uy = (long)xyz[b + 1] - xyz[a + 1], uz = (long)xyz[b + 2] - xyz[a + 2];
            long vx = (long)xyz[c] - xyz[a], vy = (long)xyz[c + 1] - xyz[a + 1], vz = (long)xyz[c + 2] - xyz[a + 2];
            double nx = uy * vz - uz * vy, ny = uz * vx - ux * vz, nz = ux * vy - uy * vx;
            var length = Math.Sqrt(nx * nx + ny * ny + nz * nz);
            if (length > 0) { nx /= length; ny /= length; nz /= length; }
            BinaryPrimitives.WriteSingleLittleEndian(s, (float)nx);
            BinaryPrimitives.WriteSingleLittleEndian(s[4..], (float)ny);
            BinaryPrimitives.WriteSingleLittleEndian(s[8..], (float)nz);
            for (var k = 0; k < 3; k++)
            {
                var v = k == 0 ? a : k == 1 ? b : c;
                BinaryPrimitives.WriteSingleLittleEndian(s[(12 + 12 * k)..], xyz[v] * unit);
                BinaryPrimitives.WriteSingleLittleEndian(s[(16 + 12 * k)..], xyz[v + 1] * unit);
                BinaryPrimitives.WriteSingleLittleEndian(s[(20 + 12 * k)..], xyz[v + 2] * unit);
            }
            s[48] = 0;
            s[49] = 0;
        }
    }
}
