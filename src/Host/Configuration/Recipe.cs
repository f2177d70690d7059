using Stiltwright.Host.Worker;
using Stiltwright.Printing.Resin;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Configuration;

/// <summary>What a drop folder does: config/folders/NAME.json with its printers and resin looked up.</summary>
public sealed record Recipe
{
    /// <summary>Name of the file without ending, and of the drop folder it serves.</summary>
    public required string Name { get; init; }

    /// <summary>What the figure is to become.</summary>
    public required TargetSize Target { get; init; }

    /// <summary>Standing height expected of a source, least and most, mm.</summary>
    public double[]? SourceMm { get; init; }

    /// <summary>The printers, in the order in which they are tried.</summary>
    public required IReadOnlyList<PrinterData> Printers { get; init; }

    /// <summary>The resin.</summary>
    public required ResinData Resin { get; init; }

    /// <summary>The stages in order.</summary>
    public required IReadOnlyList<StageOrder> Stages { get; init; }

    /// <summary>Settings that a slip may change, each "stage.setting".</summary>
    public IReadOnlyList<string> SlipMayChange { get; init; } = [];

    /// <summary>Who gets mail; null for nobody.</summary>
    public RecipeMail? Mail { get; init; }
}

/// <summary>Mail of a recipe.</summary>
/// <param name="To">Addresses.</param>
/// <param name="When">"always", "check", "stop" or "never".</param>
public sealed record RecipeMail(IReadOnlyList<string> To, string When)
{
    /// <summary>True if an outcome of that level is to be told.</summary>
    public bool Wants(Level worst) => When switch
    {
        "always" => true,
        "check" => worst >= Level.Check,
        "stop" => worst >= Level.Stop,
        _ => false,
    };
}

/// <summary>The whole configuration as read, together with everything that is wrong with it.</summary>
/// <param name="Folder">The configuration folder.</param>
/// <param name="Host">Host settings; defaults where the file was wrong.</param>
/// <param name="Recipes">The recipes without a mistake, by name.</param>
/// <param name="Mistakes">All mistakes of all files.</param>
public sealed record Config(string Folder, HostSettings Host, IReadOnlyDictionary<string, Recipe> Recipes, IReadOnlyList<Mistake> Mistakes);
