using Stiltwright.Host.Plugins;
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
    public void The_contract_s_version_is_the_version_of_its_assembly()
    {
        var version = typeof(IStage).Assembly.GetName().Version!;
        Assert.Equal((Contract.Major, Contract.Minor), (version.Major, version.Minor));
    }
}
