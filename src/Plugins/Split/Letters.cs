namespace Stiltwright.Plugins.Split;

/// <summary>Names of pieces: a, b, ... z, aa, ab, ...</summary>
internal static class Letters
{
    public static string Of(int index) =>
        index < 26 ? ((char)('a' + index)).ToString() : Of(index / 26 - 1) + (char)('a' + index % 26);
}
