using System.Text.Json.Nodes;

namespace Stiltwright.Host.Configuration;

/// <summary>
/// What a value of a configuration file may be. One declaration serves the check with its sentences and the JSON schema.
/// </summary>
public abstract record Shape
{
    /// <summary>How it is named in a message, e.g. "a number of mm, 0.4 to 20".</summary>
    public abstract string Wanted { get; }
}

/// <summary>A number in a range.</summary>
/// <param name="Unit">Unit, empty for none.</param>
/// <param name="Least">Least value allowed.</param>
/// <param name="Most">Largest value allowed.</param>
/// <param name="Whole">True for whole numbers only.</param>
public sealed record NumberShape(string Unit, double Least, double Most, bool Whole = false) : Shape
{
    /// <inheritdoc/>
    public override string Wanted
    {
        get
        {
            var kind = Whole ? "a whole number" : "a number";
            var unit = Unit.Length > 0 ? $" ({Unit})" : "";
            var range = (double.IsFinite(Least), double.IsFinite(Most)) switch
            {
                (true, true) => $" from {Least:R} to {Most:R}",
                (true, false) => $" of at least {Least:R}",
                (false, true) => $" of at most {Most:R}",
                _ => "",
            };
            return kind + range + unit;
        }
    }
}

/// <summary>A text, where <paramref name="OneOf"/> is not empty one of these words.</summary>
/// <param name="OneOf">Allowed words.</param>
/// <param name="MayBeEmpty">True if "" is allowed.</param>
public sealed record TextShape(IReadOnlyList<string> OneOf, bool MayBeEmpty = false) : Shape
{
    /// <summary>Any text that is not empty.</summary>
    public TextShape() : this([]) { }

    /// <inheritdoc/>
    public override string Wanted => OneOf.Count == 0 ? "a text" : $"one of {string.Join(", ", OneOf.Select(w => $"\"{w}\""))}";
}

/// <summary>true or false.</summary>
public sealed record TruthShape : Shape
{
    /// <inheritdoc/>
    public override string Wanted => "true or false";
}

/// <summary>A list.</summary>
/// <param name="Item">Shape of each value.</param>
/// <param name="Least">Least number of values.</param>
/// <param name="Most">Largest number of values.</param>
public sealed record ListShape(Shape Item, int Least = 0, int Most = int.MaxValue) : Shape
{
    /// <inheritdoc/>
    public override string Wanted => Least == Most ? $"a list of {Least}, each {Item.Wanted}" : $"a list, each {Item.Wanted}";
}

/// <summary>A group of keys.</summary>
/// <param name="Fields">The keys.</param>
/// <param name="OthersAllowed">True if keys beyond these are checked by somebody else (a stage's own settings).</param>
public sealed record GroupShape(IReadOnlyList<Field> Fields, bool OthersAllowed = false) : Shape
{
    /// <inheritdoc/>
    public override string Wanted => $"a group in braces with {string.Join(", ", Fields.Select(f => $"\"{f.Key}\""))}";
}

/// <summary>Any value: its check is elsewhere.</summary>
public sealed record AnyShape : Shape
{
    /// <inheritdoc/>
    public override string Wanted => "a value";
}

/// <summary>A key of a group.</summary>
/// <param name="Key">Its name.</param>
/// <param name="Shape">What its value may be.</param>
/// <param name="Meaning">One sentence for the schema.</param>
/// <param name="Required">True if it must be given.</param>
/// <param name="Default">Value where it is not given, for the schema.</param>
public sealed record Field(string Key, Shape Shape, string Meaning, bool Required = false, JsonNode? Default = null);
