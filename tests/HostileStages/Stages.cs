using System.Globalization;
using Stiltwright.Sdk;

namespace Stiltwright.HostileStages;

/// <summary>Stages that do what a stage must not, each by its name, for tests/Faults.</summary>
public abstract class Hostile(string name) : IStage
{
    public string Name => name;

    public string Version => "1.0";

    public Type SettingsType => typeof(NoSettings);

    public Parts Changes => Parts.Nothing;

    public Parts Settles => Parts.Nothing;

    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        context.Progress(0);
        return Do(workpiece);
    }

    protected abstract StageResult Do(Workpiece workpiece);
}

public sealed class NoSettings;

public sealed class Throws() : Hostile("throws")
{
    protected override StageResult Do(Workpiece workpiece) => throw new InvalidOperationException("This stage throws on purpose.");
}

public sealed class Hangs() : Hostile("hangs")
{
    protected override StageResult Do(Workpiece workpiece)
    {
        for (; ; ) Thread.SpinWait(1000);
    }
}

public sealed class ExhaustsMemory() : Hostile("exhausts-memory")
{
    protected override StageResult Do(Workpiece workpiece)
    {
        var kept = new List<byte[]>();
        for (; ; )
        {
            var block = new byte[16 << 20];
            Array.Fill(block, (byte)1);
            kept.Add(block);
        }
    }
}

public sealed class OverflowsTheStack() : Hostile("overflows-the-stack")
{
    protected override StageResult Do(Workpiece workpiece) => Deeper(1) > 0 ? StageResult.Done(workpiece) : throw new InvalidOperationException();

    private static int Deeper(int n) => n == int.MaxValue ? 0 : Deeper(n + 1) + 1;
}

public sealed class FailsFast() : Hostile("fails-fast")
{
    protected override StageResult Do(Workpiece workpiece)
    {
        Environment.FailFast("This stage ends the process on purpose.");
        return StageResult.Done(workpiece);
    }
}

public sealed class ReturnsNonsense() : Hostile("returns-nonsense")
{
    /// <summary>Changes what it did not declare: the source's own mesh in another's place.</summary>
    protected override StageResult Do(Workpiece workpiece) => StageResult.Done(workpiece with { Source = workpiece.Source with { FileName = "another.stl" }, Placement = null, Pieces = [] });
}

public sealed class WritesOutside() : Hostile("writes-outside")
{
    /// <summary>Three folders up from where the worker works: a trace outside of its scratch, which nothing prevents.</summary>
    protected override StageResult Do(Workpiece workpiece)
    {
        File.WriteAllText(Path.Combine(Environment.CurrentDirectory, "..", "..", "..", "written-outside.txt"), "x");
        return StageResult.Done(workpiece);
    }
}

public sealed class PrintsWithoutEnd() : Hostile("prints-without-end")
{
    protected override StageResult Do(Workpiece workpiece)
    {
        var line = new string('x', 1 << 16);
        for (; ; ) Console.Out.WriteLine(line);
    }
}

public sealed class LeavesThreads() : Hostile("leaves-threads")
{
    protected override StageResult Do(Workpiece workpiece)
    {
        for (var i = 0; i < 8; i++) new Thread(() => Thread.Sleep(Timeout.Infinite)).Start(); // foreground: the process would not end by itself
        return StageResult.Done(workpiece);
    }
}

public sealed class ChangesCulture() : Hostile("changes-culture")
{
    protected override StageResult Do(Workpiece workpiece)
    {
        var comma = (CultureInfo)CultureInfo.InvariantCulture.Clone();
        comma.NumberFormat.NumberDecimalSeparator = ",";
        CultureInfo.DefaultThreadCurrentCulture = comma;
        CultureInfo.CurrentCulture = comma;
        return StageResult.Done(workpiece);
    }
}
