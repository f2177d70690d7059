using Stiltwright.Sdk;

namespace Stiltwright.Host.Plugins;

/// <summary>A stage that can be used, and where it comes from.</summary>
/// <param name="Name">Name in recipes.</param>
/// <param name="Version">Its version.</param>
/// <param name="SettingsType">Type of its settings.</param>
/// <param name="Changes">What it changes.</param>
/// <param name="Settles">What must be settled before it.</param>
/// <param name="From">The DLL it was loaded from.</param>
/// <param name="Create">Makes a fresh instance; one serves one job.</param>
public sealed record StageInfo(string Name, string Version, Type SettingsType, Parts Changes, Parts Settles, string From, Func<IStage> Create)
{
    /// <summary>Describes a stage type by making one.</summary>
    public static StageInfo Of(Type type, string from)
    {
        IStage Make() => (IStage)(Activator.CreateInstance(type) ?? throw new InvalidOperationException($"{type} could not be made."));
        var stage = Make();
        return new StageInfo(stage.Name, stage.Version, stage.SettingsType, stage.Changes, stage.Settles, from, Make);
    }
}
