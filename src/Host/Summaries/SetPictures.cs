using Stiltwright.Geometry;
using Stiltwright.Geometry.Rendering;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Summaries;

/// <summary>
/// The pictures of a set: overview, the figure from below with its contacts and holes, a section through each cavity, a
/// look inside, the places of the findings, and the pieces side by side. The large ones go to <c>pictures/</c> in the
/// set's folder; each comes back with a small one for page and mail.
/// </summary>
public static class SetPictures
{
    /// <summary>Most places marked in one picture of findings; the page lists all.</summary>
    private const int MostMarks = 12;

    /// <summary>Most pictures of findings in a set, worst findings first.</summary>
    private const int MostFindingPictures = 8;

    /// <summary>With more pieces than this the looks inside are left out; the sections show the cavities too.</summary>
    private const int MostPiecesSeenInside = 4;

    /// <summary>
    /// Draws all pictures of a finished workpiece into <paramref name="setFolder"/>. Nothing to draw gives an empty list.
    /// </summary>
    public static IReadOnlyList<SetPicture> Draw(Workpiece workpiece, IReadOnlyList<Finding> findings, string setFolder, CancellationToken cancel)
    {
        var pieces = workpiece.Pieces.Select(p => new PieceParts(p)).Where(p => p.Any).ToList();
        if (pieces.Count == 0) return [];
        Directory.CreateDirectory(Path.Combine(setFolder, SummaryFiles.PicturesName));
        var drawn = new PictureSink(setFolder);
        if (pieces.Count > 1) drawn.Add(PiecePictures.SideBySide(pieces, cancel));
        foreach (var p in pieces)
        {
            cancel.ThrowIfCancellationRequested();
            if (pieces.Count == 1) drawn.Add(PiecePictures.Overview(p, cancel));
            for (var c = 0; c < p.Piece.Cavities.Count && c < 2; c++) drawn.Add(PiecePictures.Section(p, c, cancel));
            if (p.Piece.Cavities.Count > 0 && pieces.Count <= MostPiecesSeenInside) drawn.Add(PiecePictures.Inside(p, cancel));
            drawn.Add(PiecePictures.Below(p, cancel));
        }
        var n = 0;
        foreach (var group in Groups(findings, pieces).Take(MostFindingPictures))
            drawn.Add(FindingPictures.Places(group.Piece, [.. group.Places.Take(MostMarks)], group.Places.Count, ++n, cancel));
        return drawn.Written();
    }

    /// <summary>The findings with the picture that shows each of them (the first, where there are several).</summary>
    public static IReadOnlyList<Finding> WithPictures(IReadOnlyList<Finding> findings, IReadOnlyList<SetPicture> pictures)
    {
        var list = findings.ToArray();
        foreach (var p in pictures)
            foreach (var i in p.FindingIndexes)
                if (list[i].Picture is null) list[i] = list[i] with { Picture = p.File };
        return list;
    }

    private static IEnumerable<(PieceParts Piece, List<(int Index, Finding Finding)> Places)> Groups(IReadOnlyList<Finding> findings, List<PieceParts> pieces) =>
        findings.Select((f, i) => (Index: i, Finding: f))
            .Where(x => x.Finding.AtMm is not null)
            .GroupBy(x => (x.Finding.Id, Piece: x.Finding.Piece ?? ""))
            .Select(g => (Piece: pieces.Find(p => p.Piece.Letter == g.Key.Piece) ?? pieces[0], Places: g.OrderByDescending(x => x.Finding.Level).ToList()))
            .OrderByDescending(g => g.Places[0].Finding.Level);
}

/// <summary>A drawn picture before it is written.</summary>
/// <param name="Name">File name without folder and ending.</param>
/// <param name="Image">The picture.</param>
/// <param name="Caption">What it shows.</param>
/// <param name="Marks">Its numbered marks.</param>
/// <param name="FindingIndexes">The findings it shows.</param>
/// <param name="InMail">True if a mail should carry it.</param>
internal sealed record DrawnPicture(string Name, Image Image, string Caption, IReadOnlyList<string> Marks, IReadOnlyList<int> FindingIndexes, bool InMail);

/// <summary>Writes pictures and keeps their small copies.</summary>
internal sealed class PictureSink(string setFolder)
{
    private readonly List<Task<SetPicture>> _writing = [];

    /// <summary>All pictures in the order in which they were added; waits until they are written.</summary>
    internal IReadOnlyList<SetPicture> Written() => [.. _writing.Select(t => t.GetAwaiter().GetResult())];

    /// <summary>Packing a picture takes about as long as drawing it, so it runs beside the drawing of the next.</summary>
    internal void Add(DrawnPicture p) => _writing.Add(Task.Run(() => Write(p)));

    private SetPicture Write(DrawnPicture p)
    {
        var file = $"{SummaryFiles.PicturesName}/{p.Name}.png";
        using (var stream = new FileStream(Path.Combine(setFolder, SummaryFiles.PicturesName, p.Name + ".png"), FileMode.Create, FileAccess.Write))
            Png.Write(stream, p.Image);
        var small = p.Image.Smaller(2);
        return new SetPicture(file, p.Caption, p.Marks, p.FindingIndexes, Png.ToBytes(small), small.Width, small.Height, p.InMail);
    }
}

/// <summary>The parts of a piece as they are drawn: figure in clay, struts in ink, raft as card, hollows as water.</summary>
internal sealed class PieceParts
{
    private readonly Dictionary<View, (Camera, SampleBuffer)> _glances = [];

    internal PieceParts(Piece piece)
    {
        Piece = piece;
        var lattice = piece.Figure.Lattice;
        var figure = Mesh.Concat(lattice, [piece.Figure, piece.Untouched, piece.OldHollows]);
        Figure = new RenderPart(figure, Tone.Clay);
        GlassFigure = new RenderPart(Mesh.Concat(lattice, [piece.Outer, piece.Untouched]), Tone.Clay) { Opacity = 0.34 };
        Struts = new RenderPart(piece.Struts.ToMesh(lattice), Tone.Ink) { CutGroup = 1 };
        Raft = new RenderPart(piece.Raft, Tone.Card) { CutGroup = 2 };
        Hollows = [.. piece.Cavities.Select(c => new RenderPart(c.Surface, Tone.Water))];
        Any = figure.TriangleCount + Struts.Mesh.TriangleCount + piece.Raft.TriangleCount > 0;
    }

    internal Piece Piece { get; }

    internal bool Any { get; }

    internal RenderPart Figure { get; }

    internal RenderPart GlassFigure { get; }

    internal RenderPart Struts { get; }

    internal RenderPart Raft { get; }

    internal IReadOnlyList<RenderPart> Hollows { get; }

    internal IReadOnlyList<RenderPart> All => [Figure, Struts, Raft];

    internal IReadOnlyList<RenderPart> SeenInside => [.. Hollows, Struts, Raft, GlassFigure];

    /// <summary>What is seen from a side, on a small picture; drawn once for all findings of the piece.</summary>
    internal (Camera Camera, SampleBuffer Samples) Glance(View view, CancellationToken cancel)
    {
        const int w = 320, h = 240;
        if (_glances.TryGetValue(view, out var known)) return known;
        var camera = Camera.Fit(All.Select(x => x.Mesh), view, w, h, 6);
        return _glances[view] = (camera, Rasteriser.Render(All, camera, w, h, cancel).Samples!);
    }

    /// <summary>" of piece a", or nothing for the only piece.</summary>
    internal string OfPiece => Piece.Letter.Length == 0 ? "" : $" of piece {Piece.Letter}";

    /// <summary>"-a", or nothing for the only piece.</summary>
    internal string Suffix => Piece.Letter.Length == 0 ? "" : "-" + Piece.Letter;
}
