using System.Globalization;
using System.Xml;

namespace Stiltwright.Geometry.Files.ThreeMf;

/// <summary>Reads one 3D model part: objects in the order of the file, each naming only objects before it, then the build.</summary>
internal sealed class ThreeMfModelParser(
    string file, string partName, ReadLimits limits, Func<string, ThreeMfPart> otherPart, List<ReadRemark> remarks, CancellationToken cancel)
{
    private readonly ThreeMfPart _part = new(partName);
    private XmlReader _reader = null!;
    private ThreeMfObject? _object;
    private bool _inMesh;
    private long _triangles;
    private int _seen;

    internal ThreeMfPart Parse(Stream stream)
    {
        var root = false;
        ThreeMfXml.Walk(stream, file, partName, r =>
        {
            _reader = r;
            if (!root)
            {
                root = true;
                if (r.LocalName != "model" || r.NamespaceURI != ThreeMfNames.Core)
                    throw Refuse($"the root is <{r.LocalName}> of namespace \"{r.NamespaceURI}\", not <model> of the 3MF core specification.");
                Model();
            }
            else if (r.NamespaceURI == ThreeMfNames.Core) CoreElement();
            else if (r.NamespaceURI == ThreeMfNames.BeamLattice && r.LocalName == "beam" && _object is not null) _object.Beams++;
        }, r =>
        {
            _reader = r;
            if (r.NamespaceURI != ThreeMfNames.Core) return;
            if (r.LocalName == "mesh") _inMesh = false;
            else if (r.LocalName == "object") EndObject();
        });
        return _part;
    }

    private void Model()
    {
        var unit = _reader.GetAttribute("unit") ?? "millimeter";
        _part.UnitMm = ThreeMfNames.UnitMm(unit.Trim())
            ?? throw Refuse($"the unit \"{unit}\" is none of the core specification (micron, millimeter, centimeter, inch, foot, meter).");
        foreach (var prefix in (_reader.GetAttribute("requiredextensions") ?? "").Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries))
        {
            var ns = _reader.LookupNamespace(prefix);
            if (ns is null) throw Refuse($"the required extension \"{prefix}\" has no namespace.");
            if (ns is ThreeMfNames.Materials)
                remarks.Add(new ReadRemark("colours", 1, "The file requires the materials extension; colours and materials are not used here."));
            else if (ns is not (ThreeMfNames.Core or ThreeMfNames.Production or ThreeMfNames.BeamLattice))
                throw Refuse($"the file requires the extension \"{prefix}\" ({ns}), which is not known here; without it the model would be another. Export it without that extension.");
        }
    }

    private void CoreElement()
    {
        if ((++_seen & 0xffff) == 0) cancel.ThrowIfCancellationRequested();
        switch (_reader.LocalName)
        {
            case "vertex" when _inMesh: Vertex(); break;
            case "triangle" when _inMesh: Triangle(); break;
            case "mesh" when _object is not null: _inMesh = true; break;
            case "object": BeginObject(); break;
            case "component" when _object is not null:
                var placed = Place("component");
                if (placed.Object == _object) throw Refuse($"object {_object.Id} has itself as a component.");
                _object.Components.Add(placed);
                break;
            case "resources": _part.HasResources = true; break;
            case "build":
                if (!_part.HasResources) throw Refuse("the model has no <resources> before its <build>, so there is nothing to build (core specification 3.4). Export it again.");
                _part.HasBuild = true;
                break;
            case "item" when _part.HasBuild:
                var item = Place("item");
                if (item.Object.Type == "other") throw Refuse($"the build places object {item.Object.Id} of type \"other\", which the core specification forbids (3.4.3.1).");
                _part.Build.Add(item);
                break;
        }
    }

    private void BeginObject()
    {
        var id = Id("id", "object");
        var type = _reader.GetAttribute("type") ?? "model";
        if (type is not ("model" or "solidsupport" or "support" or "surface" or "other"))
            throw Refuse($"object {id} has the type \"{type}\", which the core specification does not know.");
        _object = new ThreeMfObject(partName, id, _reader.GetAttribute("name") ?? "", type);
    }

    private void EndObject()
    {
        var o = _object!;
        o.TotalTriangles = o.Corners.Count / 3;
        foreach (var c in o.Components)
        {
            o.TotalTriangles += c.Object.TotalTriangles;
            o.Depth = Math.Max(o.Depth, c.Object.Depth + 1);
        }
        if (o.TotalTriangles > limits.MaxTriangles)
            throw Refuse($"object {o.Id} places {o.TotalTriangles:N0} triangles, more than the limit of {limits.MaxTriangles:N0}. Reduce the model or raise the limit.");
        if (o.Depth > ThreeMfReader.MostDeep)
            throw Refuse($"components of object {o.Id} are nested deeper than {ThreeMfReader.MostDeep}.");
        // Branches without triangles or beams are dropped here, so that walking the tree never takes longer than what it yields.
        o.Components.RemoveAll(c => c.Object.TotalTriangles == 0 && c.Object.Beams == 0);
        if (o.Components.Count > 1_000_000 || o.TotalTriangles == 0 && o.Components.Count > 10_000)
            throw Refuse($"object {o.Id} has {o.Components.Count:N0} components, more than any figure needs.");
        if (!_part.Objects.TryAdd(o.Id, o)) throw Refuse($"two resources have the id {o.Id}.");
        _object = null;
    }

    private void Vertex()
    {
        var v = _object!.Vertices;
        if (v.Count > 3L * limits.MaxTriangles + 9) throw Refuse($"object {_object.Id} has more vertices than {limits.MaxTriangles:N0} triangles can use.");
        v.Add(Coordinate("x"));
        v.Add(Coordinate("y"));
        v.Add(Coordinate("z"));
    }

    private double Coordinate(string name)
    {
        var s = _reader.GetAttribute(name) ?? throw Refuse($"vertex {_object!.Vertices.Count / 3} of object {_object.Id} has no {name}.");
        return Number(s, "a coordinate");
    }

    private double Number(string s, string what)
    {
        if (!double.TryParse(s, NumberStyles.Float, CultureInfo.InvariantCulture, out var d) || !double.IsFinite(d))
            throw Refuse($"\"{Short(s)}\" is no number for {what}.");
        return d;
    }

    private void Triangle()
    {
        if (++_triangles > limits.MaxTriangles)
            throw Refuse($"the part holds more than {limits.MaxTriangles:N0} triangles, the limit here. Reduce the model or raise the limit.");
        Corner("v1");
        Corner("v2");
        Corner("v3");
    }

    private void Corner(string name)
    {
        var s = _reader.GetAttribute(name);
        var count = _object!.Vertices.Count / 3;
        if (s is null || !int.TryParse(s, NumberStyles.AllowLeadingWhite | NumberStyles.AllowTrailingWhite, CultureInfo.InvariantCulture, out var v) || v < 0 || v >= count)
            throw Refuse($"triangle {_object.Corners.Count / 3} of object {_object.Id} names vertex \"{Short(s ?? "")}\" as {name}, but the object has vertices 0 to {count - 1}.");
        _object.Corners.Add(v);
    }

    private ThreeMfPlace Place(string what)
    {
        var id = Id("objectid", what);
        var path = _reader.GetAttribute("path", ThreeMfNames.Production);
        var part = path is null ? _part : otherPart(path.StartsWith('/') ? path : "/" + path);
        if (!part.Objects.TryGetValue(id, out var o))
            throw Refuse(_object is not null && path is null && _object.Id == id
                ? $"object {id} has itself as a component."
                : $"{what} names object {id}, which is not defined before it{(path is null ? "" : $" in {path}")}.");
        var map = Affine.Identity;
        var t = _reader.GetAttribute("transform");
        if (t is not null)
        {
            var w = t.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries);
            if (w.Length != 12) throw Refuse($"a transform has {w.Length} numbers instead of 12.");
            var m = new double[12];
            for (var i = 0; i < 12; i++) m[i] = Number(w[i], "a transform");
            // The file's points are rows (p' = p M), ours are columns.
            map = new Affine(m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8], new Vec3(m[9], m[10], m[11]));
            if (map.Determinant == 0) throw Refuse($"the transform of object {id} is flat (its determinant is 0), so that the object has no volume.");
        }
        // An object of another part may have another unit; its points are taken in its own.
        if (part != _part && part.UnitMm != _part.UnitMm)
            map = map with { Shift = map.Shift * (_part.UnitMm / part.UnitMm) };
        return new ThreeMfPlace(o, map);
    }

    private int Id(string name, string what)
    {
        var s = _reader.GetAttribute(name);
        if (s is null || !int.TryParse(s, NumberStyles.AllowLeadingWhite | NumberStyles.AllowTrailingWhite, CultureInfo.InvariantCulture, out var id) || id < 1)
            throw Refuse($"<{what}> has no valid {name} (\"{Short(s ?? "")}\").");
        return id;
    }

    private static string Short(string s) => new(s.Take(40).Select(c => char.IsControl(c) || char.IsSurrogate(c) ? '?' : c).ToArray());

    private MeshReadException Refuse(string sentence) => new($"{file}, {partName}, line {ThreeMfXml.Line(_reader)}: {sentence}");
}
