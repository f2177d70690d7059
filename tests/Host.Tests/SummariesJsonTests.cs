using System.Text.Json;
using System.Text.Json.Nodes;
using NJsonSchema;
using Stiltwright.Host.Summaries;

namespace Stiltwright.Host.Tests;

public class SummariesJsonTests
{
    private static string SchemaPath(string name)
    {
        for (var d = new DirectoryInfo(AppContext.BaseDirectory); d is not null; d = d.Parent)
            if (File.Exists(Path.Combine(d.FullName, "Stiltwright.slnx"))) return Path.Combine(d.FullName, "config", "schema", name);
        throw new DirectoryNotFoundException("The tests run inside the repository.");
    }

    private static async Task<string[]> Faults(string schema, string json) =>
        [.. (await JsonSchema.FromFileAsync(SchemaPath(schema))).Validate(json).Select(e => $"{e.Path}: {e.Kind}")];

    public static TheoryData<string> Kinds => ["full", "ready", "refused"];

    private static Summary Of(string kind) => kind switch
    {
        "full" => SummariesSample.Full(SummariesSample.NastyName),
        "ready" => SummariesSample.Ready(),
        _ => SummariesSample.Refused("crab.stl"),
    };

    [Theory]
    [MemberData(nameof(Kinds))]
    public async Task A_summary_follows_its_schema_and_comes_back_whole(string kind)
    {
        var folder = Directory.CreateTempSubdirectory("stiltwright-summary-").FullName;
        try
        {
            SummaryFiles.Write(folder, Of(kind));
            var json = await File.ReadAllTextAsync(Path.Combine(folder, "summary.json"));
            Assert.Empty(await Faults("summary.schema.json", json));
            Assert.Equal(json, JsonSerializer.Serialize(SummaryFiles.Read(folder), SummaryFiles.Json));
        }
        finally
        {
            Directory.Delete(folder, true);
        }
    }

    [Fact]
    public async Task A_full_summary_uses_every_key_that_the_schema_knows()
    {
        var json = JsonNode.Parse(JsonSerializer.Serialize(SummariesSample.Full(), SummaryFiles.Json))!.AsObject();
        var schema = JsonNode.Parse(await File.ReadAllTextAsync(SchemaPath("summary.schema.json")))!;
        Assert.Equal(schema["properties"]!.AsObject().Select(p => p.Key).Order(), json.Select(p => p.Key).Order());
        Assert.Equal([61.2, 40.25, 74.9], json["source"]!["sizeMm"]!.AsArray().Select(x => x!.GetValue<double>()));
        Assert.Equal(16, json["placement"]!.AsArray().Count);
        Assert.Equal(1, json["placement"]![3]!.GetValue<double>());
        Assert.Equal("check", json["outcome"]!.GetValue<string>());
        Assert.Equal("resin-trapped", json["findings"]![1]!["id"]!.GetValue<string>());
    }

    [Theory]
    [InlineData("outcome", "\"maybe\"")]
    [InlineData("placement", "[1, 2, 3]")]
    [InlineData("format", "2")]
    [InlineData("colour", "\"red\"")]
    public async Task The_schema_refuses_what_is_no_summary(string key, string value)
    {
        var json = JsonNode.Parse(JsonSerializer.Serialize(SummariesSample.Full(), SummaryFiles.Json))!.AsObject();
        json[key] = JsonNode.Parse(value);
        Assert.NotEmpty(await Faults("summary.schema.json", json.ToJsonString()));
    }

    [Fact]
    public async Task Struts_follow_their_schema_and_come_back_whole()
    {
        var folder = Directory.CreateTempSubdirectory("stiltwright-struts-").FullName;
        try
        {
            SummaryFiles.Write(folder, SummariesSample.Struts());
            var json = await File.ReadAllTextAsync(Path.Combine(folder, "struts.json"));
            Assert.Empty(await Faults("struts.schema.json", json));
            Assert.Equal(json, JsonSerializer.Serialize(SummaryFiles.ReadStruts(folder), SummaryFiles.Json));
            Assert.NotEmpty(await Faults("struts.schema.json", json.Replace("\"pillar\"", "\"column\"")));
        }
        finally
        {
            Directory.Delete(folder, true);
        }
    }

    [Fact]
    public void A_number_that_is_none_is_never_written()
    {
        var broken = SummariesSample.Full() with { Scale = double.NaN };
        Assert.ThrowsAny<ArgumentException>(() => JsonSerializer.Serialize(broken, SummaryFiles.Json));
    }

    [Fact]
    public void A_damaged_summary_is_named()
    {
        var folder = Directory.CreateTempSubdirectory("stiltwright-damaged-").FullName;
        try
        {
            File.WriteAllText(Path.Combine(folder, "summary.json"), "{ \"format\": 1, ");
            Assert.Contains("summary.json", Assert.Throws<InvalidDataException>(() => SummaryFiles.Read(folder)).Message);
        }
        finally
        {
            Directory.Delete(folder, true);
        }
    }
}
