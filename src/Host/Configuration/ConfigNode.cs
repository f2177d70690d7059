using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;

namespace Stiltwright.Host.Configuration;

/// <summary>Kind of a value in a configuration file.</summary>
public enum NodeKind
{
    /// <summary>Keys and values in braces.</summary>
    Group,

    /// <summary>Values in brackets.</summary>
    List,

    /// <summary>Text in quotes.</summary>
    Text,

    /// <summary>A number.</summary>
    Number,

    /// <summary>true or false.</summary>
    Truth,

    /// <summary>null.</summary>
    Nothing,
}

/// <summary>
/// A value of a JSON file that remembers its line. Comments and trailing commas are allowed, a key given twice is not.
/// </summary>
public sealed class ConfigNode
{
    private const int DeepestNesting = 32;

    /// <summary>Largest file that is read, bytes: a configuration is small, and a slip comes from a share.</summary>
    public const int LargestFile = 1 << 20;

    private ConfigNode(NodeKind kind, int line)
    {
        Kind = kind;
        Line = line;
    }

    /// <summary>What it is.</summary>
    public NodeKind Kind { get; }

    /// <summary>Line from 1.</summary>
    public int Line { get; }

    /// <summary>The text, of a text.</summary>
    public string Text { get; private init; } = "";

    /// <summary>The number, of a number.</summary>
    public double Number { get; private init; }

    /// <summary>The truth, of a truth.</summary>
    public bool Truth { get; private init; }

    /// <summary>Keys and values of a group, in the order of the file.</summary>
    public IReadOnlyList<KeyValuePair<string, ConfigNode>> Members { get; private init; } = [];

    /// <summary>Values of a list.</summary>
    public IReadOnlyList<ConfigNode> Items { get; private init; } = [];

    /// <summary>The value of a key, or null.</summary>
    public ConfigNode? Find(string key)
    {
        foreach (var (k, v) in Members)
            if (k == key) return v;
        return null;
    }

    /// <summary>The same group without one of its keys.</summary>
    public ConfigNode Without(string key) => new(Kind, Line) { Members = [.. Members.Where(m => m.Key != key)] };

    /// <summary>How it is named in a message.</summary>
    public string Describe() => Kind switch
    {
        NodeKind.Group => "a group in braces",
        NodeKind.List => $"a list of {Items.Count}",
        NodeKind.Text => $"the text \"{(Text.Length > 60 ? Text[..60] + "..." : Text)}\"",
        NodeKind.Number => Number.ToString("R", null),
        NodeKind.Truth => Truth ? "true" : "false",
        _ => "null",
    };

    /// <summary>The same as a JSON node.</summary>
    public JsonNode? ToJson() => Kind switch
    {
        NodeKind.Group => new JsonObject(Members.Select(m => KeyValuePair.Create(m.Key, m.Value.ToJson()))),
        NodeKind.List => new JsonArray([.. Items.Select(i => i.ToJson())]),
        NodeKind.Text => JsonValue.Create(Text),
        // Parsed, so that it can be read back as any kind of number; a number too large for JSON stays too large for every range.
        NodeKind.Number => JsonNode.Parse(Math.Clamp(Number, double.MinValue, double.MaxValue).ToString("R", System.Globalization.CultureInfo.InvariantCulture)),
        NodeKind.Truth => JsonValue.Create(Truth),
        _ => null,
    };

    /// <summary>Reads a file. Null, with mistakes told, when it cannot be read at all.</summary>
    public static ConfigNode? ReadFile(string path, string shownAs, List<Mistake> mistakes)
    {
        byte[] bytes;
        try
        {
            var info = new FileInfo(path);
            if (info.Length > LargestFile)
            {
                mistakes.Add(new(shownAs, 0, "", $"The file has {info.Length} bytes; no more than {LargestFile} are read. Is it the right file?"));
                return null;
            }

            bytes = File.ReadAllBytes(path);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            mistakes.Add(new(shownAs, 0, "", $"The file cannot be read: {e.Message}"));
            return null;
        }

        return Parse(bytes, shownAs, mistakes);
    }

    /// <summary>Reads a text. Null, with mistakes told, when it is no JSON.</summary>
    public static ConfigNode? Parse(ReadOnlySpan<byte> utf8, string shownAs, List<Mistake> mistakes)
    {
        if (utf8.StartsWith("\uFEFF"u8)) utf8 = utf8[3..];
        var reader = new Utf8JsonReader(utf8, new JsonReaderOptions { AllowTrailingCommas = true, CommentHandling = JsonCommentHandling.Skip, MaxDepth = DeepestNesting });
        try
        {
            if (!reader.Read())
            {
                mistakes.Add(new(shownAs, 0, "", "The file is empty; it must hold a group in braces."));
                return null;
            }

            var lines = new LineCounter();
            var node = Value(ref reader, utf8, lines, shownAs, "", mistakes);
            reader.Read();
            return node;
        }
        catch (JsonException e)
        {
            // The reader's own sentence ends with its zero-based place, which we say ourselves, counted from 1.
            var said = e.Message.Split(" LineNumber:")[0];
            mistakes.Add(new(shownAs, (int)(e.LineNumber ?? 0) + 1, "", $"This is not valid JSON, at character {(e.BytePositionInLine ?? 0) + 1} of the line: {said}"));
            return null;
        }
        catch (InvalidOperationException e)
        {
            mistakes.Add(new(shownAs, 0, "", $"A text in the file is not valid UTF-8: {e.Message} Save the file as UTF-8."));
            return null;
        }
    }

    /// <summary>Takes over a JSON node; all its lines are 0.</summary>
    public static ConfigNode From(JsonNode? json, string shownAs, List<Mistake> mistakes)
    {
        var node = Parse(Encoding.UTF8.GetBytes(json?.ToJsonString() ?? "null"), shownAs, mistakes);
        return node is null ? new ConfigNode(NodeKind.Nothing, 0) : node.WithoutLines();
    }

    private ConfigNode WithoutLines() => new(Kind, 0)
    {
        Text = Text,
        Number = Number,
        Truth = Truth,
        Members = [.. Members.Select(m => KeyValuePair.Create(m.Key, m.Value.WithoutLines()))],
        Items = [.. Items.Select(i => i.WithoutLines())],
    };

    private static ConfigNode Value(ref Utf8JsonReader reader, ReadOnlySpan<byte> utf8, LineCounter lines, string file, string path, List<Mistake> mistakes)
    {
        var line = lines.At(utf8, (int)reader.TokenStartIndex);
        switch (reader.TokenType)
        {
            case JsonTokenType.StartObject:
                var members = new List<KeyValuePair<string, ConfigNode>>();
                var seen = new HashSet<string>(StringComparer.Ordinal);
                while (reader.Read() && reader.TokenType != JsonTokenType.EndObject)
                {
                    var key = reader.GetString() ?? "";
                    var keyPath = path.Length == 0 ? key : $"{path}.{key}";
                    var keyLine = lines.At(utf8, (int)reader.TokenStartIndex);
                    reader.Read();
                    var value = Value(ref reader, utf8, lines, file, keyPath, mistakes);
                    if (!seen.Add(key)) mistakes.Add(new(file, keyLine, keyPath, $"\"{key}\" is given twice; keep one of them."));
                    else members.Add(KeyValuePair.Create(key, value));
                }

                return new ConfigNode(NodeKind.Group, line) { Members = members };
            case JsonTokenType.StartArray:
                var items = new List<ConfigNode>();
                while (reader.Read() && reader.TokenType != JsonTokenType.EndArray)
                    items.Add(Value(ref reader, utf8, lines, file, $"{path}[{items.Count}]", mistakes));
                return new ConfigNode(NodeKind.List, line) { Items = items };
            case JsonTokenType.String:
                return new ConfigNode(NodeKind.Text, line) { Text = reader.GetString() ?? "" };
            case JsonTokenType.Number:
                // Out of the range of a double: infinite, which every range check refuses.
                return new ConfigNode(NodeKind.Number, line) { Number = reader.TryGetDouble(out var n) ? n : double.PositiveInfinity };
            case JsonTokenType.True:
            case JsonTokenType.False:
                return new ConfigNode(NodeKind.Truth, line) { Truth = reader.TokenType == JsonTokenType.True };
            default:
                return new ConfigNode(NodeKind.Nothing, line);
        }
    }

    /// <summary>Counts lines up to ever later places, so that a file is gone through once.</summary>
    private sealed class LineCounter
    {
        private int _at;
        private int _line = 1;

        public int At(ReadOnlySpan<byte> utf8, int place)
        {
            for (; _at < place && _at < utf8.Length; _at++)
                if (utf8[_at] == '\n') _line++;
            return _line;
        }
    }
}
