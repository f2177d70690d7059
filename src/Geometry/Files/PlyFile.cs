using System.Buffers.Binary;

namespace Stiltwright.Geometry.Files;

/// <summary>PLY, text and binary of either byte order: vertices and list faces (split from their first corner); other elements and properties are passed over.</summary>
internal static class PlyFile
{
    private const int LongestHeader = 1 << 20;

    internal static MeshFile Read(FileStream file, string path, ReadLimits limits, CancellationToken cancel)
    {
        var name = Path.GetFileName(path);
        var start = new byte[(int)Math.Min(file.Length, LongestHeader)];
        file.ReadExactly(start);
        var header = PlyHeader.Parse(start, name);
        file.Position = header.Bytes;

        var vertices = header.Elements.Find(e => e.Name == "vertex")
            ?? throw new MeshReadException($"{name}: the PLY header has no element \"vertex\". Export the file again.");
        var faces = header.Elements.Find(e => e.Name == "face")
            ?? throw new MeshReadException($"{name}: the PLY file has no faces{(header.Elements.Exists(e => e.Name == "tristrips") ? " but triangle strips, which are not read" : ", only points")}. Export it as triangles.");
        if (header.Elements.IndexOf(vertices) > header.Elements.IndexOf(faces))
            throw new MeshReadException($"{name}: the PLY file lists faces before vertices. Export it again.");
        foreach (var axis in new[] { "x", "y", "z" })
            if (!vertices.Properties.Exists(p => p.Name == axis && p.Length is null))
                throw new MeshReadException($"{name}: the PLY vertices have no property \"{axis}\". Export the file again.");
        if (!faces.Properties.Exists(IsCorners))
            throw new MeshReadException($"{name}: the PLY faces have no list \"vertex_indices\". Export the file again.");

        // The header's counts are only believed as far as the bytes can hold them: nothing is set aside for more.
        var possible = file.Length - header.Bytes;
        if (vertices.Count > possible || vertices.Count > int.MaxValue / 3)
            throw new MeshReadException($"{name}: the header counts {vertices.Count:N0} vertices, more than its {possible:N0} bytes of data can hold. The file is cut off or damaged: copy it again.");
        var sink = new TriangleSink(path, limits, (int)Math.Min(Math.Min(faces.Count, possible / 4), limits.MaxTriangles));
        sink.BeginObject("");
        IPlySource source = header.Format == PlyHeader.Coding.Text
            ? new TextSource(new TextScanner(file, name), header.Lines, sink)
            : new BinarySource(file, header, sink);
        var numberOf = new int[vertices.Count];
        var split = 0;
        foreach (var element in header.Elements)
        {
            if (element == vertices) ReadVertices(source, element, sink, numberOf, cancel);
            else if (element == faces)
            {
                split = ReadFaces(source, element, sink, numberOf, cancel);
                break;
            }
            else
                for (long i = 0; i < element.Count; i++) Pass(source, element, i);
        }
        if (split > 0) sink.Remark("polygons-split", split, $"{split} faces have more than three corners; they were split into triangles from their first corner.");
        return sink.Finish(header.Format == PlyHeader.Coding.Text ? "PLY, text" : "PLY, binary");
    }

    private static bool IsCorners(PlyHeader.Property p) => p.Length is not null && p.Name is "vertex_indices" or "vertex_index";

    private static void ReadVertices(IPlySource source, PlyHeader.Element element, TriangleSink sink, int[] numberOf, CancellationToken cancel)
    {
        Span<double> p = stackalloc double[3];
        for (var v = 0; v < numberOf.Length; v++)
        {
            source.Begin("vertex", v);
            foreach (var property in element.Properties)
            {
                if (property.Length is { } l) { PassList(source, l, property.Type); continue; }
                var d = source.Next(property.Type);
                if (property.Name is "x") p[0] = d;
                else if (property.Name is "y") p[1] = d;
                else if (property.Name is "z") p[2] = d;
            }
            foreach (var d in p)
                if (!double.IsFinite(d)) throw source.Refuse($"a coordinate is {(double.IsNaN(d) ? "no number (NaN)" : "infinite")}. Repair or export the model again.");
            numberOf[v] = sink.Weld.Add(p[0], p[1], p[2]);
            if ((v & 0xfff) == 0) cancel.ThrowIfCancellationRequested();
        }
    }

    private static int ReadFaces(IPlySource source, PlyHeader.Element element, TriangleSink sink, int[] numberOf, CancellationToken cancel)
    {
        var split = 0;
        for (long f = 0; f < element.Count; f++)
        {
            source.Begin("face", f);
            foreach (var property in element.Properties)
            {
                if (property.Length is not { } l) { source.Next(property.Type); continue; }
                if (!IsCorners(property)) { PassList(source, l, property.Type); continue; }
                var n = (long)source.Next(l);
                if (n < 3) throw source.Refuse($"it has {n} corners. Export the file again.");
                int first = Corner(source, property.Type, numberOf), before = Corner(source, property.Type, numberOf);
                for (long k = 2; k < n; k++)
                {
                    var at = Corner(source, property.Type, numberOf);
                    sink.Triangle(first, before, at);
                    before = at;
                }
                if (n > 3) split++;
            }
            if ((f & 0xfff) == 0) cancel.ThrowIfCancellationRequested();
        }
        return split;
    }

    private static int Corner(IPlySource source, PlyHeader.Number type, int[] numberOf)
    {
        var d = source.Next(type);
        if (!(d >= 0 && d < numberOf.Length && d == Math.Floor(d)))
            throw source.Refuse($"it names vertex {d}, but the file has vertices 0 to {numberOf.Length - 1}. The file is damaged: export it again.");
        return numberOf[(int)d];
    }

    private static void Pass(IPlySource source, PlyHeader.Element element, long i)
    {
        source.Begin(element.Name, i);
        foreach (var p in element.Properties)
            if (p.Length is { } l) PassList(source, l, p.Type);
            else source.Next(p.Type);
    }

    private static void PassList(IPlySource source, PlyHeader.Number length, PlyHeader.Number type)
    {
        var n = (long)source.Next(length);
        for (long i = 0; i < n; i++) source.Next(type);
    }

    private interface IPlySource
    {
        void Begin(string element, long number);

        double Next(PlyHeader.Number type);

        MeshReadException Refuse(string sentence);
    }

    private sealed class TextSource(TextScanner scan, int headerLines, TriangleSink sink) : IPlySource
    {
        private string _element = "";
        private long _number;

        public void Begin(string element, long number) => (_element, _number) = (element, number);

        public double Next(PlyHeader.Number type)
        {
            if (!scan.NextWord(out var word))
                throw Refuse("the file ends here. It is cut off: copy or export it again.");
            if (!TextScanner.TryNumber(word, out var d)) throw Refuse($"\"{TextScanner.Show(word)}\" is no number.");
            return d;
        }

        public MeshReadException Refuse(string sentence) =>
            new($"{sink.Name}, line {headerLines + scan.WordLine}: {_element} {_number}: {sentence}");
    }

    private sealed class BinarySource(Stream stream, PlyHeader header, TriangleSink sink) : IPlySource
    {
        private readonly byte[] _buffer = new byte[1 << 18];
        private int _at;
        private int _end;
        private long _before = header.Bytes;
        private string _element = "";
        private long _number;

        public void Begin(string element, long number) => (_element, _number) = (element, number);

        public double Next(PlyHeader.Number type)
        {
            var size = PlyHeader.Size(type);
            if (_end - _at < size) Fill(size);
            var s = _buffer.AsSpan(_at, size);
            _at += size;
            if (header.Format == PlyHeader.Coding.LittleEndian)
                return type switch
                {
                    PlyHeader.Number.Int8 => (sbyte)s[0],
                    PlyHeader.Number.UInt8 => s[0],
                    PlyHeader.Number.Int16 => BinaryPrimitives.ReadInt16LittleEndian(s),
                    PlyHeader.Number.UInt16 => BinaryPrimitives.ReadUInt16LittleEndian(s),
                    PlyHeader.Number.Int32 => BinaryPrimitives.ReadInt32LittleEndian(s),
                    PlyHeader.Number.UInt32 => BinaryPrimitives.ReadUInt32LittleEndian(s),
                    PlyHeader.Number.Float32 => BinaryPrimitives.ReadSingleLittleEndian(s),
                    _ => BinaryPrimitives.ReadDoubleLittleEndian(s),
                };
            return type switch
            {
                PlyHeader.Number.Int8 => (sbyte)s[0],
                PlyHeader.Number.UInt8 => s[0],
                PlyHeader.Number.Int16 => BinaryPrimitives.ReadInt16BigEndian(s),
                PlyHeader.Number.UInt16 => BinaryPrimitives.ReadUInt16BigEndian(s),
                PlyHeader.Number.Int32 => BinaryPrimitives.ReadInt32BigEndian(s),
                PlyHeader.Number.UInt32 => BinaryPrimitives.ReadUInt32BigEndian(s),
                PlyHeader.Number.Float32 => BinaryPrimitives.ReadSingleBigEndian(s),
                _ => BinaryPrimitives.ReadDoubleBigEndian(s),
            };
        }

        public MeshReadException Refuse(string sentence) =>
            new($"{sink.Name}, byte {_before + _at:N0}: {_element} {_number}: {sentence}");

        private void Fill(int size)
        {
            Buffer.BlockCopy(_buffer, _at, _buffer, 0, _end - _at);
            _before += _at;
            _end -= _at;
            _at = 0;
            while (_end < size)
            {
                var got = stream.Read(_buffer, _end, _buffer.Length - _end);
                if (got == 0) throw Refuse("the file ends here. It is cut off: copy or export it again.");
                _end += got;
            }
        }
    }
}
