using System.Buffers.Binary;
using Stiltwright.Host.Summaries;

namespace Stiltwright.Host.Mail;

/// <summary>The few pictures of a set that go into its mail.</summary>
public static class MailPictures
{
    private const int Most = 3;
    private const long Largest = 1 << 20;

    // PNG specification (W3C, second edition, 5.2 and 11.2.2): signature of 8 bytes, then IHDR with width and height at 16 and 20.
    private const int WidthAt = 16, HeightAt = 20, HeadLength = 24;

    /// <summary>The first pictures of a set by name, none larger than a mailbox takes gladly.</summary>
    public static IReadOnlyList<SetPicture> Of(string setFolder)
    {
        var folder = Path.Combine(setFolder, SummaryFiles.PicturesName);
        if (!Directory.Exists(folder)) return [];
        var pictures = new List<SetPicture>();
        foreach (var path in Directory.GetFiles(folder, "*.png").Order(StringComparer.Ordinal))
        {
            if (pictures.Count == Most || new FileInfo(path).Length is > Largest or < HeadLength) continue;
            var png = File.ReadAllBytes(path);
            var (width, height) = (BinaryPrimitives.ReadInt32BigEndian(png.AsSpan(WidthAt)), BinaryPrimitives.ReadInt32BigEndian(png.AsSpan(HeightAt)));
            var caption = Path.GetFileNameWithoutExtension(path).Replace('-', ' ');
            pictures.Add(new SetPicture($"{SummaryFiles.PicturesName}/{Path.GetFileName(path)}", caption, [], [], png, width, height, InMail: true));
        }

        return pictures;
    }
}
