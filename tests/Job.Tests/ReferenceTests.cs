using System.Text.RegularExpressions;

namespace Stiltwright.Job.Tests;

/// <summary>What editors and people read about recipes is what the stages declare: both are made anew and compared.</summary>
public sealed partial class ReferenceTests : IDisposable
{
    private readonly string _room = Directory.CreateTempSubdirectory("stiltwright-reference-").FullName;

    public void Dispose() => Directory.Delete(_room, true);

    [Fact]
    public void Schemas_and_the_page_of_stages_are_those_of_the_stages_as_built()
    {
        var page = Path.Combine(_room, "stages.md");
        var (exit, said) = Prepared.Run("stages", "--write-schemas", _room, "--write-reference", page);
        Assert.True(exit == 0, said);
        Assert.Equal(Lines(Path.Combine(AppContext.BaseDirectory, "docs", "stages.md")), Lines(page));
        var written = Directory.GetFiles(_room, "*.schema.json");
        Assert.Equal(5, written.Length);
        foreach (var file in written)
            Assert.Equal(Lines(Path.Combine(AppContext.BaseDirectory, Path.GetFileName(file))), Lines(file));
    }

    [Fact]
    public void Every_finding_has_its_paragraph()
    {
        var ids = Id().Matches(File.ReadAllText(Path.Combine(AppContext.BaseDirectory, "docs", "Findings.cs.txt"))).Select(m => m.Groups[1].Value).ToList();
        Assert.True(ids.Count > 25, $"only {ids.Count} findings were found in the contract");
        var page = File.ReadAllText(Path.Combine(AppContext.BaseDirectory, "docs", "findings.md"));
        Assert.All(ids, id => Assert.Contains($"**{id}.**", page, StringComparison.Ordinal));
    }

    private static string Lines(string file) => File.ReadAllText(file).ReplaceLineEndings("\n").TrimEnd();

    [GeneratedRegex("const string \\w+ = \"([a-z-]+)\";")]
    private static partial Regex Id();
}
