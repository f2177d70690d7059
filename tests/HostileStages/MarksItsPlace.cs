using Stiltwright.Sdk;

namespace Stiltwright.HostileStages;

/// <summary>
/// Stand between the real stages and leave a file in the run's own folder, so that whoever kills the worker knows
/// afterwards which stage it was in. They change nothing.
/// </summary>
public abstract class MarksItsPlace(string next) : IStage
{
    public string Name => "before-" + next;

    public string Version => "1.0";

    public Type SettingsType => typeof(NoSettings);

    public Parts Changes => Parts.Nothing;

    public Parts Settles => Parts.Nothing;

    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        File.WriteAllText(Path.Combine(Environment.CurrentDirectory, "in-" + next), "");
        return StageResult.Done(workpiece);
    }
}

public sealed class BeforeInspect() : MarksItsPlace("inspect");

public sealed class BeforeRescale() : MarksItsPlace("rescale");

public sealed class BeforeShell() : MarksItsPlace("shell");

public sealed class BeforeDrainHole() : MarksItsPlace("drain-hole");

public sealed class BeforeStrutThin() : MarksItsPlace("strut-thin");

public sealed class BeforeEstimate() : MarksItsPlace("estimate");

public sealed class BeforeWriting() : MarksItsPlace("writing");
