namespace Stiltwright.Printing.Resin;

/// <summary>
/// A resin as the print room enters it. Defaults and ranges are those of the house's physics table; each is a starting
/// point that a calibration replaces. Stresses in kPa or MPa as named, densities in g/cm3.
/// </summary>
public sealed record ResinData
{
    /// <summary>Name, e.g. workshop-grey.</summary>
    public required string Name { get; init; }

    /// <summary>Density of the cured resin, g/cm3 (1.12..1.25).</summary>
    public double CuredDensity { get; init; } = 1.18;

    /// <summary>Density of the liquid, g/cm3 (1.05..1.13).</summary>
    public double LiquidDensity { get; init; } = 1.10;

    /// <summary>Viscosity at 25 degrees C, Pa s (0.1..1.5).</summary>
    public double ViscosityPaS { get; init; } = 0.30;

    /// <summary>Surface tension, N/m (0.030..0.040).</summary>
    public double SurfaceTensionNPerM { get; init; } = 0.035;

    /// <summary>Price of a kilogram, in the currency of the printer file.</summary>
    public double PricePerKg { get; init; } = 40;

    /// <summary>Share of resin lost to wipes, filters and films, 0..1 (0.05..0.15, common practice).</summary>
    public double WasteShare { get; init; } = 0.10;

    /// <summary>Thickness of a layer, mm.</summary>
    public double LayerMm { get; init; } = 0.05;

    /// <summary>Number of base layers.</summary>
    public int BaseLayers { get; init; } = 6;

    /// <summary>Transition layers after the base layers.</summary>
    public int TransitionLayers { get; init; } = 6;

    /// <summary>Exposure of a base layer, s.</summary>
    public double BaseExposureS { get; init; } = 30;

    /// <summary>Exposure of a normal layer, s.</summary>
    public double ExposureS { get; init; } = 2.5;

    /// <summary>Separation stress of a compact layer at the reference lift speed, kPa (5..60).</summary>
    public double SeparationStressKPa { get; init; } = 20;

    /// <summary>Share of the separation stress left for very slender shapes, 0.5..1.</summary>
    public double SlenderShare { get; init; } = 0.5;

    /// <summary>Speed exponent of the separation stress (0.2..0.6).</summary>
    public double SpeedExponent { get; init; } = 0.5;

    /// <summary>Approach load divided by peel load (0.3..1.5).</summary>
    public double ApproachShare { get; init; } = 1.0;

    /// <summary>Green (as printed) tensile strength, MPa (10..40).</summary>
    public double GreenStrengthMPa { get; init; } = 20;

    /// <summary>Green modulus in build direction, MPa (300..1200).</summary>
    public double GreenModulusMPa { get; init; } = 800;

    /// <summary>Reduction of a contact tip's strength (0.3..0.7).</summary>
    public double TipShare { get; init; } = 0.5;

    /// <summary>Poisson ratio (0.35..0.45).</summary>
    public double PoissonRatio { get; init; } = 0.40;

    /// <summary>Design pressure of an unvented cup, kPa (5..101.3).</summary>
    public double CupPressureKPa { get; init; } = 50;

    /// <summary>Cup pressure that needs no action, kPa (1..5).</summary>
    public double CupPressureOkKPa { get; init; } = 2;
}

/// <summary>A printer as it can really be used. Lengths mm, speeds mm/s, times s.</summary>
public sealed record PrinterData
{
    /// <summary>Name, e.g. bench-small.</summary>
    public required string Name { get; init; }

    /// <summary>Usable platform in x, mm.</summary>
    public required double WidthMm { get; init; }

    /// <summary>Usable platform in y, mm.</summary>
    public required double DepthMm { get; init; }

    /// <summary>Usable height, mm.</summary>
    public required double HeightMm { get; init; }

    /// <summary>Kept free at every side of the platform, mm.</summary>
    public double MarginMm { get; init; } = 3;

    /// <summary>Pixel pitch of the screen, mm.</summary>
    public double PixelMm { get; init; } = 0.05;

    /// <summary>Resin that the vat holds when full, ml.</summary>
    public double VatMl { get; init; } = 800;

    /// <summary>Resin that must stay in the vat, ml.</summary>
    public double VatLeastMl { get; init; } = 200;

    /// <summary>Weight that the platform arm carries, kg.</summary>
    public double PlatformCarriesKg { get; init; } = 4;

    /// <summary>Grip of the raft on the platform, MPa of raft area (about 0.1, no source).</summary>
    public double PlatformGripMPa { get; init; } = 0.1;

    /// <summary>Lift distance, mm.</summary>
    public double LiftMm { get; init; } = 7;

    /// <summary>Lift speed, mm/s.</summary>
    public double LiftSpeedMmS { get; init; } = 1.0;

    /// <summary>Retract speed, mm/s.</summary>
    public double RetractSpeedMmS { get; init; } = 3.0;

    /// <summary>Waits in a layer, s.</summary>
    public double WaitS { get; init; } = 1.0;

    /// <summary>Start and stop of a run, s.</summary>
    public double StartStopS { get; init; } = 120;

    /// <summary>Lift speed that the resin's separation stress refers to, mm/s.</summary>
    public double ReferenceLiftSpeedMmS { get; init; } = 1.0;

    /// <summary>Currency of all amounts, e.g. EUR.</summary>
    public string Currency { get; init; } = "EUR";

    /// <summary>Machine rate, currency an hour.</summary>
    public double RatePerHour { get; init; } = 1.5;

    /// <summary>Labour of a set, h.</summary>
    public double LabourHours { get; init; } = 0.75;

    /// <summary>Wage, currency an hour.</summary>
    public double WagePerHour { get; init; } = 25;

    /// <summary>Film, gloves, wash fluid of a run, currency.</summary>
    public double FixedPerRun { get; init; } = 1.2;
}
