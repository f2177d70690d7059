using Stiltwright.Sdk;

namespace ParcelCheck;

/// <summary>Settings of <c>parcel-check</c>; recipes may change them within these ranges.</summary>
public sealed class ParcelCheckSettings
{
    /// <summary>What the parcel may weigh, without its packing.</summary>
    [Setting("What all pieces together may weigh.", "g", Least = 1, Most = 50_000)]
    public double MostG { get; set; } = 2000;
}

/// <summary>Says when a set grows too heavy for the parcel that it is sent in. It changes nothing.</summary>
public sealed class ParcelCheckStage : IStage
{
    /// <inheritdoc/>
    public string Name => "parcel-check";

    /// <inheritdoc/>
    public string Version => "1.0";

    /// <inheritdoc/>
    public Type SettingsType => typeof(ParcelCheckSettings);

    /// <inheritdoc/>
    public Parts Changes => Parts.Nothing;

    /// <inheritdoc/>
    public Parts Settles => Parts.Estimate;

    /// <inheritdoc/>
    public StageResult Run(Workpiece workpiece, object settings, IStageContext context, CancellationToken cancel)
    {
        var most = ((ParcelCheckSettings)settings).MostG;
        if (workpiece.Estimate is not { } estimate)
            return StageResult.Refuse(new Finding("parcel-too-heavy", Level.Stop, "The parcel could not be weighed, because nothing was estimated before it.", "Put \"parcel-check\" behind \"estimate\" in the recipe."));
        context.Measure("parcel", estimate.MassG, "g");
        if (estimate.MassG > most)
            context.Report(new Finding("parcel-too-heavy", Level.Check, $"All pieces together weigh {estimate.MassG:0} g; a parcel takes {most:0} g.", "Send the pieces in two parcels, or hollow to a thinner wall."));
        return StageResult.Done(workpiece);
    }
}
