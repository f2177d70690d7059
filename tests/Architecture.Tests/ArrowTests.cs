using System.Reflection;
using System.Reflection.Metadata;
using System.Reflection.PortableExecutable;

namespace Stiltwright.Architecture.Tests;

/// <summary>The arrows between the rooms, read from the references that the built assemblies really carry.</summary>
public class ArrowTests
{
    private static readonly string Folder = AppContext.BaseDirectory;

    public static TheoryData<string, string> Rooms => new()
    {
        { "Stiltwright.Geometry", "" },
        { "Stiltwright.Printing", "Stiltwright.Geometry" },
        { "Stiltwright.Sdk", "Stiltwright.Geometry Stiltwright.Printing" },
        { "stiltwright", "Stiltwright.Geometry Stiltwright.Printing Stiltwright.Sdk" },
    };

    [Theory]
    [MemberData(nameof(Rooms))]
    public void A_room_refers_only_to_the_rooms_below_it(string room, string allowed) =>
        Assert.Empty(OursReferredToBy(Path.Combine(Folder, room + ".dll")).Except(allowed.Split(' ', StringSplitOptions.RemoveEmptyEntries)));

    [Fact]
    public void No_stage_refers_to_the_host_or_to_another_stage()
    {
        var stages = Directory.GetFiles(Folder, "Stiltwright.Plugins.*.dll");
        Assert.True(stages.Length >= 7, $"Only {stages.Length} stages were built.");
        foreach (var stage in stages)
            Assert.Empty(OursReferredToBy(stage).Except(["Stiltwright.Sdk", "Stiltwright.Printing", "Stiltwright.Geometry"]));
    }

    [Fact]
    public void Geometry_knows_nothing_of_files_on_shares_mail_or_time()
    {
        foreach (var room in (string[])["Stiltwright.Geometry", "Stiltwright.Printing"])
        {
            var types = TypesUsedBy(Path.Combine(Folder, room + ".dll"));
            Assert.DoesNotContain(types, t => t.StartsWith("System.Net.", StringComparison.Ordinal) || t is "System.IO.FileSystemWatcher" or "System.IO.Directory" or "System.TimeProvider");
        }
    }

    private static IEnumerable<string> OursReferredToBy(string dll)
    {
        using var stream = File.OpenRead(dll);
        using var pe = new PEReader(stream);
        var meta = pe.GetMetadataReader();
        return [.. meta.AssemblyReferences.Select(h => meta.GetString(meta.GetAssemblyReference(h).Name)).Where(n => n.StartsWith("stiltwright", StringComparison.OrdinalIgnoreCase))];
    }

    private static List<string> TypesUsedBy(string dll)
    {
        using var stream = File.OpenRead(dll);
        using var pe = new PEReader(stream);
        var meta = pe.GetMetadataReader();
        return [.. meta.TypeReferences.Select(h => meta.GetTypeReference(h)).Select(t => $"{meta.GetString(t.Namespace)}.{meta.GetString(t.Name)}")];
    }
}
