namespace Stiltwright.Host.Jobs;

/// <summary>
/// Room on this machine's own disk. Work that cannot be written down is not begun, and work that ran out of room, or whose
/// disk failed, is done again later: neither is a fault of the file.
/// </summary>
public static class RoomOnDisk
{
    // A set of a small figure has a few MiB; measured on figures of 0.1 to 1 million triangles, copy and set of a source
    // together take less than eight times its bytes.
    private const long LeastMiB = 64;
    private const long TimesSource = 12;

    /// <summary>Makes sure that a folder's disk has room for the copy and the set of a source.</summary>
    /// <param name="folder">Local folder of the run.</param>
    /// <param name="sourceName">Name of the source, for the sentence.</param>
    /// <param name="sourceBytes">Its length.</param>
    /// <exception cref="IOException">It has not; the job should wait.</exception>
    public static void Require(string folder, string sourceName, long sourceBytes)
    {
        var need = LeastMiB + (sourceBytes * TimesSource >> 20);
        var free = FreeMiB(folder);
        if (free < need) throw new IOException($"The disk of {folder} has only {free} MiB left, and {sourceName} may need {need}; it waits until there is room.");
    }

    /// <summary>What to say of a run that the disk ended.</summary>
    public static IOException GaveOut(string folder, string sourceName, string said) =>
        new($"The disk of {folder} gave out while {sourceName} was being done ({Left(folder)}); it is done again when the disk is in order. {said}");

    /// <summary>True for the fault with which a read or write ends on a disk that is full (or over a quota), read-only or broken.</summary>
    public static bool IsDisks(Exception e) => e switch
    {
        AggregateException many => many.Flatten().InnerExceptions.Any(IsDisks),
        // On Windows ERROR_DISK_FULL, ERROR_HANDLE_DISK_FULL, ERROR_WRITE_PROTECT, ERROR_CRC and ERROR_IO_DEVICE; on Linux
        // EIO, ENOSPC, EROFS and EDQUOT, of which .NET keeps the errno.
        IOException io => io.HResult is unchecked((int)0x80070070) or unchecked((int)0x80070027) or unchecked((int)0x80070013) or unchecked((int)0x80070017) or unchecked((int)0x8007045D)
            || (!OperatingSystem.IsWindows() && io.HResult is 5 or 28 or 30 or 122),
        _ => e.InnerException is { } inner && IsDisks(inner),
    };

    private static string Left(string folder)
    {
        try
        {
            return $"{FreeMiB(folder)} MiB are left now";
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return "nor does it say now how much room is left";
        }
    }

    private static long FreeMiB(string folder) => new DriveInfo(Path.GetFullPath(folder)).AvailableFreeSpace >> 20;
}
