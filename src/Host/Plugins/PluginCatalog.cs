using System.Reflection;
using System.Reflection.Metadata;
using System.Reflection.PortableExecutable;
using McMaster.NETCore.Plugins;
using Stiltwright.Geometry;
using Stiltwright.Host.Configuration;
using Stiltwright.Printing.Resin;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Plugins;

/// <summary>
/// The stages found in the plug-in folders, one sub-folder a plug-in. A plug-in that cannot be used is told in a sentence
/// and left out; the others load. Ours are loaded by this same path.
/// </summary>
public sealed class PluginCatalog
{
    // The contract and what it speaks of come from the host, whatever lies beside a stage.
    private static readonly Type[] Shared = [typeof(IStage), typeof(ResinData), typeof(Mesh)];

    private readonly Dictionary<string, StageInfo> _stages = new(StringComparer.Ordinal);
    private readonly List<Mistake> _problems = [];

    /// <summary>Made from stages that are already at hand, as tests have them.</summary>
    public PluginCatalog(IEnumerable<StageInfo> stages)
    {
        foreach (var s in stages) _stages.Add(s.Name, s);
    }

    /// <summary>The stages by name.</summary>
    public IReadOnlyDictionary<string, StageInfo> Stages => _stages;

    /// <summary>What could not be loaded, and why.</summary>
    public IReadOnlyList<Mistake> Problems => _problems;

    /// <summary>Loads every plug-in of the folders. A folder that does not exist is a problem unless it is the program's own.</summary>
    /// <param name="folders">The folders, the program's own among them.</param>
    /// <param name="allowed">SHA-256 of the DLLs that folders other than the program's own may hold; null or empty where every one may be used.</param>
    public static PluginCatalog Load(IReadOnlyList<string> folders, IReadOnlyList<string>? allowed = null)
    {
        var catalog = new PluginCatalog([]);
        foreach (var folder in folders)
        {
            if (!Directory.Exists(folder))
            {
                catalog.Problem(folder, "There is no such plug-in folder; make it or take it out of \"pluginFolders\".");
                continue;
            }

            // Whoever can write to the program's own folder can replace the program itself: nothing is gained by refusing it.
            var own = Path.GetFullPath(folder) == Configuration.HostSettings.OwnPlugins;
            if (!own && PluginGuard.WritableByOthers(folder) is { } open)
            {
                catalog.Problem(folder, $"Ordinary users can write to {open}, and a stage runs with the rights of the service; nothing is loaded from this folder. Take that right away (Linux: chmod o-w; Windows: remove Users' right to write).");
                continue;
            }

            foreach (var sub in Directory.GetDirectories(folder).Order(StringComparer.Ordinal))
            {
                if (!own && allowed is { Count: > 0 } && PluginGuard.NotAllowed(sub, allowed) is { } stranger)
                    catalog.Problem(stranger.Path, $"Its SHA-256 {stranger.Sha256} is not in \"allowedPlugins\"; the plug-in is not loaded. Add the hash if you trust this file.");
                else
                    catalog.LoadOne(sub);
            }
        }

        return catalog;
    }

    private void LoadOne(string folder)
    {
        if (MainDll(folder) is not { } dll) return;
        if (!BuiltForUs(dll)) return;
        try
        {
            // Read into memory: a DLL that is replaced while we run is never locked, and the next job has the new one.
            var loader = PluginLoader.CreateFromAssemblyFile(Path.GetFullPath(dll), Shared, c =>
            {
                c.LoadInMemory = true;
                c.IsUnloadable = true;
            });
            var types = loader.LoadDefaultAssembly().GetTypes().Where(t => t is { IsClass: true, IsAbstract: false } && typeof(IStage).IsAssignableFrom(t)).ToArray();
            if (types.Length == 0) Problem(dll, "No class in it is a stage; a stage implements IStage of Stiltwright.Sdk. Was the project built as a stage?");
            foreach (var type in types.OrderBy(t => t.FullName, StringComparer.Ordinal)) Add(type, dll);
        }
        catch (ReflectionTypeLoadException e)
        {
            var reasons = e.LoaderExceptions.Where(x => x is not null).Select(x => x!.Message).Distinct().Take(3);
            Problem(dll, $"Some of its types do not load: {string.Join(" ", reasons)} It was probably built against another version of the contract or lacks a DLL beside it; build it anew against contract {Contract.Major}.{Contract.Minor}.");
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or BadImageFormatException or TypeLoadException)
        {
            Problem(dll, $"It cannot be loaded: {e.Message}");
        }
    }

    private void Add(Type type, string dll)
    {
        StageInfo info;
        try
        {
            info = StageInfo.Of(type, dll);
            SettingsBinder.ShapeOf(info.SettingsType);
        }
        catch (Exception e)
        {
            // Foreign code runs here; whatever it throws is its own fault and is told as such.
            var inner = e is TargetInvocationException { InnerException: { } i } ? i : e;
            Problem(dll, $"The stage {type.FullName} cannot be made: {inner.Message}");
            return;
        }

        if (_stages.TryGetValue(info.Name, out var other))
            Problem(dll, $"Its stage \"{info.Name}\" has the name of one that is already loaded from {other.From}; that one is used. Rename one of them.");
        else
            _stages.Add(info.Name, info);
    }

    /// <summary>The DLL that a folder is about: the one with a .deps.json beside it, else the only one.</summary>
    private string? MainDll(string folder)
    {
        var dlls = Directory.GetFiles(folder, "*.dll").Order(StringComparer.Ordinal).ToArray();
        var withDeps = dlls.Where(d => File.Exists(Path.ChangeExtension(d, ".deps.json"))).ToArray();
        if (withDeps.Length == 1) return withDeps[0];
        if (withDeps.Length == 0 && dlls.Length == 1) return dlls[0];
        Problem(folder, dlls.Length == 0
            ? "There is no DLL in this plug-in folder; put the published output of one stage project into it."
            : $"It is not clear which of {dlls.Length} DLLs is the stage; exactly one must have its .deps.json beside it. Publish the project with <EnableDynamicLoading>true</EnableDynamicLoading>.");
        return null;
    }

    /// <summary>Reads, without running anything, which contract the DLL was built for.</summary>
    private bool BuiltForUs(string dll)
    {
        try
        {
            using var stream = File.OpenRead(dll);
            using var pe = new PEReader(stream);
            if (!pe.HasMetadata)
            {
                Problem(dll, "It is not a .NET DLL.");
                return false;
            }

            var meta = pe.GetMetadataReader();
            foreach (var handle in meta.AssemblyReferences)
            {
                var reference = meta.GetAssemblyReference(handle);
                if (meta.GetString(reference.Name) != "Stiltwright.Sdk") continue;
                if (reference.Version.Major == Contract.Major && reference.Version.Minor <= Contract.Minor) return true;
                Problem(dll, $"It was built for stage contract {reference.Version.Major}.{reference.Version.Minor}; this program has {Contract.Major}.{Contract.Minor}. Build it anew against the program's Stiltwright.Sdk.");
                return false;
            }

            Problem(dll, "It does not use Stiltwright.Sdk, so there is no stage in it; a stage project refers to Stiltwright.Sdk.");
            return false;
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or BadImageFormatException)
        {
            Problem(dll, $"It cannot be read: {e.Message}");
            return false;
        }
    }

    private void Problem(string file, string text) => _problems.Add(new Mistake(file, 0, "", text));
}
