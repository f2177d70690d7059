using System.Text.Json.Nodes;
using Stiltwright.Geometry;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Plugins;
using Stiltwright.Printing.Resin;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Tests;

public sealed class PluginTests : IDisposable
{
    private readonly Workshop _room = new();

    public void Dispose() => _room.Dispose();

    private string Folder(string name, params string[] files)
    {
        var folder = Directory.CreateDirectory(Path.Combine(_room.Root, "plugins", name)).FullName;
        foreach (var f in files) File.Copy(Path.Combine(AppContext.BaseDirectory, f), Path.Combine(folder, f));
        return folder;
    }

    private PluginCatalog Load() => PluginCatalog.Load([Path.Combine(_room.Root, "plugins")]);

    [Fact]
    public void A_dll_in_the_folder_is_loaded_against_the_host_s_own_contract()
    {
        Folder("Ours", "Stiltwright.Host.Tests.dll"); // this very assembly holds stages
        var catalog = Load();
        Assert.Empty(catalog.Problems);
        Assert.Equal(["inspect", "rescale", "shell", "strut-thin"], catalog.Stages.Keys.Order());
        var shell = catalog.Stages["shell"];
        Assert.IsAssignableFrom<IStage>(shell.Create());
        Assert.NotSame(shell.Create(), shell.Create());
        Assert.NotEqual(typeof(ShellStage), shell.Create().GetType()); // another load of the assembly, the same contract
        File.Delete(shell.From); // never locked
    }

    [Fact]
    public void The_sample_of_a_custom_stage_loads_and_weighs_the_parcel()
    {
        Folder("ParcelCheck", "ParcelCheck.dll");
        var catalog = Load();
        Assert.Empty(catalog.Problems);
        var mesh = Mesh.Empty(Lattice.For(1));
        var figure = new Workpiece
        {
            Source = new SourceFigure("ray.stl", new string('0', 64), mesh, new ShellSet(mesh, [], []), 0),
            Estimate = new SetEstimate([], [], [], 2300, 2400, 3600, 90, "EUR", 300, 300),
        };
        var settings = SettingsBinder.Bind(catalog.Stages["parcel-check"].SettingsType, JsonNode.Parse("""{ "mostG": 2250 }""")!.AsObject(), "stage parcel-check").Value!;
        var context = new Listening();
        var result = catalog.Stages["parcel-check"].Create().Run(figure, settings, context, CancellationToken.None);
        Assert.Same(figure, result.Workpiece);
        Assert.Contains("2300 g", Assert.Single(context.Said).Text, StringComparison.Ordinal);
    }

    /// <summary>Keeps what a stage reports; nothing else of the job is there.</summary>
    private sealed class Listening : IStageContext
    {
        public List<Finding> Said { get; } = [];
        public ResinData Resin => throw new NotSupportedException("This stage asks for no resin.");
        public IReadOnlyList<PrinterData> Printers => [];
        public TargetSize Target => new(200, null, null, null);
        public (double Least, double Most)? SourceMm => null;
        public Slip Slip => new();
        public int TimesGoneBack => 0;
        public bool RunsLater(string stage) => false;
        public void Report(Finding finding) => Said.Add(finding);
        public void Measure(string name, double value, string unit) => Assert.Equal(("parcel", 2300.0, "g"), (name, value, unit));
        public void Progress(double share) => Assert.InRange(share, 0, 1);
        public void AddExtra(string fileName, Mesh mesh, string what) => Assert.Fail("This stage adds no file.");
    }

    [Fact]
    public void A_dll_replaced_while_its_stages_are_in_use_is_not_locked_and_the_next_load_has_the_new_one()
    {
        var dll = Path.Combine(Folder("Stage"), "Stage.dll");
        File.Copy(Path.Combine(AppContext.BaseDirectory, "Stiltwright.Host.Tests.dll"), dll);
        var running = Load();
        using (var replaced = new FileStream(dll, FileMode.Create, FileAccess.Write, FileShare.None)) // fails where anybody holds it
            replaced.Write(File.ReadAllBytes(Path.Combine(AppContext.BaseDirectory, "ParcelCheck.dll")));
        Assert.Equal("shell", running.Stages["shell"].Create().Name); // the job in hand goes on with what it began with
        Assert.Equal(["parcel-check"], Load().Stages.Keys); // each worker process loads for itself
    }

    [Fact]
    public void A_running_service_takes_up_changed_stages_without_a_restart_and_keeps_the_last_good_ones()
    {
        var plugins = Path.Combine(_room.Root, "plugins");
        Directory.CreateDirectory(HostSettings.OwnPlugins);
        Folder("Ours", "Stiltwright.Host.Tests.dll");
        _room.Write("stiltwright.json", $$"""{ "pluginFolders": ["{{plugins.Replace('\\', '/')}}"] }""");
        PluginCatalog? catalog = null;
        var config = ConfigReader.Read(_room.ConfigFolder, host => catalog = PluginCatalog.Load(host.AllPluginFolders));
        Assert.Empty(config.Mistakes);
        var state = new Jobs.ServiceState(config, catalog!, _room.Share);
        var watch = new ConfigWatch(state, Microsoft.Extensions.Logging.Abstractions.NullLogger<ConfigWatch>.Instance);
        Assert.False(watch.Look());
        Folder("ParcelCheck", "ParcelCheck.dll");
        Assert.False(watch.Look()); // somebody may still be copying
        Assert.True(watch.Look());
        Assert.Contains("parcel-check", state.Catalog.Stages.Keys);

        File.WriteAllText(Path.Combine(plugins, "Ours", "Stiltwright.Host.Tests.dll"), "half a file");
        Assert.False(watch.Look());
        Assert.False(watch.Look());
        Assert.Contains("shell", state.Catalog.Stages.Keys); // the recipes need it: the last good one goes on
        Assert.Contains("the last good one goes on", Assert.Single(state.Notices.Values), StringComparison.Ordinal);
    }

    [Fact]
    public void What_cannot_be_used_is_told_and_the_others_load()
    {
        Folder("Good", "Stiltwright.Host.Tests.dll");
        Folder("Empty");
        Folder("NoStage", "Stiltwright.FakeWorker.dll");
        File.WriteAllText(Path.Combine(Folder("Text"), "stage.dll"), "not a DLL");
        Folder("Two", "Stiltwright.FakeWorker.dll", "Stiltwright.Host.Tests.dll");
        Folder("Twice", "Stiltwright.Host.Tests.dll");
        var catalog = Load();
        Assert.Equal(4, catalog.Stages.Count);
        string[] wanted = ["There is no DLL", "It does not use Stiltwright.Sdk", "It cannot be read", "It is not clear which of 2 DLLs", "has the name of one that is already loaded"];
        foreach (var w in wanted) Assert.Contains(catalog.Problems, p => p.Text.Contains(w, StringComparison.Ordinal));
        Assert.Contains("There is no such plug-in folder", Assert.Single(PluginCatalog.Load([Path.Combine(_room.Root, "none")]).Problems).Text, StringComparison.Ordinal);
    }

    [Fact]
    public void A_folder_that_ordinary_users_can_write_to_is_refused()
    {
        if (OperatingSystem.IsWindows()) return; // there it is the access list; giving it away needs rights that a test has not
        var good = Folder("Good", "Stiltwright.Host.Tests.dll");
        Assert.NotEmpty(Load().Stages);
        foreach (var open in new[] { Path.Combine(good, "Stiltwright.Host.Tests.dll"), good, Path.Combine(_room.Root, "plugins"), _room.Root })
        {
            var mode = File.GetUnixFileMode(open);
            File.SetUnixFileMode(open, mode | UnixFileMode.OtherWrite);
            var catalog = Load();
            Assert.Empty(catalog.Stages);
            Assert.Contains($"Ordinary users can write to {open},", Assert.Single(catalog.Problems).Text, StringComparison.Ordinal);
            File.SetUnixFileMode(open, mode);
        }
    }

    [Fact]
    public void With_a_list_of_hashes_only_listed_dlls_are_loaded()
    {
        var dll = Path.Combine(Folder("Good", "Stiltwright.Host.Tests.dll"), "Stiltwright.Host.Tests.dll");
        var folders = new[] { Path.Combine(_room.Root, "plugins") };
        var sha = Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(File.ReadAllBytes(dll)));
        Assert.Equal(4, PluginCatalog.Load(folders, [sha.ToUpperInvariant()]).Stages.Count);
        var refused = PluginCatalog.Load(folders, [new string('0', 64)]);
        Assert.Empty(refused.Stages);
        Assert.Contains(sha, Assert.Single(refused.Problems).Text, StringComparison.Ordinal);
    }

    [Fact]
    public void The_contract_s_version_is_the_version_of_its_assembly()
    {
        var version = typeof(IStage).Assembly.GetName().Version!;
        Assert.Equal((Contract.Major, Contract.Minor), (version.Major, version.Minor));
    }
}
