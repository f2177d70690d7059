namespace Stiltwright.Host.Jobs;

/// <summary>
/// Room on this machine's own disk. Work that cannot be written down is not begun, and work that ran out of room is done
/// again later: a full disk here is no fault of the file.
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

    /// <summary>What to say of a run that ended for want of room.</summary>
    public static IOException RanOut(string folder, string sourceName, string said) =>
        new($"The disk of {folder} was full while {sourceName} was being done ({FreeMiB(folder)} MiB are left now); it is done again when there is room. {said}");

    /// <summary>True for the fault with which a write to a full disk (or over a quota) ends.</summary>
    public static bool IsWanting(Exception e) => e switch
    {
        AggregateException many => many.Flatten().InnerExceptions.Any(IsWanting),
        // ERROR_DISK_FULL and ERROR_HANDLE_DISK_FULL on Windows; ENOSPC and EDQUOT on Linux, where .NET keeps the errno.
        IOException io => io.HResult is unchecked((int)0x80070070) or unchecked((int)0x80070027) || (!OperatingSystem.IsWindows() && io.HResult is 28 or 122),
        _ => e.InnerException is { } inner && IsWanting(inner),
    };

    private static long FreeMiB(string folder) => new DriveInfo(Path.GetFullPath(folder)).AvailableFreeSpace >> 20;
}
