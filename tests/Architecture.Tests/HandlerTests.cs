using JasperFx;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Plugins;

namespace Stiltwright.Architecture.Tests;

/// <summary>The engine's handlers are made ahead of time and kept with the source; one that is out of date would be found only when a job comes.</summary>
public class HandlerTests
{
    [Fact]
    public async Task The_handlers_that_are_kept_are_those_that_the_engine_makes_today()
    {
        var folder = Directory.CreateTempSubdirectory("stiltwright-handlers-").FullName;
        try
        {
            Environment.SetEnvironmentVariable(Engine.HandlersTo, Path.Combine(folder, "made"));
            var config = new Config("", new HostSettings { State = Path.Combine(folder, "state") }, new Dictionary<string, Recipe>(), []);
            using (var host = ServiceHost.Build(config, new PluginCatalog([]), folder, new ServiceParts { ConsoleLog = false }))
                Assert.Equal(0, await host.RunJasperFxCommands(["codegen", "write"]));

            var made = Texts(Path.Combine(folder, "made"));
            var kept = Texts(Path.Combine(Repository(), "src", "Host", "Internal", "Generated"));
            Assert.True(made.Count >= 4, $"only {made.Count} files were made");
            Assert.Equal(made.Keys.Order(StringComparer.Ordinal), kept.Keys.Order(StringComparer.Ordinal));
            Assert.All(made, m => Assert.Equal(m.Value, kept[m.Key]));
        }
        finally
        {
            Environment.SetEnvironmentVariable(Engine.HandlersTo, null);
            Directory.Delete(folder, true);
        }
    }

    private static Dictionary<string, string> Texts(string folder) =>
        Directory.GetFiles(folder, "*.cs", SearchOption.AllDirectories).ToDictionary(f => Path.GetRelativePath(folder, f), f => File.ReadAllText(f).ReplaceLineEndings("\n").Trim(), StringComparer.Ordinal);

    private static string Repository()
    {
        for (var d = new DirectoryInfo(AppContext.BaseDirectory); d is not null; d = d.Parent)
            if (File.Exists(Path.Combine(d.FullName, "Stiltwright.slnx"))) return d.FullName;
        throw new FileNotFoundException("Stiltwright.slnx is in no folder above the tests; run them from the repository.");
    }
}
