using System.Buffers.Binary;
using System.Globalization;
using System.Text;
using Stiltwright.Geometry;
using Stiltwright.Samples;

// Makes the sources of the demo: sea creatures of a small aquarium's exhibit workshop, 75 mm class, leaning in the print
// and held by struts on a raft. Run: dotnet run --project samples/Generator -c Release -- samples/sources
// For speed tests: ... -- DIR --only anglerfish --grown 1.263 --cell 0.235 --spacing 2.2 --farthest 15 makes a figure of
// the 75 mm class with about a million triangles and 300 struts.
var folder = args.Length > 0 ? args[0] : "samples/sources";
string? Option(string name) => Array.IndexOf(args, name) is > 0 and var i && i + 1 < args.Length ? args[i + 1] : null;
var spacing = double.Parse(Option("--spacing") ?? "4.4", CultureInfo.InvariantCulture);
var farthest = double.Parse(Option("--farthest") ?? "7", CultureInfo.InvariantCulture);
Directory.CreateDirectory(folder);
foreach (var made in Figures.All.Where(f => f.Name == (Option("--only") ?? f.Name)))
{
    var figure = Option("--cell") is { } cell ? made with { CellMm = double.Parse(cell, CultureInfo.InvariantCulture) } : made;
    if (Option("--grown") is { } grown) figure = figure.Sized(double.Parse(grown, CultureInfo.InvariantCulture));
    var (points, corners) = Polygoniser.Of(figure.Distance, figure.Box, figure.CellMm);
    var lean = Affine.Turn(new Vec3(0, 1, 0), -figure.LeanDegrees * Math.PI / 180);
    var low = points.Min(p => lean.Apply(p).Z);
    var place = lean.Then(Affine.Translation(new Vec3(0, 0, 6.2 - low)));
    var back = place.Inverse();
    var placed = points.ConvertAll(place.Apply);
    var scene = new Scene();
    scene.Add(placed, corners);
    var supporter = new Supporter(p => figure.Distance(back.Apply(p)), scene, spacing, farthest);
    supporter.Support(placed, corners);
    WriteStl(Path.Combine(folder, figure.Name + ".stl"), figure.Name, scene);
    Console.WriteLine($"{figure.Name}: {corners.Count / 3} triangles of figure, {supporter.Struts} struts, {scene.Corners.Count / 3} triangles in all");
}
return 0;

static void WriteStl(string path, string name, Scene scene)
{
    using var file = File.Create(path);
    Span<byte> record = stackalloc byte[84];
    record.Clear();
    Encoding.ASCII.GetBytes($"exhibit workshop: {name}", record);
    BinaryPrimitives.WriteInt32LittleEndian(record[80..], scene.Corners.Count / 3);
    file.Write(record);
    for (var t = 0; t < scene.Corners.Count; t += 3)
    {
        Vec3 a = scene.Points[scene.Corners[t]], b = scene.Points[scene.Corners[t + 1]], c = scene.Points[scene.Corners[t + 2]];
        record[..50].Clear();
        var at = 0;
        foreach (var v in (Vec3[])[(b - a).Cross(c - a).Unit(), a, b, c])
        {
            BinaryPrimitives.WriteSingleLittleEndian(record[at..], (float)v.X);
            BinaryPrimitives.WriteSingleLittleEndian(record[(at + 4)..], (float)v.Y);
            BinaryPrimitives.WriteSingleLittleEndian(record[(at + 8)..], (float)v.Z);
            at += 12;
        }
        file.Write(record[..50]);
    }
}
