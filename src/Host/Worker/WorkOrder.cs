using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.Json.Serialization;
using Stiltwright.Geometry;
using Stiltwright.Printing.Resin;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Worker;

/// <summary>
/// Everything the child process needs for one run of one job, written by the host into scratch. It holds the effective
/// recipe itself, not its name alone, so that a configuration changed meanwhile changes nothing of a running job.
/// </summary>
public sealed record WorkOrder
{
    /// <summary>The job's id in the ledger; free text for <c>prepare</c>.</summary>
    public required string JobId { get; init; }

    /// <summary>Number of the set, named aloud.</summary>
    public required string Number { get; init; }

    /// <summary>The scratch copy of the source.</summary>
    public required string SourcePath { get; init; }

    /// <summary>Its name on the share, without folder.</summary>
    public required string SourceName { get; init; }

    /// <summary>Name of the drop folder, for the summary.</summary>
    public required string Folder { get; init; }

    /// <summary>Name of the recipe.</summary>
    public required string RecipeName { get; init; }

    /// <summary>What the figure is to become.</summary>
    public required TargetSize Target { get; init; }

    /// <summary>Least and most standing height expected of a source, mm; null where the recipe says nothing.</summary>
    public double[]? SourceMm { get; init; }

    /// <summary>The printers, in the order in which they are tried.</summary>
    public required IReadOnlyList<PrinterData> Printers { get; init; }

    /// <summary>The resin.</summary>
    public required ResinData Resin { get; init; }

    /// <summary>The slip, empty where none was given.</summary>
    public Slip Slip { get; init; } = new();

    /// <summary>The stages in order.</summary>
    public required IReadOnlyList<StageOrder> Stages { get; init; }

    /// <summary>Folders in which plug-ins lie, one sub-folder each.</summary>
    public required IReadOnlyList<string> PluginFolders { get; init; }

    /// <summary>SHA-256 of the DLLs that folders other than the program's own may hold; empty where every one may be used.</summary>
    public IReadOnlyList<string> AllowedPlugins { get; init; } = [];

    /// <summary>Empty folder in scratch that receives the set.</summary>
    public required string OutDir { get; init; }

    /// <summary>JSON options for orders: camelCase, vectors as arrays of three numbers.</summary>
    public static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web)
    {
        WriteIndented = true,
        NumberHandling = JsonNumberHandling.AllowNamedFloatingPointLiterals,
        Converters = { new JsonStringEnumConverter(), new Vec3Json() },
    };

    /// <summary>Reads an order.</summary>
    public static WorkOrder Read(string path)
    {
        using var stream = File.OpenRead(path);
        return JsonSerializer.Deserialize<WorkOrder>(stream, Json) ?? throw new InvalidDataException($"The work order {path} is empty.");
    }

    /// <summary>Writes the order.</summary>
    public void Write(string path) => File.WriteAllText(path, JsonSerializer.Serialize(this, Json));
}

/// <summary>One stage of the effective recipe.</summary>
/// <param name="Stage">Name of the stage.</param>
/// <param name="Settings">Its settings as written, without the name.</param>
public sealed record StageOrder(string Stage, JsonObject Settings);

/// <summary>Vectors as [x, y, z].</summary>
public sealed class Vec3Json : JsonConverter<Vec3>
{
    /// <inheritdoc/>
    public override Vec3 Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options)
    {
        var a = JsonSerializer.Deserialize<double[]>(ref reader, options);
        return a is { Length: 3 } ? new Vec3(a[0], a[1], a[2]) : throw new JsonException("A place or direction is three numbers.");
    }

    /// <inheritdoc/>
    public override void Write(Utf8JsonWriter writer, Vec3 value, JsonSerializerOptions options)
    {
        writer.WriteStartArray();
        writer.WriteNumberValue(value.X);
        writer.WriteNumberValue(value.Y);
        writer.WriteNumberValue(value.Z);
        writer.WriteEndArray();
    }
}
