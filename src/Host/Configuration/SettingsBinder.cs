using System.Collections;
using System.Reflection;
using System.Text.Json;
using System.Text.Json.Nodes;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Configuration;

/// <summary>The settings of a stage as an object, or what is wrong with them.</summary>
/// <param name="Value">The settings; null if anything is wrong.</param>
/// <param name="Mistakes">Every mistake.</param>
public sealed record BindResult(object? Value, IReadOnlyList<Mistake> Mistakes);

/// <summary>
/// Turns the settings of a recipe's stage into the stage's own settings type, checked against the units and ranges that
/// its <see cref="SettingAttribute"/>s declare. Keys are the property names with a small first letter.
/// </summary>
public static class SettingsBinder
{
    /// <summary>Binds settings that are already a JSON object (as in a work order).</summary>
    public static BindResult Bind(Type type, JsonObject settings, string path)
    {
        var mistakes = new List<Mistake>();
        return Bind(type, ConfigNode.From(settings, path, mistakes), path, "");
    }

    /// <summary>Binds settings from a file. <paramref name="path"/> is the place inside the file.</summary>
    public static BindResult Bind(Type type, ConfigNode settings, string file, string path)
    {
        var mistakes = new List<Mistake>();
        if (!new ShapeChecker(file, mistakes).Check(settings, ShapeOf(type), path)) return new BindResult(null, mistakes);
        var value = Activator.CreateInstance(type)!;
        foreach (var p in Properties(type))
        {
            if (settings.Find(Key(p)) is { } node) p.SetValue(value, Convert(node, p.PropertyType));
        }

        return new BindResult(value, mistakes);
    }

    /// <summary>The shape of a settings type, with its defaults.</summary>
    /// <exception cref="NotSupportedException">A property has a type that settings cannot have; the sentence names it.</exception>
    public static GroupShape ShapeOf(Type type)
    {
        var fresh = Activator.CreateInstance(type) ?? throw new NotSupportedException($"The settings type {type} cannot be made.");
        return new GroupShape([.. Properties(type).Select(p =>
        {
            var a = p.GetCustomAttribute<SettingAttribute>()!;
            return new Field(Key(p), ShapeOf(p, p.PropertyType, a), a.Meaning, false, DefaultOf(p.GetValue(fresh)));
        })]);
    }

    /// <summary>Name of a property in recipes.</summary>
    public static string Key(PropertyInfo p) => JsonNamingPolicy.CamelCase.ConvertName(p.Name);

    private static IEnumerable<PropertyInfo> Properties(Type type) =>
        type.GetProperties(BindingFlags.Public | BindingFlags.Instance)
            .Where(p => p.CanWrite && p.GetCustomAttribute<SettingAttribute>() is not null)
            .OrderBy(p => p.MetadataToken);

    private static Shape ShapeOf(PropertyInfo p, Type type, SettingAttribute a)
    {
        type = Nullable.GetUnderlyingType(type) ?? type;
        if (type == typeof(double) || type == typeof(float)) return new NumberShape(a.Unit, a.Least, a.Most);
        if (type == typeof(int) || type == typeof(long))
        {
            var (lo, hi) = type == typeof(int) ? (int.MinValue, (double)int.MaxValue) : (-9e15, 9e15);
            return new NumberShape(a.Unit, Math.Max(a.Least, lo), Math.Min(a.Most, hi), true);
        }

        if (type == typeof(bool)) return new TruthShape();
        if (type == typeof(string)) return new TextShape(a.OneOf, MayBeEmpty: true);
        if (type.IsEnum) return new TextShape([.. Enum.GetNames(type).Select(JsonNamingPolicy.CamelCase.ConvertName)]);
        if (ItemType(type) is { } item) return new ListShape(ShapeOf(p, item, a));
        throw new NotSupportedException($"The setting {p.DeclaringType}.{p.Name} has the type {type}; settings are numbers, texts, truths, enumerations and lists of them.");
    }

    private static Type? ItemType(Type type) =>
        type.IsArray ? type.GetElementType()
        : type.IsGenericType && typeof(IEnumerable).IsAssignableFrom(type) && type.IsAssignableFrom(type.GetGenericArguments()[0].MakeArrayType()) ? type.GetGenericArguments()[0]
        : null;

    private static object? Convert(ConfigNode node, Type type)
    {
        if (node.Kind == NodeKind.Nothing) return null;
        type = Nullable.GetUnderlyingType(type) ?? type;
        if (type.IsEnum) return Enum.Parse(type, node.Text, ignoreCase: true);
        if (type == typeof(bool)) return node.Truth;
        if (type == typeof(string)) return node.Text;
        if (ItemType(type) is { } item)
        {
            var list = Array.CreateInstance(item, node.Items.Count);
            for (var i = 0; i < node.Items.Count; i++) list.SetValue(Convert(node.Items[i], item), i);
            return list;
        }

        return System.Convert.ChangeType(node.Number, type, null);
    }

    private static JsonNode? DefaultOf(object? value) => value switch
    {
        null => null,
        Enum e => JsonValue.Create(JsonNamingPolicy.CamelCase.ConvertName(e.ToString())),
        double d when !double.IsFinite(d) => null,
        _ => JsonSerializer.SerializeToNode(value),
    };
}
