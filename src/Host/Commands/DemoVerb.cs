using System.CommandLine;
using System.Globalization;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Stiltwright.Host.Board;
using Stiltwright.Host.Configuration;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Mail;
using Stiltwright.Host.Plugins;
using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Commands;

/// <summary>demo: the samples in a fresh share, done by the real service, and where to look.</summary>
public static class DemoVerb
{
    private const string Marker = "demo.txt";
    private static readonly TimeSpan LongestWait = TimeSpan.FromMinutes(30);

    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var share = CommonOptions.Share();
        share.Description = "Folder for the demo's share; made anew. Default: demo-share in the current folder.";
        var config = CommonOptions.Config();
        var verb = new Command("demo", "Copies the samples into a fresh share, runs until every drop is done, and prints where to look.") { share, config };
        verb.SetAction((parsed, cancel) => Run(Path.GetFullPath(parsed.GetValue(share) ?? "demo-share"), parsed.GetRequiredValue(config), cancel));
        return verb;
    }

    private static async Task<int> Run(string share, string configFolder, CancellationToken cancel)
    {
        var (config, catalog) = CommonOptions.Read(configFolder);
        if (config.Mistakes.Count > 0)
        {
            CommonOptions.Print(config.Mistakes, Console.Error);
            return ExitCode.Kept;
        }

        if (FindSamples() is not { } samples)
        {
            Console.Error.WriteLine("The samples are not beside the program nor in a folder above it (samples/drops).");
            return ExitCode.Kept;
        }

        var state = Path.Combine(Path.GetDirectoryName(share) ?? share, ".stiltwright-state", Path.GetFileName(share));
        if (!Fresh(share, state)) return ExitCode.WrongUse;
        var dropped = Drop(samples, share, config);
        if (dropped.Count == 0)
        {
            Console.Error.WriteLine($"No folder of {samples} has the name of a recipe in {config.Folder}.");
            return ExitCode.Kept;
        }

        Console.Out.WriteLine($"{dropped.Count} sources dropped into {share}.");
        // The demo's files are whole when the service starts, and two of them may be worked on at once.
        var host = config.Host with
        {
            State = state,
            Watch = config.Host.Watch with { SweepS = 1, SettleS = Math.Min(1, config.Host.Watch.SettleS) },
            Worker = config.Host.Worker with { Parallel = Math.Clamp(Environment.ProcessorCount / 2, 1, 2) },
        };
        var began = TimeProvider.System.GetTimestamp();
        var code = await Serve(config with { Host = host }, catalog, share, dropped, cancel);
        Console.Out.WriteLine(string.Create(CultureInfo.InvariantCulture, $"Done in {TimeProvider.System.GetElapsedTime(began).TotalSeconds:0} s."));
        return code;
    }

    private static async Task<int> Serve(Config config, PluginCatalog catalog, string share, IReadOnlyList<(string Folder, string Name)> dropped, CancellationToken cancel)
    {
        using var service = ServiceHost.Build(config, catalog, share, new ServiceParts { ConsoleLog = false });
        await QuietStart(service, cancel);
        var ledger = service.Services.GetRequiredService<Ledger>();
        var state = service.Services.GetRequiredService<ServiceState>();
        var done = await UntilDone(ledger, state, dropped, cancel);
        await service.StopAsync(CancellationToken.None);
        service.Services.GetRequiredService<BoardWriter>().Write();
        Report(share, config, service.Services.GetRequiredService<Outbox>(), ledger.Latest(state.ShareId, 1000));
        return done ? ExitCode.Ready : ExitCode.Kept;
    }

    /// <summary>The engine prints the SQL of its tables when it makes them; a person who wants to see a demo does not.</summary>
    private static async Task QuietStart(IHost service, CancellationToken cancel)
    {
        var console = Console.Out;
        Console.SetOut(TextWriter.Null);
        try
        {
            await service.StartAsync(cancel);
        }
        finally
        {
            Console.SetOut(console);
        }
    }

    private static async Task<bool> UntilDone(Ledger ledger, ServiceState state, IReadOnlyList<(string Folder, string Name)> dropped, CancellationToken cancel)
    {
        var began = TimeProvider.System.GetTimestamp();
        var told = new HashSet<string>(StringComparer.Ordinal);
        using var bar = ProgressBar.OnConsole();
        while (TimeProvider.System.GetElapsedTime(began) < LongestWait)
        {
            var jobs = ledger.Latest(state.ShareId, 1000);
            var over = jobs.Where(j => j.State is JobState.Done or JobState.Parked).ToArray();
            foreach (var j in over.Where(j => told.Add(j.Id)).OrderBy(j => j.Number))
            {
                bar.Dispose();
                Console.Out.WriteLine(string.Create(CultureInfo.InvariantCulture, $"  {j.Outcome,-5}  {j.Folder}/{j.Source}  ({j.Took:0} s)"));
            }

            if (over.Length >= dropped.Count) return true;
            var running = state.Runs.ToArray();
            var share = (over.Length + running.Sum(r => r.Value.Progress)) / dropped.Count;
            var what = string.Join(", ", running.Select(r => $"{jobs.FirstOrDefault(j => $"{j.Id}-{j.Fence}" == r.Key)?.Source}: {r.Value.Stage}"));
            bar.Show(share, what.Length > 0 ? what : "waiting");
            await Task.Delay(250, cancel);
        }

        Console.Error.WriteLine($"Not every drop was done within {LongestWait.TotalMinutes:0} minutes; the board says how far they are.");
        return false;
    }

    private static void Report(string share, Config config, Outbox outbox, IReadOnlyList<JobRow> jobs)
    {
        Console.Out.WriteLine($"Board:     {Path.Combine(share, "board.html")}");
        foreach (var j in jobs.Where(j => j.Target is not null).OrderBy(j => j.Number))
            Console.Out.WriteLine($"Summary:   {Path.Combine(share, j.Folder, j.Target!, "summary.html")}");
        var mails = Directory.Exists(outbox.Folder) ? Directory.GetFiles(outbox.Folder, "*.eml").Length : 0;
        Console.Out.WriteLine(mails > 0
            ? $"Mails:     {outbox.Folder} ({mails} .eml, waiting because {(config.Host.Mail.Server.Length == 0 ? "no mail server is set" : "the mail server did not take them")})"
            : "Mails:     none was wanted.");
    }

    /// <summary>Makes the share anew, but only where it is missing, empty, or an earlier demo's.</summary>
    private static bool Fresh(string share, string state)
    {
        var marker = Path.Combine(share, SetPlace.OwnFolder, Marker);
        if (Directory.Exists(share) && Directory.EnumerateFileSystemEntries(share).Any())
        {
            if (!File.Exists(marker))
            {
                Console.Error.WriteLine($"{share} is not empty and no earlier demo made it; nothing in it was touched. Name a folder that does not exist yet with --share.");
                return false;
            }

            Directory.Delete(share, true);
        }

        if (Directory.Exists(state)) Directory.Delete(state, true);
        Directory.CreateDirectory(Path.GetDirectoryName(marker)!);
        File.WriteAllText(marker, "A demo made this share; the next demo deletes it and makes it anew.\n");
        return true;
    }

    private static List<(string Folder, string Name)> Drop(string samples, string share, Config config)
    {
        var dropped = new List<(string, string)>();
        foreach (var folder in Directory.GetDirectories(samples).Order(StringComparer.Ordinal))
        {
            var name = Path.GetFileName(folder);
            if (!config.Recipes.ContainsKey(name)) continue;
            Directory.CreateDirectory(Path.Combine(share, name));
            foreach (var file in Directory.GetFiles(folder).Order(StringComparer.Ordinal))
            {
                File.Copy(file, Path.Combine(share, name, Path.GetFileName(file)));
                if (Watching.SourceNames.IsSource(file)) dropped.Add((name, Path.GetFileName(file)));
            }
        }

        return dropped;
    }

    /// <summary>samples/drops beside the program (as published) or in a folder above it (as built).</summary>
    private static string? FindSamples()
    {
        for (var d = new DirectoryInfo(AppContext.BaseDirectory); d is not null; d = d.Parent)
        {
            var drops = Path.Combine(d.FullName, "samples", "drops");
            if (Directory.Exists(drops)) return drops;
        }

        return null;
    }
}
