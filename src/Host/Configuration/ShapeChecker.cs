namespace Stiltwright.Host.Configuration;

/// <summary>Compares a value with its shape and tells every mistake, not the first one only.</summary>
public sealed class ShapeChecker(string file, List<Mistake> mistakes)
{
    /// <summary>Checks; true if this value and all within it are right.</summary>
    public bool Check(ConfigNode node, Shape shape, string path)
    {
        var before = mistakes.Count;
        switch (shape)
        {
            case NumberShape n: Number(node, n, path); break;
            case TextShape t: Text(node, t, path); break;
            case TruthShape when node.Kind != NodeKind.Truth: Wrong(node, shape, path); break;
            case ListShape l: List(node, l, path); break;
            case GroupShape g: Group(node, g, path); break;
        }

        return mistakes.Count == before;
    }

    private void Number(ConfigNode node, NumberShape shape, string path)
    {
        if (node.Kind != NodeKind.Number) Wrong(node, shape, path);
        else if (!double.IsFinite(node.Number) || node.Number < shape.Least || node.Number > shape.Most)
            Add(node, path, $"{node.Number:R}{Unit(shape)} is out of range; write {shape.Wanted}.");
        else if (shape.Whole && node.Number != Math.Floor(node.Number))
            Add(node, path, $"{node.Number:R}{Unit(shape)} is not whole; write {shape.Wanted}.");
    }

    private void Text(ConfigNode node, TextShape shape, string path)
    {
        if (node.Kind != NodeKind.Text)
        {
            Wrong(node, shape, path);
        }
        else if (shape.OneOf.Count > 0 && !shape.OneOf.Contains(node.Text))
        {
            var near = NearestName.Of(node.Text, shape.OneOf) is { } w ? $" Did you mean \"{w}\"?" : "";
            Add(node, path, $"{node.Describe()} is not known here; write {shape.Wanted}.{near}");
        }
        else if (shape.OneOf.Count == 0 && !shape.MayBeEmpty && string.IsNullOrWhiteSpace(node.Text))
        {
            Add(node, path, "The text is empty; write something or leave the key out.");
        }
    }

    private void List(ConfigNode node, ListShape shape, string path)
    {
        if (node.Kind != NodeKind.List)
        {
            Wrong(node, shape, path);
            return;
        }

        if (node.Items.Count < shape.Least || node.Items.Count > shape.Most)
        {
            var wanted = shape.Least == shape.Most ? $"exactly {shape.Least}" : node.Items.Count < shape.Least ? $"at least {shape.Least}" : $"at most {shape.Most}";
            Add(node, path, $"The list has {node.Items.Count} values; write {wanted}.");
        }

        for (var i = 0; i < node.Items.Count; i++) Check(node.Items[i], shape.Item, $"{path}[{i}]");
    }

    private void Group(ConfigNode node, GroupShape shape, string path)
    {
        if (node.Kind != NodeKind.Group)
        {
            Wrong(node, shape, path);
            return;
        }

        foreach (var (key, value) in node.Members)
        {
            var field = shape.Fields.FirstOrDefault(f => f.Key == key);
            var keyPath = path.Length == 0 ? key : $"{path}.{key}";
            if (field is not null) Check(value, field.Shape, keyPath);
            else if (!shape.OthersAllowed && key != "$schema")
                Add(value, keyPath, $"\"{key}\" is not a key here; {NearestName.Advice(key, [.. shape.Fields.Select(f => f.Key)])}");
        }

        foreach (var field in shape.Fields)
        {
            if (field.Required && node.Find(field.Key) is null)
                Add(node, path, $"\"{field.Key}\" is missing; it is {field.Shape.Wanted}. {field.Meaning}");
        }
    }

    private void Wrong(ConfigNode node, Shape shape, string path) => Add(node, path, $"This is {node.Describe()}; write {shape.Wanted}.");

    private void Add(ConfigNode node, string path, string text) => mistakes.Add(new(file, node.Line, path, text));

    private static string Unit(NumberShape shape) => shape.Unit.Length > 0 ? " " + shape.Unit : "";
}
