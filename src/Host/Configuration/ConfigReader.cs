using System.Text.Json;
using System.Text.Json.Nodes;
using MimeKit;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Worker;
using Stiltwright.Printing.Resin;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Configuration;

/// <summary>
/// Reads a configuration folder: stiltwright.json, folders/*.json, printers/*.json, resins/*.json. Tells every mistake of
/// every file at once; a recipe with a mistake is left out, the others stand.
/// </summary>
public sealed class ConfigReader
{
    private static readonly JsonSerializerOptions Web = new(JsonSerializerDefaults.Web);

    private readonly List<Mistake> _mistakes = [];
    private readonly string _folder;
    private readonly Dictionary<string, PrinterData> _printers = new(StringComparer.Ordinal);
    private readonly Dictionary<string, ResinData> _resins = new(StringComparer.Ordinal);

    private ConfigReader(string folder) => _folder = folder;

    /// <summary>
    /// Reads everything. Stages are loaded from the plug-in folders by <paramref name="load"/>, as the host file names
    /// them; their own troubles are told as well.
    /// </summary>
    public static Config Read(string folder, Func<HostSettings, PluginCatalog> load)
    {
        folder = Path.GetFullPath(folder);
        var reader = new ConfigReader(folder);
        if (!Directory.Exists(folder))
        {
            var none = new Mistake(folder, 0, "", "There is no such configuration folder; name one with --config.");
            return new Config(folder, new HostSettings { State = HostSettings.DefaultState }, new Dictionary<string, Recipe>(), [none]);
        }

        var host = reader.Host();
        var catalog = load(host);
        reader._mistakes.AddRange(catalog.Problems);
        reader.Named("printers", FileShapes.Printer, reader._printers);
        reader.Named("resins", FileShapes.Resin, reader._resins);
        var recipes = reader.Recipes(catalog);
        return new Config(folder, host, recipes, reader._mistakes);
    }

    private HostSettings Host()
    {
        const string Name = "stiltwright.json";
        var fallback = new HostSettings { State = HostSettings.DefaultState };
        var node = ConfigNode.ReadFile(Path.Combine(_folder, Name), Name, _mistakes);
        if (node is null || !new ShapeChecker(Name, _mistakes).Check(node, FileShapes.Host, "")) return fallback;
        var json = (JsonObject)node.ToJson()!;
        json.Remove("$schema");
        json["state"] = json["state"] is { } s ? Absolute(s.GetValue<string>()) : HostSettings.DefaultState;
        if (json["share"] is { } share) json["share"] = Absolute(share.GetValue<string>());
        if (json["pluginFolders"] is JsonArray folders) json["pluginFolders"] = new JsonArray([.. folders.Select(f => (JsonNode)Absolute(f!.GetValue<string>()))]);
        var host = json.Deserialize<HostSettings>(Web)!;
        if (host.Mail.PasswordFile is { } p) host = host with { Mail = host.Mail with { PasswordFile = Absolute(p) } };
        if (host.Ledger.PasswordFile is { } secret) host = host with { Ledger = host.Ledger with { PasswordFile = Absolute(secret) } };
        if (Jobs.PostgresStore.Mistake(host.Ledger.Postgres) is { } wrong) Add(Name, node.Find("ledger")!.Find("postgres")!, "ledger.postgres", wrong);
        if (host.Mail is { User.Length: > 0, Security: "none" })
            Add(Name, node.Find("mail")!.Find("security") ?? node.Find("mail")!, "mail.security", "A login over an unencrypted line would give the password away; use \"startTls\" or \"tls\", or leave \"user\" out.");
        if (!MailboxAddress.TryParse(host.Mail.From, out _))
            Add(Name, node.Find("mail")!.Find("from")!, "mail.from", $"\"{host.Mail.From}\" is no mail address; write one such as \"Print room <printroom@example.org>\".");
        if (host.Share is { } root && Inside(host.State, root))
            Add(Name, node.Find("state") ?? node, "state", $"The state folder {host.State} lies on the share {root}; a local folder is needed.");
        foreach (var plugins in host.PluginFolders.Where(f => host.Share is { } s && (Inside(f, s) || f == s)))
            Add(Name, node.Find("pluginFolders")!, "pluginFolders", $"The plug-in folder {plugins} lies on the share, where everybody can write; stages come from a local folder only.");
        if (host.Mail.QuietFrom.Length > 0 != host.Mail.QuietTo.Length > 0)
            Add(Name, node.Find("mail")!, "mail", "\"quietFrom\" and \"quietTo\" are given together, e.g. \"22:00\" and \"06:00\".");
        foreach (var (key, text) in ((string, string)[])[("quietFrom", host.Mail.QuietFrom), ("quietTo", host.Mail.QuietTo)])
            if (text.Length > 0 && !Mail.QuietHours.TryTime(text, out _)) Add(Name, node.Find("mail")!.Find(key)!, "mail." + key, $"\"{text}\" is no time of day; write hours and minutes such as \"22:00\".");
        foreach (var (sha, i) in host.AllowedPlugins.Select((h, i) => (h, i)))
            if (sha.Length != 64 || !sha.All(char.IsAsciiHexDigit)) Add(Name, node.Find("allowedPlugins")!.Items[i], $"allowedPlugins[{i}]", "This is no SHA-256; write 64 hexadecimal digits, as sha256sum or Get-FileHash gives them.");
        return host;
    }

    private static bool Inside(string path, string folder) =>
        Path.GetFullPath(path).StartsWith(Path.TrimEndingDirectorySeparator(Path.GetFullPath(folder)) + Path.DirectorySeparatorChar, StringComparison.OrdinalIgnoreCase);

    private string Absolute(string path) => Path.GetFullPath(Environment.ExpandEnvironmentVariables(path), _folder);

    private void Named<T>(string sub, GroupShape shape, Dictionary<string, T> into)
    {
        foreach (var (name, file, path) in Files(sub))
        {
            var node = ConfigNode.ReadFile(path, file, _mistakes);
            if (node is null || !new ShapeChecker(file, _mistakes).Check(node, shape, "")) continue;
            var json = (JsonObject)node.ToJson()!;
            json.Remove("$schema");
            json["name"] = name;
            into.Add(name, json.Deserialize<T>(Web)!);
        }
    }

    private IEnumerable<(string Name, string File, string Path)> Files(string sub)
    {
        var folder = Path.Combine(_folder, sub);
        if (!Directory.Exists(folder))
        {
            _mistakes.Add(new(sub, 0, "", $"The folder {folder} is missing; make it and put at least one file in it."));
            return [];
        }

        return [.. Directory.GetFiles(folder, "*.json").Order(StringComparer.Ordinal)
            .Select(p => (Path.GetFileNameWithoutExtension(p), $"{sub}/{Path.GetFileName(p)}", p))];
    }

    private Dictionary<string, Recipe> Recipes(PluginCatalog catalog)
    {
        // Folders on the share are found without case, as people and Windows do.
        var recipes = new Dictionary<string, Recipe>(StringComparer.OrdinalIgnoreCase);
        var names = new HashSet<string>(StringComparer.OrdinalIgnoreCase);
        foreach (var (name, file, path) in Files("folders"))
        {
            var before = _mistakes.Count;
            var node = ConfigNode.ReadFile(path, file, _mistakes);
            if (node is null) continue;
            new ShapeChecker(file, _mistakes).Check(node, FileShapes.Recipe, "");
            if (node.Kind != NodeKind.Group) continue;
            Target(node, file);
            Height(node, file);
            Addresses(node, file);
            Names(node.Find("printers"), file, "printers", "printers", _printers.Keys);
            if (node.Find("resin") is { Kind: NodeKind.Text } resin) Name(resin, file, "resin", "resins", _resins.Keys);
            RecipeRules.Check(node, file, catalog, _mistakes);
            if (!names.Add(name)) Add(file, node, "", "Another recipe has the same name but for upper and lower case; rename one of them.");
            if (_mistakes.Count == before) recipes[name] = Made(name, node);
        }

        return recipes;
    }

    private Recipe Made(string name, ConfigNode node)
    {
        var mail = node.Find("mail");
        return new Recipe
        {
            Name = name,
            Target = node.Find("target")!.ToJson().Deserialize<TargetSize>(Web)!,
            SourceMm = node.Find("sourceMm")?.Items.Select(i => i.Number).ToArray(),
            Printers = [.. node.Find("printers")!.Items.Select(p => _printers[p.Text])],
            Resin = _resins[node.Find("resin")!.Text],
            Stages = [.. node.Find("stages")!.Items.Select(s => new StageOrder(s.Find("stage")!.Text, RecipeRules.SettingsOf(s)))],
            SlipMayChange = [.. node.Find("slipMayChange")?.Items.Select(i => i.Text) ?? []],
            Mail = mail is null ? null : new RecipeMail([.. mail.Find("to")!.Items.Select(i => i.Text)], mail.Find("when")?.Text ?? "check"),
        };
    }

    private void Target(ConfigNode recipe, string file)
    {
        if (recipe.Find("target") is not { Kind: NodeKind.Group } target) return;
        var percent = target.Find("percent") is not null;
        var height = target.Find("heightMm") is not null;
        var from = target.Find("from") is not null;
        var to = target.Find("to") is not null;
        if (from != to) Add(file, target, "target", $"\"{(from ? "from" : "to")}\" stands alone; a pair of scales needs \"from\" and \"to\", e.g. 32 and 75.");
        else if ((percent ? 1 : 0) + (height ? 1 : 0) + (from ? 1 : 0) != 1)
            Add(file, target, "target", "Give exactly one way: \"percent\", \"heightMm\", or \"from\" with \"to\".");
    }

    private void Height(ConfigNode recipe, string file)
    {
        if (recipe.Find("sourceMm") is { Kind: NodeKind.List, Items: [{ Kind: NodeKind.Number } a, { Kind: NodeKind.Number } b] } list && a.Number >= b.Number)
            Add(file, list, "sourceMm", $"The least height {a.Number:R} mm is not below the largest, {b.Number:R} mm; write the smaller one first.");
    }

    private void Addresses(ConfigNode recipe, string file)
    {
        var to = recipe.Find("mail")?.Find("to");
        if (to is not { Kind: NodeKind.List }) return;
        for (var i = 0; i < to.Items.Count; i++)
        {
            var item = to.Items[i];
            if (item.Kind == NodeKind.Text && !Mail.SafeHeader.IsAddress(item.Text))
                Add(file, item, $"mail.to[{i}]", $"{item.Describe()} is no mail address; write one such as \"printroom@example.org\".");
        }
    }

    private void Names(ConfigNode? list, string file, string path, string folder, IReadOnlyCollection<string> known)
    {
        if (list is not { Kind: NodeKind.List }) return;
        for (var i = 0; i < list.Items.Count; i++)
            if (list.Items[i].Kind == NodeKind.Text) Name(list.Items[i], file, $"{path}[{i}]", folder, known);
    }

    private void Name(ConfigNode node, string file, string path, string folder, IReadOnlyCollection<string> known)
    {
        if (known.Contains(node.Text)) return;
        var there = File.Exists(Path.Combine(_folder, folder, node.Text + ".json"));
        Add(file, node, path, there
            ? $"The file {folder}/{node.Text}.json has mistakes of its own; mend it first."
            : $"There is no {folder}/{node.Text}.json; {NearestName.Advice(node.Text, known)}");
    }

    private void Add(string file, ConfigNode node, string path, string text) => _mistakes.Add(new(file, node.Line, path, text));
}
