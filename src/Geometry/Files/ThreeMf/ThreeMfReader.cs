using System.IO.Compression;

namespace Stiltwright.Geometry.Files.ThreeMf;

/// <summary>
/// Reads the build of a 3MF package: core specification 1.3, and the production extension's further model parts. Colours,
/// textures and slices are not used; beams are counted and named. What a package requires and we do not know is refused.
/// </summary>
internal static class ThreeMfReader
{
    /// <summary>Depth that components may reach; deeper ones are refused.</summary>
    internal const int MostDeep = 32;

    internal static MeshFile Read(FileStream file, string path, ReadLimits limits, CancellationToken cancel)
    {
        var name = Path.GetFileName(path);
        try
        {
            using var zip = new ZipArchive(file, ZipArchiveMode.Read, leaveOpen: true);
            if (zip.Entries.Count > limits.MaxPackageEntries)
                throw new MeshReadException($"{name} is a package of {zip.Entries.Count:N0} entries, more than the limit of {limits.MaxPackageEntries:N0}.");
            var package = new ThreeMfPackage(zip, name, limits, cancel);
            return package.Take(path, package.ReadPart(package.StartPart()));
        }
        catch (InvalidDataException e)
        {
            throw new MeshReadException($"{name} is a damaged zip package ({e.Message.TrimEnd('.')}). Copy or export it again.", e);
        }
    }

    private sealed class ThreeMfPackage(ZipArchive zip, string file, ReadLimits limits, CancellationToken cancel)
    {
        private readonly LimitedStream.Budget _budget = new(file, limits.MaxUnzippedBytes);
        private readonly Dictionary<string, ThreeMfPart> _parts = new(StringComparer.OrdinalIgnoreCase);
        private readonly HashSet<string> _reading = new(StringComparer.OrdinalIgnoreCase);
        private readonly List<ReadRemark> _remarks = [];

        /// <summary>The 3D model part that the package's own relationships name (core specification 2.1: the start part).</summary>
        internal string StartPart()
        {
            var entry = Find("/_rels/.rels")
                ?? throw Refuse("is a zip package without \"_rels/.rels\", so it is no 3MF package. Export the model as 3MF, or unpack the zip and drop its content.");
            string? target = null;
            ThreeMfXml.Walk(Open(entry), file, "_rels/.rels", reader =>
            {
                if (reader.LocalName == "Relationship" && reader.GetAttribute("Type") == ThreeMfNames.ModelRelationship)
                    target ??= reader.GetAttribute("Target");
            });
            if (target is null) throw Refuse("is a package whose relationships name no 3D model part. Export it again.");
            return target.StartsWith('/') ? target : "/" + target;
        }

        internal ThreeMfPart ReadPart(string part)
        {
            if (_parts.TryGetValue(part, out var known)) return known;
            if (!_reading.Add(part)) throw Refuse($"has model parts that name each other in a ring, at {part}. Export it again.");
            if (_reading.Count > 4) throw Refuse($"has model parts nested deeper than the production extension allows, at {part}.");
            var entry = Find(part) ?? throw Refuse($"names the part {part}, but the package does not hold it. Copy or export it again.");
            using var stream = Open(entry);
            var read = new ThreeMfModelParser(file, part, limits, ReadPart, _remarks, cancel).Parse(stream);
            _parts[part] = read;
            _reading.Remove(part);
            return read;
        }

        internal MeshFile Take(string path, ThreeMfPart start)
        {
            if (!start.HasResources) throw Refuse($"has no <resources> element in {start.Name}, so there is nothing to build (core specification 3.4). Export it again.");
            if (!start.HasBuild) throw Refuse($"has no <build> element in {start.Name}, so nothing is said to be printed (core specification 3.4). Export it again.");
            if (start.Build.Count == 0) throw Refuse("has an empty build: it holds objects, but none is placed to be printed. Place one and export it again.");
            long total = 0;
            foreach (var item in start.Build) total += item.Object.TotalTriangles;
            if (total > limits.MaxTriangles)
                throw Refuse($"places {total:N0} triangles, more than the limit of {limits.MaxTriangles:N0}. Reduce the model or raise the limit.");
            var sink = new TriangleSink(path, limits, (int)total);
            foreach (var r in _remarks) sink.Remark(r.Kind, r.Count, r.Text);
            var beams = 0L;
            foreach (var item in start.Build) Place(sink, item.Object, item.Map, ref beams);
            if (beams > 0)
                sink.Remark("beam-lattice", beams, $"{beams:N0} beams of a beam lattice have no triangles and were not taken. If they matter, export the lattice as triangles.");
            var helpers = start.Build.Count(i => i.Object.Type is "support" or "solidsupport");
            if (helpers > 0)
                sink.Remark("support-objects", helpers, $"{helpers} placed objects are marked as supports by the file; they were taken like the others.");
            var sheets = start.Build.Count(i => i.Object.Type == "surface");
            if (sheets > 0)
                sink.Remark("surface-objects", sheets, $"{sheets} placed objects are marked as surfaces without a volume; they were taken like the others.");
            return sink.Finish("3MF");
        }

        private void Place(TriangleSink sink, ThreeMfObject o, Affine map, ref long beams)
        {
            cancel.ThrowIfCancellationRequested();
            beams += o.Beams;
            foreach (var c in o.Components) Place(sink, c.Object, c.Map.Then(map), ref beams);
            if (o.Corners.Count == 0) return;
            var unit = _parts[o.Part].UnitMm;
            sink.BeginObject(o.Name, o.Type);
            // Each placed object has points of its own: what merely touches is not joined.
            sink.Weld.StartAnew();
            var number = new int[o.Vertices.Count / 3];
            for (var v = 0; v < number.Length; v++)
            {
                var p = map.Apply(new Vec3(o.Vertices[3 * v], o.Vertices[3 * v + 1], o.Vertices[3 * v + 2])) * unit;
                if (!double.IsFinite(p.X + p.Y + p.Z)) throw Refuse($"places vertex {v} of object {o.Id} at {p}, which is no place. Export it again.");
                number[v] = sink.Weld.Add(p.X, p.Y, p.Z);
            }
            // Core specification 3.3: a mirroring transform must not change the sign of the volume.
            var mirrored = map.Determinant < 0;
            for (var t = 0; t < o.Corners.Count; t += 3)
            {
                int a = number[o.Corners[t]], b = number[o.Corners[t + 1]], c = number[o.Corners[t + 2]];
                if (mirrored) sink.Triangle(a, c, b);
                else sink.Triangle(a, b, c);
            }
        }

        private LimitedStream Open(ZipArchiveEntry entry) => new(entry.Open(), _budget);

        private ZipArchiveEntry? Find(string part)
        {
            var wanted = Uri.UnescapeDataString(part.TrimStart('/'));
            foreach (var e in zip.Entries)
                if (string.Equals(e.FullName.Replace('\\', '/').TrimStart('/'), wanted, StringComparison.OrdinalIgnoreCase)) return e;
            return null;
        }

        private MeshReadException Refuse(string rest) => new($"{file} {rest}");
    }
}
