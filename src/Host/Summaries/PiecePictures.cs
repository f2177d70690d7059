using Stiltwright.Geometry;
using Stiltwright.Geometry.Rendering;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>The pictures that every piece gets.</summary>
internal static class PiecePictures
{
    internal static DrawnPicture Overview(PieceParts p, CancellationToken cancel)
    {
        var sheet = Sheet.Draw(p.All, Camera.Frame(View.ThreeQuarter), [], null, cancel).Finish();
        return new DrawnPicture("overview" + p.Suffix, sheet.Image, $"The print{p.OfPiece} as it stands on the platform, from the front right.", [], [], true);
    }

    /// <summary>The figure alone from below: contacts as small crosses, holes numbered.</summary>
    internal static DrawnPicture Below(PieceParts p, CancellationToken cancel)
    {
        var holes = p.Piece.Cavities.SelectMany(c => c.Holes).ToList();
        IReadOnlyList<RenderPart> parts = p.Figure.Mesh.TriangleCount > 0 ? [p.Figure] : p.All;
        var sheet = Sheet.Draw(parts, Camera.Frame(View.Below), [.. holes.Select(HoleWord)], null, cancel);
        int seen = 0, contacts = 0;
        foreach (var s in p.Piece.Struts.Segments)
            if (s.Contact is { } at)
            {
                contacts++;
                if (sheet.Cross(at, 5)) seen++;
            }
        foreach (var h in holes) sheet.Mark(h.CentreMm, HoleWord(h), HoleText(h));
        sheet.HeadLine("front");
        sheet.Finish();
        var caption = $"The figure{p.OfPiece} from below, without struts and raft, its front at the top."
            + (contacts > 0 ? $" Small crosses are contacts of struts: {Words.Number(seen)} of {Words.Number(contacts)} are seen from here." : "")
            + (holes.Count > 0 ? " A dashed line leads to a hole on the far side." : "");
        return new DrawnPicture("below" + p.Suffix, sheet.Image, caption, sheet.Told, [], holes.Count > 0);
    }

    /// <summary>A section through a cavity and its first drain hole, seen along the horizontal at right angles to it.</summary>
    internal static DrawnPicture Section(PieceParts p, int cavity, CancellationToken cancel)
    {
        var c = p.Piece.Cavities[cavity];
        var middle = (c.Surface.Bounds.Min + c.Surface.Bounds.Max) * 0.5;
        var drain = c.Holes.FirstOrDefault(h => h.Purpose == "drain") ?? c.Holes.FirstOrDefault();
        var toward = new Vec3(0, -1, 0);
        if (drain is not null)
        {
            // The plane holds the hole and its axis where that is not upright, else the hole and the cavity's middle.
            var along = new Vec3(drain.Axis.X, drain.Axis.Y, 0);
            if (along.Length < 0.2) along = new Vec3(middle.X - drain.CentreMm.X, middle.Y - drain.CentreMm.Y, 0);
            if (along.Length > 1e-6) toward = along.Cross(Vec3.Up).Unit();
            if (toward.Y > 0 || toward.Y == 0 && toward.X < 0) toward = -toward;
        }
        var frame = Camera.Upright(toward);
        var through = drain?.CentreMm ?? middle;
        var depth = through.Dot(toward);
        // A plane through the hole may pass beside the hollow; then the hollow's own middle is shown.
        var extent = Camera.Extent([c.Surface], frame);
        if (depth <= extent.Min.Z + 0.5 || depth >= extent.Max.Z - 0.5) depth = middle.Dot(toward);
        var shown = c.Holes.Where(h => Math.Abs(h.CentreMm.Dot(toward) - depth) <= h.DiameterMm / 2).ToList();
        var sheet = Sheet.Draw(p.All, frame, [.. shown.Select(HoleWord)], depth, cancel);
        foreach (var h in shown) sheet.Mark(h.CentreMm, HoleWord(h), HoleText(h));
        sheet.Finish();
        var name = "section" + p.Suffix + (cavity > 0 ? $"-{cavity + 1}" : "");
        return new DrawnPicture(
            name, sheet.Image,
            $"Cut upright through cavity {cavity + 1}{p.OfPiece}: the hatched face is the solid, wall {Words.Mm(c.WallMinMm)} at least, {Words.Mm(c.WallMeanMm)} on average.",
            sheet.Told, [], cavity == 0);
    }

    /// <summary>The cavities seen through the figure.</summary>
    internal static DrawnPicture Inside(PieceParts p, CancellationToken cancel)
    {
        var holes = p.Piece.Cavities.SelectMany(c => c.Holes).ToList();
        var sheet = Sheet.Draw(p.SeenInside, Camera.Frame(View.ThreeQuarter), [.. holes.Select(HoleWord)], null, cancel);
        foreach (var h in holes) sheet.Mark(h.CentreMm, HoleWord(h), HoleText(h));
        sheet.Finish();
        return new DrawnPicture("inside" + p.Suffix, sheet.Image, $"The cavities{p.OfPiece} (blue) seen through the figure.", sheet.Told, [], false);
    }

    /// <summary>All pieces in one picture, to one scale, each with its letter.</summary>
    internal static DrawnPicture SideBySide(IReadOnlyList<PieceParts> pieces, CancellationToken cancel)
    {
        const int width = 1600, most = 1400, gap = 24, label = 46;
        var frame = Camera.Frame(View.ThreeQuarter);
        var sizes = pieces.Select(p => Camera.Extent(p.All.Select(x => x.Mesh), frame).Size).ToList();
        // As many columns as let the pieces be drawn largest; each row is as high as its tallest piece needs.
        var (columns, scale) = Enumerable.Range(1, pieces.Count).Select(n => (Columns: n, Scale: ScaleFor(n))).MaxBy(x => x.Scale);
        var cellW = (width - gap * (columns + 1)) / columns;
        int[] heights = [.. sizes.Chunk(columns).Select(row => (int)Math.Ceiling(scale * row.Max(s => s.Y)) + label + 8)];
        var sheet = new Image(width, (heights.Sum() + gap * (heights.Length + 1) + 1) & ~1);
        var canvas = new Canvas(sheet);
        for (var i = 0; i < pieces.Count; i++)
        {
            int left = gap + i % columns * (cellW + gap), top = gap + heights.Take(i / columns).Sum(h => h + gap), cellH = heights[i / columns];
            var camera = Camera.Fit(pieces[i].All.Select(x => x.Mesh), frame, cellW, cellH - label, 4, 4) with { PixelsPerMm = scale };
            var picture = Rasteriser.Render(pieces[i].All, camera, cellW, cellH - label, cancel);
            sheet.Paste(picture, left, top);
            picture.Samples!.Release();
            var text = $"piece {pieces[i].Piece.Letter}";
            canvas.Text(left + (cellW - Canvas.TextWidth(text, Sheet.Letters)) / 2, top + cellH - 10, text, Sheet.Letters, Tone.InkLine);
        }
        return new DrawnPicture("pieces", sheet, $"All {pieces.Count} pieces to one scale, each as it stands on its platform.", [], [], true);

        double ScaleFor(int across)
        {
            var rows = sizes.Chunk(across).ToList();
            return Math.Min(
                ((width - gap * (across + 1)) / across - 8) / sizes.Max(s => s.X),
                (most - gap * (rows.Count + 1) - rows.Count * (label + 8)) / rows.Sum(row => row.Max(s => s.Y)));
        }
    }

    private static string HoleWord(DrainHole h) => h.Purpose == "air" ? "air hole" : "drain hole";

    private static string HoleText(DrainHole h) => $"{HoleWord(h)}, {Words.Mm(h.DiameterMm)} wide, at {Words.Place(h.CentreMm)}";
}

/// <summary>Pictures of the places that findings name.</summary>
internal static class FindingPictures
{
    private static readonly View[] Tried = [View.ThreeQuarter, View.Front, View.ThreeQuarterBelow, View.Back, View.Left, View.Right, View.Above, View.Below];

    /// <summary>Places need no finer paper than this to be found again: half the samples of a large picture.</summary>
    private const double PlacesShare = 0.72;

    internal static DrawnPicture Places(PieceParts p, IReadOnlyList<(int Index, Finding Finding)> places, int all, int number, CancellationToken cancel)
    {
        var points = places.Select(x => x.Finding.AtMm!.Value).ToList();
        var (view, seen) = BestView(p, points, cancel);
        var inside = seen == 0;
        var word = places[0].Finding.Id.Replace('-', ' ');
        var sheet = Sheet.Draw(inside ? p.SeenInside : p.All, Camera.Frame(view), [word], null, cancel, PlacesShare);
        foreach (var (_, f) in places)
            sheet.Mark(f.AtMm!.Value, word, f.Layer is { } l ? $"layer {Words.Number(l)}, {Words.Place(f.AtMm!.Value)}" : Words.Place(f.AtMm!.Value));
        sheet.Finish();
        var caption = $"Where: {word}{p.OfPiece}"
            + (all > places.Count ? $", {places.Count} of {Words.Number(all)} places" : "")
            + (inside ? ", seen through the figure." : seen < points.Count ? ". A dashed line leads to a place that lies behind." : ".");
        return new DrawnPicture($"places-{number}", sheet.Image, caption, sheet.Told, [.. places.Select(x => x.Index)], places[0].Finding.Level >= Level.Check);
    }

    /// <summary>The view that sees most of the places, judged on small pictures; the first of equals.</summary>
    private static (View View, int Seen) BestView(PieceParts p, List<Vec3> points, CancellationToken cancel)
    {
        var best = (View: Tried[0], Seen: -1);
        foreach (var view in Tried)
        {
            var (camera, samples) = p.Glance(view, cancel);
            int w = samples.Width / 2, h = samples.Height / 2;
            var allowance = Math.Max(1.0, 3 / camera.PixelsPerMm);
            var seen = points.Count(at =>
            {
                var (x, y, depth) = camera.Project(at, w, h);
                int sx = (int)Math.Floor(2 * x), sy = (int)Math.Floor(2 * y);
                return (uint)sx < (uint)samples.Width && (uint)sy < (uint)samples.Height && samples.Depth[sy * samples.Width + sx] <= depth + allowance;
            });
            if (seen > best.Seen) best = (view, seen);
            if (seen == points.Count) break;
        }
        return best;
    }
}
