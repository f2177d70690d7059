using System.CommandLine;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Worker;

namespace Stiltwright.Host.Commands;

/// <summary>work: the child process of one job. Not for people.</summary>
public static class WorkVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var order = new Argument<string>("ORDER");
        var tied = new Option<bool>("--tied") { Description = "Ends as soon as standard input ends, which is when the host is gone." };
        var verb = new Command("work", "Carries out one work order.") { order, tied };
        verb.Hidden = true;
        verb.SetAction((parsed, cancel) =>
        {
            if (parsed.GetValue(tied)) EndWithTheHost();
            // The stages may print what they like on standard output; ours are framed lines on the real one.
            var real = Console.Out;
            try
            {
                WorkEntry.Run(WorkOrder.Read(parsed.GetRequiredValue(order)), (stage, share) => WorkerLines.Write(real, stage, share), cancel);
            }
            catch (Exception e) when (RoomOnDisk.IsDisks(e))
            {
                // Not the file's fault: the host does the job again when the disk is in order.
                Console.Error.WriteLine(e.Message);
                Environment.Exit(ExitCode.DiskGaveOut);
            }

            // The set is written: threads that a stage left behind must not keep the process until its time is over.
            Environment.Exit(ExitCode.Ready);
            return Task.FromResult(ExitCode.Ready);
        });
        return verb;
    }

    private static void EndWithTheHost()
    {
        var input = Console.OpenStandardInput();
        new Thread(() =>
        {
            var buffer = new byte[64];
            try
            {
                while (input.Read(buffer) > 0) { }
            }
            catch (IOException)
            {
                // A broken pipe says the same as a closed one.
            }

            Environment.Exit(ExitCode.Kept);
        })
        { IsBackground = true, Name = "end with the host" }.Start();
    }
}
