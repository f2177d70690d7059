using System.Text;
using System.Text.Json.Nodes;
using NJsonSchema;
using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Tests;

public sealed class ConfigurationTests : IDisposable
{
    private readonly Workshop _room = new();

    public void Dispose() => _room.Dispose();

    private string[] Mistakes(string recipe)
    {
        _room.Write("folders/enlarge-200.json", recipe);
        return [.. _room.Read().Mistakes.Select(m => m.ToString())];
    }

    [Fact]
    public void A_right_configuration_has_no_mistake_and_its_values_arrive()
    {
        var config = _room.Read();
        Assert.Empty(config.Mistakes);
        var recipe = config.Recipes["Enlarge-200"]; // found without case, as a share's folders are
        Assert.Equal(200, recipe.Target.Percent);
        Assert.Equal(143, recipe.Printers[0].WidthMm);
        Assert.Equal("bench-small", recipe.Printers[0].Name);
        Assert.Equal(1.18, recipe.Resin.CuredDensity); // default of the resin record
        Assert.Equal(2.0, recipe.Stages[1].Settings["wallMm"]!.GetValue<double>());
        Assert.Equal(0.3, config.Host.Watch.SweepS);
    }

    [Fact]
    public void Every_mistake_of_a_recipe_is_told_at_once_with_its_line_and_range()
    {
        var all = Mistakes("""
            {
              // a comment, which is allowed
              "targett": { "percent": 200 },
              "target": { "percent": 200, "heightMm": 320 },
              "sourceMm": [120, 20],
              "printers": ["bench-smal"],
              "resin": 7,
              "mail": { "to": ["print room"], "when": "chek" },
              "stages": [
                { "stage": "inspct" },
                { "stage": "shell", "wallMm": 0.2, "tries": 1.5, "rule": "bth", "refine": "yes", "walMm": 2 }
              ],
            }
            """);
        string[] wanted =
        [
            "line 3, targett: \"targett\" is not a key here; did you mean \"target\"?",
            "line 4, target: Give exactly one way",
            "line 5, sourceMm: The least height 120 mm is not below the largest, 20 mm",
            "line 6, printers[0]: There is no printers/bench-smal.json; did you mean \"bench-small\"?",
            "line 7, resin: This is 7; write a text.",
            "line 8, mail.to[0]:",
            "line 8, mail.when: the text \"chek\" is not known here; write one of \"always\", \"check\", \"stop\", \"never\". Did you mean \"check\"?",
            "line 10, stages[0].stage: No stage \"inspct\" is loaded; did you mean \"inspect\"?",
            "line 11, stages[1].wallMm: 0.2 mm is out of range; write a number from 0.4 to 20 (mm).",
            "line 11, stages[1].tries: 1.5 is not whole; write a whole number from 1 to 9.",
            "line 11, stages[1].rule: the text \"bth\" is not known here; write one of \"both\", \"relative\".",
            "line 11, stages[1].refine: This is the text \"yes\"; write true or false.",
            "line 11, stages[1].walMm: \"walMm\" is not a key here; did you mean \"wallMm\"?",
        ];
        foreach (var w in wanted) Assert.Contains(all, m => m.StartsWith("folders/enlarge-200.json, ", StringComparison.Ordinal) && m.Contains(w, StringComparison.Ordinal));
        Assert.Equal(wanted.Length, all.Length);
    }

    [Fact]
    public void Text_that_is_no_json_is_told_with_line_and_character_and_other_files_are_still_checked()
    {
        _room.Write("resins/workshop-grey.json", "{ \"curedDensity\": 9 }");
        var all = Mistakes("{\n  \"target\": {\n    \"percent\" 200\n");
        Assert.Contains(all, m => m.StartsWith("folders/enlarge-200.json, line 3: This is not valid JSON, at character", StringComparison.Ordinal));
        Assert.Contains(all, m => m == "resins/workshop-grey.json, line 1, curedDensity: 9 g/cm3 is out of range; write a number from 0.8 to 2.5 (g/cm3).");
    }

    [Fact]
    public void A_key_given_twice_is_a_mistake() =>
        Assert.Contains(Mistakes(Workshop.Recipe.Replace("\"resin\"", "\"resin\": \"workshop-grey\", \"resin\"", StringComparison.Ordinal)), m => m.Contains("\"resin\" is given twice", StringComparison.Ordinal));

    [Fact]
    public void A_stage_that_changes_a_settled_thing_is_refused_naming_both()
    {
        var all = Mistakes(Workshop.Recipe.Replace("{ \"stage\": \"inspect\" }", "{ \"stage\": \"inspect\" }, { \"stage\": \"strut-thin\" }", StringComparison.Ordinal));
        Assert.Equal("folders/enlarge-200.json, line 6, stages[2]: \"shell\" changes the figure, which \"strut-thin\" (stages[1]) needs settled; put \"shell\" before \"strut-thin\".", Assert.Single(all));
    }

    [Theory]
    [InlineData("{ \"stage\": \"rescale\" }", true)] // filling is the stage's default
    [InlineData("{ \"stage\": \"rescale\", \"oldCavities\": \"fill\" }", true)]
    [InlineData("{ \"stage\": \"rescale\", \"oldCavities\": \"keep\" }", false)]
    [InlineData("{ \"stage\": \"rescale\" }, { \"stage\": \"shell\" }", false)]
    public void Filling_old_cavities_without_hollowing_again_is_refused(string stages, bool refused)
    {
        var all = Mistakes($$"""{ "target": { "percent": 200 }, "printers": ["bench-small"], "resin": "workshop-grey", "stages": [ {{stages}} ] }""");
        if (refused) Assert.Contains("no \"shell\" hollows the figure again", Assert.Single(all), StringComparison.Ordinal);
        else Assert.Empty(all);
    }

    [Theory]
    // Published values of the optimal string alignment distance (Wikipedia, "Damerau-Levenshtein distance" and "Levenshtein distance"; from memory).
    [InlineData("ca", "abc", 3)]
    [InlineData("kitten", "sitting", 3)]
    [InlineData("saturday", "sunday", 3)]
    [InlineData("wallMm", "wlalMm", 1)]
    [InlineData("", "abc", 3)]
    public void Distance_of_names_is_the_published_one(string a, string b, int distance) => Assert.Equal(distance, NearestName.Distance(a, b));

    [Fact]
    public void Nothing_near_gives_all_known_names()
    {
        Assert.Null(NearestName.Of("colour", ["wallMm", "tries"]));
        Assert.Equal("known are \"wallMm\", \"tries\".", NearestName.Advice("colour", ["wallMm", "tries"]));
    }

    [Fact]
    public void Settings_bind_to_the_stage_s_own_type()
    {
        var bound = SettingsBinder.Bind(typeof(ShellSettings), new JsonObject { ["wallMm"] = 1.5, ["tries"] = 5, ["bands"] = new JsonArray(1, 2.5), ["refine"] = true }, "shell");
        Assert.Empty(bound.Mistakes);
        var s = Assert.IsType<ShellSettings>(bound.Value);
        Assert.Equal((1.5, 5, "both", true), (s.WallMm, s.Tries, s.Rule, s.Refine));
        Assert.Equal([1, 2.5], s.Bands);
        var wrong = SettingsBinder.Bind(typeof(ShellSettings), new JsonObject { ["wallMm"] = 50, ["rule"] = "none" }, "shell");
        Assert.Null(wrong.Value);
        Assert.Equal(2, wrong.Mistakes.Count);
    }

    [Fact]
    public void A_slip_changes_only_what_the_recipe_lets_it()
    {
        var recipe = _room.Read().Recipes["enlarge-200"];
        var mistakes = new List<Mistake>();
        var slip = SlipReader.Read("""{ "front": [0, -1, 0], "noHoles": [ { "from": [0,0,0], "to": [5,5,5] } ], "change": { "shell.wallMm": 3 } }"""u8, "crab.slip.json", recipe, mistakes);
        Assert.Empty(mistakes);
        Assert.Equal(3, SlipReader.Applied(recipe, slip)[1].Settings["wallMm"]!.GetValue<int>());
        Assert.Equal(-1, slip.Slip.Front!.Value.Y);
        Assert.Single(slip.Slip.NoHoles);

        SlipReader.Read("""{ "up": [0,0,0], "keepSolid": [ { "from": [5,0,0], "to": [0,5,5] } ], "change": { "shell.walMm": 3 }, "font": [1,0,0] }"""u8, "crab.slip.json", recipe, mistakes);
        var one = Assert.Single(mistakes); // unknown keys first: the rest is not judged by guess
        Assert.Contains("did you mean \"front\"?", one.Text, StringComparison.Ordinal);
        mistakes.Clear();
        SlipReader.Read("""{ "up": [0,0,0], "keepSolid": [ { "from": [5,0,0], "to": [0,5,5] } ], "change": { "shell.walMm": 3 } }"""u8, "crab.slip.json", recipe, mistakes);
        Assert.Equal(3, mistakes.Count);
    }

    [Fact]
    public void Mail_is_no_part_of_a_job_s_identity_but_wall_resin_and_slip_are()
    {
        string Hash(string recipe, byte[]? slip = null)
        {
            _room.Write("folders/enlarge-200.json", recipe);
            return Jobs.JobRunner.RecipeHash(_room.Read().Recipes["enlarge-200"], slip);
        }

        var plain = Hash(Workshop.Recipe);
        Assert.Equal(plain, Hash(Workshop.Recipe.Replace("printroom@", "lead@", StringComparison.Ordinal)));
        Assert.NotEqual(plain, Hash(Workshop.Recipe.Replace("2.0", "2.1", StringComparison.Ordinal)));
        Assert.NotEqual(plain, Hash(Workshop.Recipe, "{}"u8.ToArray()));
        _room.Write("resins/workshop-grey.json", "{ \"exposureS\": 3 }");
        Assert.NotEqual(plain, Hash(Workshop.Recipe));
    }

    [Fact]
    public void A_password_over_an_open_line_and_a_state_folder_on_the_share_are_refused()
    {
        _room.Write("stiltwright.json", """{ "share": "/srv/room", "state": "/srv/room/state", "mail": { "server": "mail.example.org", "user": "room", "security": "none" } }""");
        var all = _room.Read().Mistakes;
        Assert.Contains(all, m => m.Path == "mail.security");
        Assert.Contains(all, m => m.Path == "state");
        Assert.Equal(2, all.Count);
    }

    /// <summary>The schemas are checked by a general-purpose validator (NJsonSchema), which must agree with our own check.</summary>
    [Fact]
    public async Task Another_validator_agrees_on_right_and_wrong_files()
    {
        foreach (var (schema, folder) in new[] { ("printer", "printers"), ("resin", "resins"), ("host", "") })
        {
            var read = await JsonSchema.FromJsonAsync(SchemaFiles.All(Workshop.Catalog)[schema + ".schema.json"]);
            var files = folder.Length > 0 ? Directory.GetFiles(Path.Combine(AppContext.BaseDirectory, "config", folder)) : [Path.Combine(AppContext.BaseDirectory, "config", "stiltwright.json")];
            Assert.NotEmpty(files);
            foreach (var f in files) Assert.Empty(read.Validate(Plain(File.ReadAllText(f))));
            Assert.NotEmpty(read.Validate("""{ "colour": 1 }"""));
        }

        var recipe = await JsonSchema.FromJsonAsync(SchemaFiles.All(Workshop.Catalog)["recipe.schema.json"]);
        Assert.Empty(recipe.Validate(Plain(Workshop.Recipe)));
        Assert.NotEmpty(recipe.Validate(Plain(Workshop.Recipe.Replace("2.0", "0.2", StringComparison.Ordinal))));
    }

    [Theory]
    [InlineData("host")]
    [InlineData("printer")]
    [InlineData("resin")]
    [InlineData("slip")]
    public void The_schema_files_are_those_that_the_program_writes(string name) =>
        Assert.Equal(SchemaFiles.All(Workshop.Catalog)[name + ".schema.json"], File.ReadAllText(Path.Combine(AppContext.BaseDirectory, "config", "schema", name + ".schema.json")));

    [Fact]
    public void A_printer_or_resin_key_that_its_record_does_not_have_would_be_noticed()
    {
        static string[] Keys(GroupShape s) => [.. s.Fields.Select(f => f.Key).Order(StringComparer.Ordinal)];
        static string[] Properties(Type t) => [.. t.GetProperties().Where(p => p.CanWrite && p.Name != "Name").Select(SettingsBinder.Key).Order(StringComparer.Ordinal)];
        Assert.Equal(Properties(typeof(Stiltwright.Printing.Resin.ResinData)), Keys(FileShapes.Resin));
        Assert.Equal(Properties(typeof(Stiltwright.Printing.Resin.PrinterData)), Keys(FileShapes.Printer));
    }

    private static string Plain(string text)
    {
        var mistakes = new List<Mistake>();
        return ConfigNode.Parse(Encoding.UTF8.GetBytes(text), "test", mistakes)!.ToJson()!.ToJsonString();
    }
}
