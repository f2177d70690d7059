using System.Buffers.Binary;
using System.Globalization;
using System.Text;

namespace Stiltwright.Faults;

/// <summary>A print room in a temporary folder, with the program's own configuration made quick.</summary>
internal sealed class PrintRoom : IDisposable
{
    public PrintRoom(string hostSettings, params (string Name, string Text)[] recipes) : this(hostSettings, Path.GetTempPath(), recipes) { }

    /// <param name="hostSettings">stiltwright.json; STATE and PLUGINS in it stand for the folders.</param>
    /// <param name="parent">Folder in which the print room is made.</param>
    /// <param name="recipes">The recipes; each has a drop folder of its name.</param>
    public PrintRoom(string hostSettings, string parent, params (string Name, string Text)[] recipes)
    {
        Root = Directory.CreateDirectory(Path.Combine(parent, $"stiltwright-faults-{Guid.NewGuid():N}"[..29])).FullName;
        foreach (var sub in (string[])["printers", "resins"])
        {
            Directory.CreateDirectory(Path.Combine(Config, sub));
            foreach (var f in Directory.GetFiles(Path.Combine(Repository, "config", sub))) File.Copy(f, Path.Combine(Config, sub, Path.GetFileName(f)));
        }

        Directory.CreateDirectory(Path.Combine(Config, "folders"));
        File.WriteAllText(Path.Combine(Config, "stiltwright.json"), hostSettings.Replace("STATE", State.Replace('\\', '/'), StringComparison.Ordinal).Replace("PLUGINS", Plugins.Replace('\\', '/'), StringComparison.Ordinal));
        foreach (var (name, text) in recipes)
        {
            File.WriteAllText(Path.Combine(Config, "folders", name + ".json"), text);
            Directory.CreateDirectory(Path.Combine(Share, name));
        }

        Drops = [.. recipes.Select(r => Path.Combine(Share, r.Name))];
    }

    /// <summary>The folder that holds the solution.</summary>
    public static string Repository { get; } = Above("Stiltwright.slnx");

    /// <summary>The built program, or the published one that --program names.</summary>
    public static string Program { get; set; } = Path.Combine(Repository, "src", "Host", "bin", "Release", "net10.0", "stiltwright" + (OperatingSystem.IsWindows() ? ".exe" : ""));

    /// <summary>A file system in memory where there is one: for trials that would only measure how fast a disk flushes.</summary>
    public static string InMemory => Directory.Exists("/dev/shm") ? "/dev/shm" : Path.GetTempPath();

    public string Root { get; }

    public string Config => Path.Combine(Root, "config");

    public string Share => Path.Combine(Root, "share");

    public string State => Path.Combine(Root, "state");

    public string Plugins => Path.Combine(Root, "plugins");

    /// <summary>True where the folder is to be looked at by a person and not deleted.</summary>
    public bool Kept { get; set; }

    /// <summary>The drop folders.</summary>
    public IReadOnlyList<string> Drops { get; }

    /// <summary>A recipe with the given stages, each by name or as JSON.</summary>
    public static string Recipe(params string[] stages) =>
        $$"""{ "target": { "percent": 200 }, "printers": ["hall-large"], "resin": "workshop-grey", "mail": { "to": ["printroom@example.org"], "when": "always" }, "stages": [{{string.Join(",", stages.Select(s => s.StartsWith('{') ? s : $$"""{ "stage": "{{s}}" }"""))}}] }""";

    /// <summary>A ball on eight struts on a raft, each a closed shell of its own, as binary STL: every house stage finds something to do.</summary>
    public static byte[] Figure(Random random, int? rings = null) => Binary(Triangles(random, rings ?? random.Next(30, 70)), random);

    /// <summary>The same with a few thousand triangles, or now and then up to 20,000; one in four as text, which takes longer to copy.</summary>
    public static byte[] MixedFigure(Random random)
    {
        var triangles = Triangles(random, random.Next(5) == 0 ? random.Next(45, 70) : random.Next(23, 40));
        return random.Next(4) == 0 ? Text(triangles, random) : Binary(triangles, random);
    }

    /// <summary>A pyramid, of another size each time.</summary>
    public static byte[] Small(Random random)
    {
        var (r, h) = (5 + (10 * random.NextSingle()), 5 + (20 * random.NextSingle()));
        float[][] p = [[0, 0, 0], [r, 0, 0], [0, r, 0], [0, 0, h]];
        return Binary([[.. p[0], .. p[2], .. p[1]], [.. p[0], .. p[1], .. p[3]], [.. p[0], .. p[3], .. p[2]], [.. p[1], .. p[2], .. p[3]]], random);
    }

    private static List<float[]> Triangles(Random random, int rings)
    {
        var triangles = new List<float[]>();
        var radius = 4f + (3 * random.NextSingle());
        var up = radius + 6;
        Ball(triangles, radius, up, rings);
        for (var i = 0; i < 8; i++)
        {
            // One strut in the middle and seven around it: pillars of 1 mm with a tip of 0.4 mm that enters the ball a little.
            var (angle, off) = (i * MathF.Tau / 7, i == 7 ? 0 : radius / 2);
            var top = up - MathF.Sqrt((radius * radius) - (off * off)) + 0.15f;
            Rod(triangles, off * MathF.Cos(angle), off * MathF.Sin(angle), 8, (0.6f, 0.5f), (top - 1.5f, 0.5f), (top, 0.2f));
        }

        Rod(triangles, 0, 0, 24, (0, radius), (1, radius));
        return triangles;
    }

    private static byte[] Text(List<float[]> triangles, Random random)
    {
        var text = new StringBuilder(FormattableString.Invariant($"solid figure {random.NextInt64()}\n"));
        foreach (var t in triangles)
        {
            text.Append("facet normal 0 0 0\nouter loop\n");
            for (var k = 0; k < 9; k += 3) text.Append(CultureInfo.InvariantCulture, $"vertex {t[k]:r} {t[k + 1]:r} {t[k + 2]:r}\n");
            text.Append("endloop\nendfacet\n");
        }

        return Encoding.ASCII.GetBytes(text.Append("endsolid figure\n").ToString());
    }

    private static byte[] Binary(List<float[]> triangles, Random random)
    {
        var bytes = new byte[84 + (50 * triangles.Count)];
        random.NextBytes(bytes.AsSpan(8, 60)); // no two files alike
        BinaryPrimitives.WriteUInt32LittleEndian(bytes.AsSpan(80), (uint)triangles.Count);
        for (var t = 0; t < triangles.Count; t++)
            for (var k = 0; k < 9; k++) BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(84 + (50 * t) + 12 + (4 * k)), triangles[t][k]);
        return bytes;
    }

    /// <summary>Puts the stages of tests/HostileStages into the administrator's plug-in folder, "PLUGINS" in the settings.</summary>
    public void LayHostileStages()
    {
        var own = Directory.CreateDirectory(Path.Combine(Plugins, "HostileStages")).FullName;
        foreach (var f in Directory.GetFiles(Path.Combine(Repository, "tests", "HostileStages", "bin", "Release", "net10.0")))
            if (!Path.GetFileName(f).StartsWith("Stiltwright.Sdk", StringComparison.Ordinal)) File.Copy(f, Path.Combine(own, Path.GetFileName(f)));
    }

    public void Dispose()
    {
        if (!Kept) Directory.Delete(Root, true);
    }

    private static void Ball(List<float[]> to, float r, float up, int rings)
    {
        float[] P(int i, int j)
        {
            var (a, b) = (MathF.PI * i / rings, MathF.Tau * (j % (2 * rings)) / (2 * rings));
            return i == 0 ? [0, 0, up + r] : i == rings ? [0, 0, up - r] : [r * MathF.Sin(a) * MathF.Cos(b), r * MathF.Sin(a) * MathF.Sin(b), up + (r * MathF.Cos(a))];
        }

        for (var i = 0; i < rings; i++)
        {
            for (var j = 0; j < 2 * rings; j++)
            {
                if (i > 0) to.Add([.. P(i, j), .. P(i + 1, j), .. P(i, j + 1)]);
                if (i < rings - 1) to.Add([.. P(i + 1, j), .. P(i + 1, j + 1), .. P(i, j + 1)]);
            }
        }
    }

    /// <summary>A closed rod that stands upright, by its radius at each height from below.</summary>
    private static void Rod(List<float[]> to, float x, float y, int sides, params (float Z, float R)[] rings)
    {
        float[] P(int i, (float Z, float R) at) => [x + (at.R * MathF.Cos(MathF.Tau * (i % sides) / sides)), y + (at.R * MathF.Sin(MathF.Tau * (i % sides) / sides)), at.Z];
        for (var i = 0; i < sides; i++)
        {
            for (var k = 0; k + 1 < rings.Length; k++)
            {
                to.Add([.. P(i, rings[k]), .. P(i + 1, rings[k]), .. P(i, rings[k + 1])]);
                to.Add([.. P(i + 1, rings[k]), .. P(i + 1, rings[k + 1]), .. P(i, rings[k + 1])]);
            }

            to.Add([x, y, rings[0].Z, .. P(i + 1, rings[0]), .. P(i, rings[0])]);
            to.Add([x, y, rings[^1].Z, .. P(i, rings[^1]), .. P(i + 1, rings[^1])]);
        }
    }

    private static string Above(string file)
    {
        for (var d = new DirectoryInfo(AppContext.BaseDirectory); d is not null; d = d.Parent)
            if (File.Exists(Path.Combine(d.FullName, file))) return d.FullName;
        throw new FileNotFoundException($"{file} is in no folder above the program; run it from the repository.");
    }
}
