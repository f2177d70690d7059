using System.Buffers.Binary;
using System.Text;
using System.Text.Json;

namespace Stiltwright.Job.Tests;

/// <summary>What a technician reads when the file is no good: a set with a sentence, exit code 4, and an untouched source.</summary>
[Collection("one run")]
public class BadInputTests(Prepared job)
{
    private static byte[] Stl(params (float X, float Y, float Z)[] corners)
    {
        var bytes = new byte[84 + corners.Length / 3 * 50];
        BinaryPrimitives.WriteInt32LittleEndian(bytes.AsSpan(80), corners.Length / 3);
        for (var i = 0; i < corners.Length; i++)
        {
            var at = 84 + i / 3 * 50 + 12 + i % 3 * 12;
            BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(at), corners[i].X);
            BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(at + 4), corners[i].Y);
            BinaryPrimitives.WriteSingleLittleEndian(bytes.AsSpan(at + 8), corners[i].Z);
        }
        return bytes;
    }

    private static (float X, float Y, float Z)[] Tetrahedron(float s) =>
        [(0, 0, 0), (0, s, 0), (s, 0, 0), (0, 0, 0), (s, 0, 0), (0, 0, s), (0, 0, 0), (0, 0, s), (0, s, 0), (s, 0, 0), (0, s, 0), (0, 0, s)];

    public static TheoryData<string, byte[], string, string> Files()
    {
        var cut = Stl(Tetrahedron(40));
        var counted = Stl(Tetrahedron(40));
        BinaryPrimitives.WriteInt32LittleEndian(counted.AsSpan(80), 1_000_000);
        return new()
        {
            { "empty.stl", [], "source-unreadable", "empty" },
            { "letter.stl", Encoding.UTF8.GetBytes("Dear print room, the figure comes tomorrow.\n"), "source-unreadable", "" },
            { "truncated.stl", cut[..200], "source-unreadable", "84" },
            { "counted.stl", counted, "source-unreadable", "1,000,000" },
            { "nan.stl", Stl([(float.NaN, 0, 0), (0, 1, 0), (1, 0, 0)]), "source-unreadable", "riangle" },
            { "infinite.stl", Stl([(float.PositiveInfinity, 0, 0), (0, 1, 0), (1, 0, 0)]), "source-unreadable", "riangle" },
            { "flat.stl", Stl([(1, 1, 1), (1, 1, 1), (2, 2, 2)]), "source-unreadable", "" },
            { "line.stl", Stl([(0, 0, 0), (10, 0, 0), (20, 0, 0), (0, 0, 0), (20, 0, 0), (30, 0, 0)]), "source-unreadable", "none of its 2 triangles has an area" },
            { "tiny.stl", Stl(Tetrahedron(0.01f)), "unit-doubt", "0.01" },
            { "huge.stl", Stl(Tetrahedron(10_000)), "unit-doubt", "10000" },
            { "sheet.stl", Stl([(0, 0, 0), (40, 0, 0), (0, 40, 0)]), "surface-open", "open" },
        };
    }

    [Theory]
    [MemberData(nameof(Files))]
    public void A_file_that_is_no_good_gets_its_sentence(string name, byte[] bytes, string id, string says)
    {
        var (exit, summary, set) = job.Prepare(name, bytes);
        Assert.Equal(4, exit);
        Assert.Equal("stop", summary.GetProperty("outcome").GetString());
        var finding = summary.GetProperty("findings").EnumerateArray().First(f => f.GetProperty("id").GetString() == id);
        Assert.Equal("stop", finding.GetProperty("level").GetString());
        var text = finding.GetProperty("text").GetString()!;
        Assert.Contains(says, text, StringComparison.Ordinal);
        Assert.NotEqual("", finding.GetProperty("advice").GetString());
        Assert.DoesNotContain("   at ", text, StringComparison.Ordinal);
        Assert.Contains(name, File.ReadAllText(Path.Combine(set, "summary.html")), StringComparison.Ordinal);
    }

    [Fact]
    public void A_figure_without_struts_is_enlarged_all_the_same_and_a_person_looks()
    {
        var (exit, summary, _) = job.Prepare("wedge.stl", Stl(Tetrahedron(40)));
        Assert.Equal(3, exit);
        Assert.Contains(summary.GetProperty("findings").EnumerateArray(), f => f.GetProperty("id").GetString() == "struts-none" && f.GetProperty("level").GetString() == "check");
        Assert.Equal(80, summary.GetProperty("pieces")[0].GetProperty("sizeMm")[2].GetDouble(), 3);
        Assert.NotEmpty(summary.GetProperty("cavities").EnumerateArray());
    }

    [Fact]
    public void A_name_with_quotes_spaces_other_letters_and_markup_does_no_harm()
    {
        const string name = "Kröte 'α' & <b>\"海\".stl";
        if (OperatingSystem.IsWindows()) return; // Windows itself refuses such a name
        var (_, summary, set) = job.Prepare(name, Stl(Tetrahedron(40)));
        Assert.Equal(name, summary.GetProperty("source").GetProperty("file").GetString());
        var html = File.ReadAllText(Path.Combine(set, "summary.html"));
        Assert.DoesNotContain("<b>\"", html, StringComparison.Ordinal);
        foreach (var file in Directory.GetFiles(set)) Assert.DoesNotContain('<', Path.GetFileName(file));
    }

    [Fact]
    public void Our_own_output_dropped_again_is_noticed()
    {
        var once = File.ReadAllBytes(Directory.GetFiles(job.Set, "*.stl").Single());
        var (_, summary, _) = job.Prepare("again.stl", once);
        Assert.Contains(summary.GetProperty("findings").EnumerateArray(), f => f.GetProperty("id").GetString() == "source-large");
    }
}
