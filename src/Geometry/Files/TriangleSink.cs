namespace Stiltwright.Geometry.Files;

/// <summary>Collects welded triangles, their objects and the remarks while a reader walks through a file.</summary>
internal sealed class TriangleSink(string path, ReadLimits limits, int expectedTriangles)
{
    private readonly List<string> _names = [];
    private readonly List<string> _types = [];
    private readonly List<ReadRemark> _remarks = [];
    private int[] _corners = new int[3 * Math.Max(64, expectedTriangles)];
    private int[] _objects = new int[Math.Max(64, expectedTriangles)];
    private int _count;
    private int _twice;
    private int _firstTwice;
    private int _object = -1;

    internal PointWeld Weld { get; } = new(expectedTriangles / 2 + 8);

    internal string Name { get; } = Path.GetFileName(path);

    internal ReadLimits Limits => limits;

    /// <summary>Triangles met so far, those left out too.</summary>
    internal int InFile { get; private set; }

    internal bool HasObject => _object >= 0;

    internal void BeginObject(string name, string type = "model")
    {
        name = name.Trim();
        _object = _names.Count;
        _names.Add(name.Length > 0 ? name : _object == 0 ? Path.GetFileNameWithoutExtension(path) : $"object {_object + 1}");
        _types.Add(type);
    }

    /// <summary>Returns to an object of that name or begins one (OBJ files may name a group again and again).</summary>
    internal void BeginOrResumeObject(string name, Dictionary<string, int> known)
    {
        if (known.TryGetValue(name, out var o)) _object = o;
        else
        {
            BeginObject(name);
            known[name] = _object;
        }
    }

    internal void Triangle(int a, int b, int c)
    {
        if (++InFile > limits.MaxTriangles)
            throw new MeshReadException($"{Name} holds more than {limits.MaxTriangles:N0} triangles, the limit here. Reduce the model or raise the limit.");
        if (a == b || b == c || c == a)
        {
            if (_twice++ == 0) _firstTwice = InFile;
            return;
        }
        if (_count == _objects.Length)
        {
            var size = (int)Math.Min(limits.MaxTriangles, Math.Max(_count + 1, _count * 3L / 2));
            Array.Resize(ref _objects, size);
            Array.Resize(ref _corners, 3 * size);
        }
        _corners[3 * _count] = a;
        _corners[3 * _count + 1] = b;
        _corners[3 * _count + 2] = c;
        _objects[_count++] = _object;
    }

    internal void Remark(string kind, long count, string text) => _remarks.Add(new ReadRemark(kind, count, text));

    internal MeshReadException Refuse(string sentence) => new($"{Name}: {sentence}");

    /// <summary>
    /// Finishes with triangles that were welded elsewhere and all belong to one object; those with two corners at one place
    /// (so many, the first of that number) are still among them.
    /// </summary>
    internal MeshFile Finish(string format, double[] points, int[] corners, int twice, int firstTwice)
    {
        InFile = corners.Length / 3;
        if (InFile > 0 && twice == 0) return new MeshFile(path, format, points, corners, InFile, [.. _names], [.. _types], new int[InFile], _remarks);
        (_twice, _firstTwice) = (twice, firstTwice + 1);
        var kept = 0;
        for (var t = 0; t < corners.Length; t += 3)
        {
            int a = corners[t], b = corners[t + 1], c = corners[t + 2];
            if (a == b || b == c || c == a) continue;
            (corners[kept], corners[kept + 1], corners[kept + 2]) = (a, b, c);
            kept += 3;
        }
        (_corners, _objects, _count) = (corners, new int[InFile], kept / 3);
        return Finish(format, points);
    }

    internal MeshFile Finish(string format) => Finish(format, null);

    private MeshFile Finish(string format, double[]? points)
    {
        if (InFile == 0) throw Refuse("it holds no triangles. Export the model again, as triangles.");
        if (_count == 0)
            throw Refuse($"none of its {InFile} triangles has an area: each has two corners at the same place. Check the unit and the precision of the export.");
        if (_twice > 0)
            Remark("null-triangles", _twice, $"{_twice} of {InFile} triangles have two corners at the same place and were left out (the first is triangle {_firstTwice}); the surface is the same without them.");
        Array.Resize(ref _corners, 3 * _count);
        Array.Resize(ref _objects, _count);
        return new MeshFile(path, format, PointsInUse(points ?? Weld.ToArray()), _corners, InFile, [.. _names], [.. _types], _objects, _remarks);
    }

    /// <summary>The points that triangles use, renumbered in order of first use.</summary>
    private double[] PointsInUse(double[] all)
    {
        var map = new int[all.Length / 3];
        var used = 0;
        var inOrder = true;
        for (var i = 0; i < _corners.Length; i++)
        {
            ref var to = ref map[_corners[i]];
            if (to == 0)
            {
                to = ++used;
                inOrder &= to == _corners[i] + 1;
            }
            _corners[i] = to - 1;
        }
        if (inOrder && used == map.Length) return all;
        var kept = new double[3 * used];
        for (var v = 0; v < map.Length; v++)
            if (map[v] > 0) all.AsSpan(3 * v, 3).CopyTo(kept.AsSpan(3 * (map[v] - 1)));
        return kept;
    }
}
