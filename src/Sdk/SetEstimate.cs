namespace Stiltwright.Sdk;

/// <summary>What a set needs, as <c>estimate</c> worked it out.</summary>
/// <param name="Pieces">One entry a piece, in order.</param>
/// <param name="Ways">The ways of enlarging compared: as-is, hollowed, thinned-hollowed.</param>
/// <param name="Runs">Fillings of the platform.</param>
/// <param name="MassG">Cured mass of everything, g.</param>
/// <param name="ResinMl">Liquid resin drawn, waste included, ml.</param>
/// <param name="PrintS">Print time of all runs, s.</param>
/// <param name="Cost">Cost of the set, in the printer's currency.</param>
/// <param name="Currency">Currency.</param>
/// <param name="StandingMm">Height of the figure standing, mm.</param>
/// <param name="PrintMm">Height of the print, mm.</param>
public sealed record SetEstimate(
    IReadOnlyList<PieceEstimate> Pieces, IReadOnlyList<Way> Ways, IReadOnlyList<PrintRun> Runs,
    double MassG, double ResinMl, double PrintS, double Cost, string Currency, double StandingMm, double PrintMm);

/// <summary>Volume and mass of one piece.</summary>
/// <param name="Letter">Its letter.</param>
/// <param name="VolumeMm3">Union volume of all that prints, mm3.</param>
/// <param name="MassG">Cured mass, g.</param>
public sealed record PieceEstimate(string Letter, double VolumeMm3, double MassG);

/// <summary>One way of enlarging.</summary>
/// <param name="Name">as-is, hollowed or thinned-hollowed.</param>
/// <param name="VolumeMm3">Union volume, mm3.</param>
/// <param name="MassG">Cured mass, g.</param>
/// <param name="SavedShare">1 - volume / as-is.</param>
public sealed record Way(string Name, double VolumeMm3, double MassG, double SavedShare);

/// <summary>One filling of one platform.</summary>
/// <param name="Printer">Name of the printer.</param>
/// <param name="Pieces">Letters.</param>
/// <param name="Layers">Number of layers.</param>
/// <param name="PrintS">Time, s.</param>
/// <param name="ResinMl">Resin drawn, ml.</param>
/// <param name="Refills">When the vat must be filled up.</param>
public sealed record PrintRun(string Printer, IReadOnlyList<string> Pieces, int Layers, double PrintS, double ResinMl, IReadOnlyList<Refill> Refills);

/// <summary>A refill of the vat.</summary>
/// <param name="Layer">Before this layer.</param>
/// <param name="AfterS">Seconds after the start.</param>
/// <param name="Ml">How much, ml.</param>
public sealed record Refill(int Layer, double AfterS, double Ml);
