using System.Globalization;

namespace Stiltwright.Benchmarks.Peers;

/// <summary>
/// The kernel beside the best general-purpose libraries, on the same files in the same run: peer and own side take turns; the
/// ratio of every pair of runs is taken, and the median, smallest and largest ratio printed. Our side runs in this process after
/// untimed runs of 0.3 s, at least one (the compiler's warm-up); a peer is started anew each time and times its own stretch. Facts are checked before a ratio counts.
/// </summary>
internal static class PeerTable
{
    public static int Print(string folder, string[] options)
    {
        string Option(string name, string fallback) => Array.IndexOf(options, name) is >= 0 and var i && i + 1 < options.Length ? options[i + 1] : fallback;
        var inputs = new PeerInputs(Path.GetFullPath(folder));
        if (!Directory.Exists(Path.Combine(inputs.Folder, "inputs")))
        {
            Console.Error.WriteLine($"{inputs.Folder} holds no folder \"inputs\": make the inputs there first, as the README of the peers says.");
            return 2;
        }
        var runs = int.Parse(Option("--runs", "5"), CultureInfo.InvariantCulture);
        var limit = TimeSpan.FromSeconds(int.Parse(Option("--limit", "120"), CultureInfo.InvariantCulture));
        var only = Option("--only", "").Split(',', StringSplitOptions.RemoveEmptyEntries);
        Directory.CreateDirectory(Path.Combine(inputs.Folder, "out"));
        Console.WriteLine("| task | input | peer | runs | ours s (cpu) | peer s (cpu) | wall ratio: median (least .. most) | cpu ratio: median (least .. most) | aim | | facts of ours | facts of the peer |");
        Console.WriteLine("|---|---|---|--:|--:|--:|--:|--:|--:|---|---|---|");
        var wrong = 0;
        foreach (var row in KernelRows.All().Concat(FieldRows.All()).Concat(SimplifyRows.All()))
        {
            if (only.Length > 0 && !only.Any(o => row.Task.StartsWith(o + " ", StringComparison.OrdinalIgnoreCase))) continue;
            if (!Row(inputs, row, runs, limit)) wrong++;
        }
        Console.WriteLine();
        Console.WriteLine(wrong == 0 ? "All facts are right." : $"{wrong} rows have wrong facts.");
        return wrong == 0 ? 0 : 1;
    }

    private static bool Row(PeerInputs inputs, PeerRow row, int runs, TimeSpan limit)
    {
        List<double> ow = [], oc = [], pw = [], pc = [], rw = [], rc = [];
        var task = row.Own(inputs);
        // A short task runs often enough beforehand that the compiler has done with it; a long one once.
        var warm = System.Diagnostics.Stopwatch.StartNew();
        do task.Work();
        while (warm.Elapsed.TotalSeconds < 0.3);
        PeerRun? peer = null;
        for (var r = 0; r < runs; r++)
        {
            peer = PeerRun.Of(inputs.Folder, row.Peer, limit);
            var (wall, cpu) = OwnRun.Time(task.Work);
            ow.Add(wall);
            oc.Add(cpu);
            if (peer.Failure is null)
            {
                pw.Add(peer.WallS);
                pc.Add(peer.CpuS);
                rw.Add(wall / peer.WallS);
                rc.Add(cpu / peer.CpuS);
                if (peer.WallS > 4 && r == 2 || peer.WallS > 20) break;
            }
            else if (r == 2) break;
        }
        var facts = task.Facts();
        var wrong = OwnRun.Wrong(facts, peer!.Facts);
        var after = row.After is { } a ? "; " + a(inputs) : "";
        var hit = wrong is not null ? "WRONG: " + wrong : rw.Count == 0 ? peer.Failure! : Median(rw) <= row.Target ? "hit" : "missed";
        var shown = string.Join(", ", facts.Select(f => string.Create(CultureInfo.InvariantCulture, $"{f.Name} {f.Value:0.######}")));
        Console.WriteLine(string.Create(CultureInfo.InvariantCulture,
            $"| {row.Task} | {row.Input} | {row.Peer.Name} | {ow.Count} | {Median(ow):0.0000} ({Median(oc):0.000}) | {Seconds(pw)} ({Seconds(pc)}) | {Ratio(rw)} | {Ratio(rc)} | {row.Target:0.0} | {hit} | {shown}{after} | {peer.Facts} |"));
        return wrong is null;
    }

    private static string Seconds(List<double> s) => s.Count == 0 ? "-" : Median(s).ToString("0.0000", CultureInfo.InvariantCulture);

    private static string Ratio(List<double> r) => r.Count == 0 ? "-" : string.Create(CultureInfo.InvariantCulture, $"{Median(r):0.00} ({r.Min():0.00} .. {r.Max():0.00})");

    private static double Median(List<double> values)
    {
        if (values.Count == 0) return double.NaN;
        var s = values.Order().ToList();
        return (s[(s.Count - 1) / 2] + s[s.Count / 2]) / 2;
    }
}
