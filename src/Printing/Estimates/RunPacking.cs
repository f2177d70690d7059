namespace Stiltwright.Printing.Estimates;

/// <summary>A piece to be laid on a platform: its outline box and height, mm.</summary>
/// <param name="Letter">Name of the piece.</param>
/// <param name="WidthMm">Size in x.</param>
/// <param name="DepthMm">Size in y.</param>
/// <param name="HeightMm">Size in z.</param>
public readonly record struct PieceOutline(string Letter, double WidthMm, double DepthMm, double HeightMm);

/// <summary>
/// Sorts pieces into runs: on masked printers a layer takes the same time whatever lies in it, so pieces of like height
/// share a platform. Boxes are laid in rows (shelves), tallest pieces first; simple, never overlapping, not always tightest.
/// </summary>
public static class RunPacking
{
    /// <summary>The runs, each a list of letters, for a platform of width x depth mm with a gap between pieces.</summary>
    /// <remarks>A piece larger than the platform gets a run of its own.</remarks>
    public static IReadOnlyList<IReadOnlyList<string>> Pack(IEnumerable<PieceOutline> pieces, double widthMm, double depthMm, double gapMm)
    {
        var runs = new List<Platform>();
        foreach (var p in pieces.OrderByDescending(p => p.HeightMm).ThenBy(p => p.Letter.Length).ThenBy(p => p.Letter, StringComparer.Ordinal))
        {
            if (!runs.Any(r => r.Take(p)))
            {
                var run = new Platform(widthMm, depthMm, gapMm);
                run.TakeAnyway(p);
                runs.Add(run);
            }
        }
        return [.. runs.Select(r => r.Letters)];
    }

    private sealed class Platform(double width, double depth, double gap)
    {
        private double _rowStart, _rowDepth, _x;

        public List<string> Letters { get; } = [];

        public bool Take(PieceOutline p)
        {
            double w = p.WidthMm, d = p.DepthMm;
            if (_x + gap + w <= width && _rowStart + d <= depth)
            {
                _x += gap + w;
                _rowDepth = Math.Max(_rowDepth, d);
                Letters.Add(p.Letter);
                return true;
            }
            var next = _rowStart + _rowDepth + gap;
            if (w > width || next + d > depth) return false;
            (_rowStart, _rowDepth, _x) = (next, d, w);
            Letters.Add(p.Letter);
            return true;
        }

        public void TakeAnyway(PieceOutline p)
        {
            (_x, _rowDepth) = (p.WidthMm, p.DepthMm);
            Letters.Add(p.Letter);
        }
    }
}
