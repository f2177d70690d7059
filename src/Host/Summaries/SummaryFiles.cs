using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Serialization;
using Stiltwright.Geometry;
using Stiltwright.Host.Worker;

namespace Stiltwright.Host.Summaries;

/// <summary>Reads and writes <c>summary.json</c> and <c>struts.json</c>. Numbers are written whole; a NaN or infinity is an error, never a file.</summary>
public static class SummaryFiles
{
    /// <summary>Name of the summary for programs.</summary>
    public const string SummaryName = "summary.json";

    /// <summary>Name of the summary for people.</summary>
    public const string PageName = "summary.html";

    /// <summary>Name of the list of struts.</summary>
    public const string StrutsName = "struts.json";

    /// <summary>Folder of the pictures.</summary>
    public const string PicturesName = "pictures";

    /// <summary>camelCase keys, words for levels, vectors and matrices as flat arrays, nothing for what is not known.</summary>
    public static readonly JsonSerializerOptions Json = new()
    {
        PropertyNamingPolicy = JsonNamingPolicy.CamelCase,
        DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull,
        WriteIndented = true,
        IndentSize = 1,
        UnmappedMemberHandling = JsonUnmappedMemberHandling.Skip,
        // The file stands alone and is never pasted into a page, so names in other scripts stay readable.
        Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
        Converters = { new JsonStringEnumConverter(JsonNamingPolicy.CamelCase, allowIntegerValues: false), new Vec3Json(), new AffineJson() },
    };

    /// <summary>Writes the summary into a set's folder.</summary>
    public static void Write(string folder, Summary summary) => WriteFile(Path.Combine(folder, SummaryName), summary);

    /// <summary>Writes the list of struts into a set's folder.</summary>
    public static void Write(string folder, StrutsFile struts) => WriteFile(Path.Combine(folder, StrutsName), struts);

    /// <summary>Reads the summary of a set.</summary>
    /// <exception cref="InvalidDataException">The file is no summary of this format; the message names it.</exception>
    public static Summary Read(string folder)
    {
        var s = ReadFile<Summary>(Path.Combine(folder, SummaryName));
        return s.Format == 1 ? s : throw new InvalidDataException($"{Path.Combine(folder, SummaryName)} has format {s.Format}; this program reads format 1.");
    }

    /// <summary>Reads the list of struts of a set.</summary>
    /// <exception cref="InvalidDataException">The file is no list of struts; the message names it.</exception>
    public static StrutsFile ReadStruts(string folder) => ReadFile<StrutsFile>(Path.Combine(folder, StrutsName));

    private static void WriteFile<T>(string path, T value)
    {
        using var stream = new FileStream(path, FileMode.Create, FileAccess.Write);
        JsonSerializer.Serialize(stream, value, Json);
    }

    private static T ReadFile<T>(string path)
    {
        using var stream = File.OpenRead(path);
        try
        {
            return JsonSerializer.Deserialize<T>(stream, Json) ?? throw new InvalidDataException($"{path} holds nothing.");
        }
        catch (JsonException e)
        {
            throw new InvalidDataException($"{path} cannot be read: {e.Message}", e);
        }
    }
}

/// <summary>Maps as the 16 numbers of the 4x4 matrix, row-major.</summary>
public sealed class AffineJson : JsonConverter<Affine>
{
    /// <inheritdoc/>
    public override Affine Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options)
    {
        var m = JsonSerializer.Deserialize<double[]>(ref reader, options);
        if (m is not { Length: 16 } || m[12] != 0 || m[13] != 0 || m[14] != 0 || m[15] != 1)
            throw new JsonException("A placement is 16 numbers, row by row, the last row 0 0 0 1.");
        return new Affine(m[0], m[1], m[2], m[4], m[5], m[6], m[8], m[9], m[10], new Vec3(m[3], m[7], m[11]));
    }

    /// <inheritdoc/>
    public override void Write(Utf8JsonWriter writer, Affine value, JsonSerializerOptions options)
    {
        writer.WriteStartArray();
        foreach (var x in value.ToRowMajor()) writer.WriteNumberValue(x);
        writer.WriteEndArray();
    }
}
