namespace Stiltwright.Geometry.Files;

/// <summary>Text STL: facets of words, whatever the line breaks. Normals are not used (so a NaN there does no harm); corners are.</summary>
internal static class StlText
{
    internal static MeshFile Read(Stream file, string path, ReadLimits limits, CancellationToken cancel)
    {
        var sink = new TriangleSink(path, limits, (int)Math.Min(limits.MaxTriangles, file.Length / 250));
        var scan = new TextScanner(file, sink.Name);
        var solids = 0;
        var split = 0;
        long firstSplit = 0;
        var open = false;
        var missingEnds = 0;
        var ring = new List<int>();
        while (scan.NextWord(out var word))
        {
            if (TextScanner.Same(word, "facet"u8))
            {
                if (!sink.HasObject) sink.BeginObject("");
                var polygon = ReadFacet(scan, sink, ring);
                if (polygon && split++ == 0) firstSplit = scan.WordLine;
                if ((sink.InFile & 0xfff) == 0) cancel.ThrowIfCancellationRequested();
            }
            else if (TextScanner.Same(word, "solid"u8))
            {
                if (open) missingEnds++;
                open = true;
                solids++;
                sink.BeginObject(NameOnLine(scan));
            }
            else if (TextScanner.Same(word, "endsolid"u8))
            {
                open = false;
                NameOnLine(scan);
            }
            else throw scan.Refuse($"\"{TextScanner.Show(word)}\" stands where \"facet\" or \"endsolid\" is expected. The text STL is damaged: export it again.");
        }
        if (open) missingEnds++;
        if (missingEnds > 0)
            sink.Remark("missing-endsolid", missingEnds, $"{missingEnds} of {solids} solids have no \"endsolid\"; all facets up to there were taken. If the model looks cut off, copy it again.");
        if (split > 0)
            sink.Remark("polygons-split", split, $"{split} facets have more than three corners (the first ends on line {firstSplit}), which STL does not allow; they were split into triangles from their first corner.");
        return sink.Finish("STL, text");
    }

    private static string NameOnLine(TextScanner scan)
    {
        var name = "";
        while (scan.NextWordOnLine(out var word))
        {
            // A whole file on one line: the facets begin behind the name.
            if (TextScanner.Same(word, "facet"u8))
                throw scan.Refuse("\"facet\" stands on the same line as \"solid\", so that name and facets cannot be told apart. Export the file again.");
            name = name.Length == 0 ? System.Text.Encoding.UTF8.GetString(word) : name + " " + System.Text.Encoding.UTF8.GetString(word);
            if (name.Length > 200) { scan.RestOfLine(); break; }
        }
        return name;
    }

    /// <summary>Reads one facet behind its first word; true if it had more than three corners.</summary>
    private static bool ReadFacet(TextScanner scan, TriangleSink sink, List<int> ring)
    {
        var number = sink.InFile + 1;
        while (true)
        {
            if (!scan.NextWord(out var word)) throw CutOff(scan, number);
            if (TextScanner.Same(word, "outer"u8)) break;
            if (TextScanner.Same(word, "vertex"u8) || TextScanner.Same(word, "facet"u8))
                throw scan.Refuse($"triangle {number} has no \"outer loop\". Export the file again.");
        }
        Expect(scan, "loop"u8, number);
        ring.Clear();
        Span<double> p = stackalloc double[3];
        while (true)
        {
            if (!scan.NextWord(out var word)) throw CutOff(scan, number);
            if (TextScanner.Same(word, "endloop"u8)) break;
            if (!TextScanner.Same(word, "vertex"u8))
                throw scan.Refuse($"\"{TextScanner.Show(word)}\" stands in triangle {number} where \"vertex\" or \"endloop\" is expected. Export the file again.");
            for (var i = 0; i < 3; i++)
            {
                if (!scan.NextWord(out word)) throw CutOff(scan, number);
                p[i] = scan.Number(word, "a coordinate");
                if (!double.IsFinite(p[i]))
                    throw scan.Refuse($"triangle {number} has a coordinate that is {(double.IsNaN(p[i]) ? "no number (NaN)" : "infinite")}. Repair or export the model again.");
            }
            ring.Add(sink.Weld.Add(p[0], p[1], p[2]));
        }
        if (ring.Count < 3) throw scan.Refuse($"triangle {number} has only {ring.Count} corners. Export the file again.");
        Expect(scan, "endfacet"u8, number);
        for (var i = 2; i < ring.Count; i++) sink.Triangle(ring[0], ring[i - 1], ring[i]);
        return ring.Count > 3;
    }

    private static void Expect(TextScanner scan, ReadOnlySpan<byte> lower, int number)
    {
        if (!scan.NextWord(out var word)) throw CutOff(scan, number);
        if (!TextScanner.Same(word, lower))
            throw scan.Refuse($"\"{TextScanner.Show(word)}\" stands in triangle {number} where \"{TextScanner.Show(lower)}\" is expected. Export the file again.");
    }

    private static MeshReadException CutOff(TextScanner scan, int number) =>
        scan.Refuse($"the file is cut off at byte {scan.Position:N0}, inside triangle {number:N0}. Copy it again.");
}
