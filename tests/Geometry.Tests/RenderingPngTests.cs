using System.Buffers.Binary;
using System.IO.Compression;
using System.Text;
using Stiltwright.Geometry.Rendering;

namespace Stiltwright.Geometry.Tests;

public class RenderingPngTests
{
    [Fact]
    public void The_checksum_is_the_published_one()
    {
        // Check value of CRC-32 (ISO-HDLC, as PNG uses it) over "123456789": CBF43926; an empty IEND chunk ends in AE426082.
        Assert.Equal(0xCBF43926u, Png.Crc32(0, Encoding.ASCII.GetBytes("123456789")));
        Assert.Equal(0xAE426082u, Png.Crc32(0, Encoding.ASCII.GetBytes("IEND")));
        Assert.Equal(Png.Crc32(0, "123456789"u8), Png.Crc32(Png.Crc32(0, "1234"u8), "56789"u8));
    }

    [Theory]
    [InlineData(1, 1)]
    [InlineData(7, 5)]
    [InlineData(64, 40)]
    public void A_decoder_written_from_the_standard_reads_the_picture_back(int width, int height)
    {
        var image = new Image(width, height);
        var random = new Random(width);
        for (var i = 0; i < image.Rgb.Length; i++) image.Rgb[i] = (byte)(i / 3 % width * 3 + random.Next(20));
        Assert.Equal(image.Rgb, Decode(Png.ToBytes(image), out var w, out var h));
        Assert.Equal((width, height), (w, h));
    }

    // W3C Portable Network Graphics (third edition): 5.3 chunk layout, 9 filtering, 11.2.1 IHDR.
    private static byte[] Decode(byte[] png, out int width, out int height)
    {
        Assert.Equal([137, 80, 78, 71, 13, 10, 26, 10], png[..8]);
        (width, height) = (0, 0);
        using var packed = new MemoryStream();
        var kinds = new List<string>();
        for (var at = 8; at < png.Length;)
        {
            var length = BinaryPrimitives.ReadInt32BigEndian(png.AsSpan(at));
            var kind = Encoding.ASCII.GetString(png, at + 4, 4);
            kinds.Add(kind);
            Assert.Equal(Png.Crc32(0, png.AsSpan(at + 4, 4 + length)), BinaryPrimitives.ReadUInt32BigEndian(png.AsSpan(at + 8 + length)));
            var data = png.AsSpan(at + 8, length);
            if (kind == "IHDR")
            {
                (width, height) = (BinaryPrimitives.ReadInt32BigEndian(data), BinaryPrimitives.ReadInt32BigEndian(data[4..]));
                Assert.Equal([8, 2, 0, 0, 0], data[8..].ToArray());
            }
            if (kind == "IDAT") packed.Write(data);
            at += 12 + length;
        }
        Assert.Equal("IHDR", kinds[0]);
        Assert.Equal("IEND", kinds[^1]);
        packed.Position = 0;
        using var zlib = new ZLibStream(packed, CompressionMode.Decompress);
        using var raw = new MemoryStream();
        zlib.CopyTo(raw);
        var rows = raw.ToArray();
        var n = 3 * width;
        Assert.Equal(height * (n + 1), rows.Length);
        var rgb = new byte[n * height];
        for (var y = 0; y < height; y++)
            for (var i = 0; i < n; i++)
            {
                int a = i >= 3 ? rgb[y * n + i - 3] : 0, b = y > 0 ? rgb[(y - 1) * n + i] : 0, c = i >= 3 && y > 0 ? rgb[(y - 1) * n + i - 3] : 0;
                int p = a + b - c, pa = Math.Abs(p - a), pb = Math.Abs(p - b), pc = Math.Abs(p - c);
                var guess = rows[y * (n + 1)] switch { 0 => 0, 1 => a, 2 => b, 3 => (a + b) / 2, 4 => pa <= pb && pa <= pc ? a : pb <= pc ? b : c, _ => throw new InvalidDataException() };
                rgb[y * n + i] = (byte)(rows[y * (n + 1) + 1 + i] + guess);
            }
        return rgb;
    }

    [Fact]
    public void Letters_and_digits_all_look_different()
    {
        // O and nought are one shape in stroke letters.
        const string letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ123456789.,-:/%()+=";
        var seen = new Dictionary<string, char>();
        foreach (var c in letters)
        {
            var canvas = new Canvas(new Image(30, 30));
            canvas.Text(5, 25, c.ToString(), 20, Tone.InkLine);
            var bytes = Convert.ToBase64String(canvas.Image.Rgb);
            Assert.False(seen.TryGetValue(bytes, out var other), $"{c} looks like {other}");
            seen[bytes] = c;
        }
        Assert.Equal(Canvas.TextWidth("a1", 20), Canvas.TextWidth("A1", 20));
    }

    [Fact]
    public void Marks_keep_their_lines_apart_and_inside_the_sheet()
    {
        var image = new Image(800, 600);
        var marks = Enumerable.Range(1, 9).Select(i => new Mark(i, "drain hole", 440 + 2 * i, 300, i % 2 == 0)).ToList();
        Marks.Draw(new Canvas(image), marks, 20);
        // Each mark's word stands on a line of its own in one of the two margins: count the rows that are ink along them.
        Assert.Equal(9, Lines(image, 30, 90) + Lines(image, 710, 770));
        // The cross drawn last lies on top at its place.
        Assert.True(image.Rgb[3 * (300 * 800 + 458)] < 160);
    }

    private static int Lines(Image image, int from, int to)
    {
        var lines = 0;
        var before = false;
        for (var y = 0; y < image.Height; y++)
        {
            var ink = true;
            for (var x = from; x < to; x++) ink &= image.Rgb[3 * (y * image.Width + x)] < 160;
            if (ink && !before) lines++;
            before = ink;
        }
        return lines;
    }
}
