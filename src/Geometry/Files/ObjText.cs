using System.Globalization;

namespace Stiltwright.Geometry.Files;

/// <summary>OBJ: vertices, polygons (split from their first corner), objects and groups. Normals, texture and materials are not used.</summary>
internal static class ObjText
{
    internal static MeshFile Read(Stream file, string path, ReadLimits limits, CancellationToken cancel)
    {
        var sink = new TriangleSink(path, limits, (int)Math.Min(limits.MaxTriangles, file.Length / 60));
        var scan = new TextScanner(file, sink.Name);
        var numberOf = new List<int>(); // the welded number of each vertex line
        var ring = new List<int>();
        var groups = new Dictionary<string, int>(StringComparer.Ordinal);
        var skipped = new SortedDictionary<string, int>(StringComparer.Ordinal);
        Span<double> p = stackalloc double[3];
        var split = 0;
        do
        {
            if (!scan.NextWordOnLine(out var word)) continue;
            if (word.Length == 1 && word[0] == 'v')
            {
                for (var i = 0; i < 3; i++)
                {
                    if (!scan.NextWordOnLine(out word)) throw scan.Refuse($"vertex {numberOf.Count + 1} has only {i} coordinates. Export the file again.");
                    p[i] = scan.Number(word, "a coordinate");
                    if (!double.IsFinite(p[i]))
                        throw scan.Refuse($"vertex {numberOf.Count + 1} has a coordinate that is {(double.IsNaN(p[i]) ? "no number (NaN)" : "infinite")}. Repair or export the model again.");
                }
                numberOf.Add(sink.Weld.Add(p[0], p[1], p[2]));
                if ((numberOf.Count & 0xfff) == 0) cancel.ThrowIfCancellationRequested();
            }
            else if (word.Length == 1 && word[0] == 'f')
            {
                ring.Clear();
                while (scan.NextWordOnLine(out word))
                {
                    if (word[0] == '#') { scan.RestOfLine(); break; }
                    ring.Add(numberOf[Index(scan, word, numberOf.Count)]);
                }
                if (ring.Count < 3) throw scan.Refuse($"a face has only {ring.Count} corners. Export the file again.");
                if (ring.Count > 3) split++;
                if (!sink.HasObject) sink.BeginObject("");
                for (var i = 2; i < ring.Count; i++) sink.Triangle(ring[0], ring[i - 1], ring[i]);
                if ((sink.InFile & 0xfff) == 0) cancel.ThrowIfCancellationRequested();
            }
            else if (word.Length == 1 && word[0] is (byte)'o' or (byte)'g') sink.BeginOrResumeObject(scan.RestOfLine(), groups);
            else if (word[0] == '#') scan.RestOfLine();
            else if (IsShape(word))
            {
                var key = TextScanner.Show(word);
                skipped[key] = skipped.GetValueOrDefault(key) + 1;
            }
            else if (!IsKnown(word))
                throw scan.Refuse($"\"{TextScanner.Show(word)}\" is no OBJ statement. The file is damaged or is no OBJ: export it again.");
        }
        while (scan.SkipLine());
        if (split > 0) sink.Remark("polygons-split", split, $"{split} faces have more than three corners; they were split into triangles from their first corner.");
        foreach (var (key, n) in skipped)
            sink.Remark("no-triangles", n, $"{n} statements \"{key}\" (points, lines, free-form curves or surfaces) hold no triangles and were not taken.");
        return sink.Finish("OBJ");
    }

    /// <summary>A face corner: <c>5</c>, <c>5/2</c>, <c>5//7</c> or <c>-1</c> (counted back from the last vertex).</summary>
    private static int Index(TextScanner scan, ReadOnlySpan<byte> word, int count)
    {
        var slash = word.IndexOf((byte)'/');
        var digits = slash < 0 ? word : word[..slash];
        if (!int.TryParse(digits, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out var n))
            throw scan.Refuse($"\"{TextScanner.Show(word)}\" is no vertex number.");
        var index = n < 0 ? count + (long)n : n - 1L;
        if (n == 0 || index < 0 || index >= count)
            throw scan.Refuse($"a face names vertex {n}, but {count} vertices stand before it (numbers begin at 1). The file is damaged: export it again.");
        return (int)index;
    }

    private static bool IsShape(ReadOnlySpan<byte> w) =>
        w.SequenceEqual("l"u8) || w.SequenceEqual("p"u8) || w.SequenceEqual("curv"u8) || w.SequenceEqual("curv2"u8) || w.SequenceEqual("surf"u8);

    // The statements of the published format description (appendix B1 of the Advanced Visualizer manual) without triangles of their own.
    private static bool IsKnown(ReadOnlySpan<byte> w)
    {
        foreach (var k in Known)
            if (w.SequenceEqual(k)) return true;
        return false;
    }

    private static readonly byte[][] Known = [..
        "vn vt s vp usemtl mtllib usemap maplib mg bevel c_interp d_interp lod shadow_obj trace_obj ctech stech cstype deg bmat step parm trim hole scrv sp end con call csh"
        .Split(' ').Select(System.Text.Encoding.ASCII.GetBytes)];
}
