using System.Text.Json;
using System.Text.Json.Nodes;

namespace Stiltwright.Host.Configuration;

/// <summary>Writes shapes as JSON schema (draft 2020-12), so that editors can help while a person types.</summary>
public static class SchemaWriter
{
    private static readonly JsonSerializerOptions Indented = new() { WriteIndented = true, Encoder = System.Text.Encodings.Web.JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    /// <summary>The whole schema of one kind of file, with a closing line end.</summary>
    public static string Write(string title, Shape shape)
    {
        var o = new JsonObject { ["$schema"] = "https://json-schema.org/draft/2020-12/schema", ["title"] = title };
        foreach (var (k, v) in Of(shape)) o[k] = v?.DeepClone();
        if (shape is GroupShape && o["properties"] is JsonObject p) p["$schema"] = new JsonObject { ["type"] = "string" };
        return Text(o);
    }

    /// <summary>A schema as it stands in its file.</summary>
    public static string Text(JsonNode schema) => schema.ToJsonString(Indented).ReplaceLineEndings("\n") + "\n";

    /// <summary>The schema of a shape.</summary>
    public static JsonObject Of(Shape shape)
    {
        var o = new JsonObject();
        switch (shape)
        {
            case NumberShape n:
                o["type"] = n.Whole ? "integer" : "number";
                if (double.IsFinite(n.Least)) o["minimum"] = n.Least;
                if (double.IsFinite(n.Most)) o["maximum"] = n.Most;
                break;
            case TextShape t:
                o["type"] = "string";
                if (t.OneOf.Count > 0) o["enum"] = new JsonArray([.. t.OneOf.Select(w => (JsonNode)w)]);
                else if (!t.MayBeEmpty) o["minLength"] = 1;
                break;
            case TruthShape:
                o["type"] = "boolean";
                break;
            case ListShape l:
                o["type"] = "array";
                o["items"] = Of(l.Item);
                if (l.Least > 0) o["minItems"] = l.Least;
                if (l.Most < int.MaxValue) o["maxItems"] = l.Most;
                break;
            case GroupShape g:
                o["type"] = "object";
                var properties = new JsonObject();
                foreach (var f in g.Fields)
                {
                    var p = Of(f.Shape);
                    var unit = f.Shape is NumberShape { Unit.Length: > 0 } n ? $" [{n.Unit}]" : "";
                    p["description"] = f.Meaning + unit;
                    if (f.Default is not null) p["default"] = f.Default.DeepClone();
                    properties[f.Key] = p;
                }

                o["properties"] = properties;
                var required = g.Fields.Where(f => f.Required).Select(f => (JsonNode)f.Key).ToArray();
                if (required.Length > 0) o["required"] = new JsonArray(required);
                o["additionalProperties"] = g.OthersAllowed;
                break;
        }

        return o;
    }
}
