using System.Diagnostics;
using System.Globalization;

namespace Stiltwright.Benchmarks.Peers;

/// <summary>Somebody else's program for a task: its name in the table and how it is started inside the peers' folder.</summary>
internal sealed record Peer(string Name, string Program, params string[] Arguments);

/// <summary>What one run of a peer gave: seconds of its own stretch (wall and CPU), and what it says it found.</summary>
internal sealed record PeerRun(double WallS, double CpuS, string Facts, string? Failure)
{
    /// <summary>Starts the program and reads the lines "TIME work WALL CPU" and "FACT ..." that every peer prints.</summary>
    public static PeerRun Of(string folder, Peer peer, TimeSpan limit, bool timed = true)
    {
        var program = peer.Program.Contains('/') ? Path.Combine(folder, peer.Program) : peer.Program;
        if (peer.Program.Contains('/') && !File.Exists(program)) return Failed($"missing: {peer.Program} is not built");
        var start = new ProcessStartInfo(program) { WorkingDirectory = folder, RedirectStandardOutput = true, RedirectStandardError = true };
        foreach (var a in peer.Arguments) start.ArgumentList.Add(a);
        try
        {
            using var process = Process.Start(start)!;
            var error = process.StandardError.ReadToEndAsync();
            var output = process.StandardOutput.ReadToEndAsync();
            if (!process.WaitForExit(limit))
            {
                process.Kill(entireProcessTree: true);
                return Failed($"stopped after {limit.TotalSeconds:0} s");
            }
            if (process.ExitCode != 0) return Failed($"exit {process.ExitCode}: {error.Result.ReplaceLineEndings(" ").Trim()}");
            double wall = double.NaN, cpu = double.NaN;
            var facts = new List<string>();
            foreach (var line in output.Result.Split('\n'))
            {
                var words = line.Split(' ', StringSplitOptions.RemoveEmptyEntries);
                if (words is ["TIME", "work", var w, var c])
                    (wall, cpu) = (double.Parse(w, CultureInfo.InvariantCulture), double.Parse(c, CultureInfo.InvariantCulture));
                else if (line.StartsWith("FACT ", StringComparison.Ordinal)) facts.Add(line[5..].Trim());
            }
            return timed && double.IsNaN(wall) ? Failed("it printed no time") : new PeerRun(wall, cpu, string.Join("; ", facts), null);
        }
        catch (System.ComponentModel.Win32Exception e)
        {
            return Failed($"missing: {peer.Program} cannot be started ({e.Message})");
        }
    }

    private static PeerRun Failed(string why) => new(double.NaN, double.NaN, "", why);
}
