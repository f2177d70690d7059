using System.Runtime.InteropServices;

namespace Stiltwright.Faults;

/// <summary>
/// An ext4 file system in a file, mounted over a folder, that can be made to go read-only or to fail every call, as a disk
/// does that breaks (Linux, as root). What was not flushed by then is lost, as with a power cut.
/// </summary>
internal sealed class BreakableDisk : IDisposable
{
    private const int ReadOnlyDirectory = 0x10000; // O_RDONLY | O_DIRECTORY
    private const nuint Shutdown = 0x8004587d; // EXT4_IOC_SHUTDOWN (fs/ext4/ext4.h)
    private readonly string _image;
    private readonly string _folder;

    private BreakableDisk(string image, string folder) => (_image, _folder) = (image, folder);

    /// <summary>Mounts over a folder.</summary>
    public static BreakableDisk Over(string folder, string image, int mebibytes)
    {
        using (var file = File.Create(image)) file.SetLength((long)mebibytes << 20);
        SmallDisk.Run("mkfs.ext4", "-q", image);
        var disk = new BreakableDisk(image, folder);
        disk.Mount();
        return disk;
    }

    /// <summary>From now on every call fails with an input/output error.</summary>
    public void Break()
    {
        var folder = Open(_folder, ReadOnlyDirectory);
        var noFlush = 2u; // EXT4_GOING_FLAGS_NOLOGFLUSH
        var said = folder < 0 ? -1 : Control(folder, Shutdown, ref noFlush);
        var error = Marshal.GetLastPInvokeErrorMessage();
        if (folder >= 0) _ = Close(folder);
        if (said != 0) throw new IOException($"{_folder} cannot be broken: {error}");
    }

    /// <summary>From now on every write is refused, as the kernel does when it finds a disk damaged.</summary>
    public void GoReadOnly()
    {
        var device = File.ReadLines("/proc/self/mounts").Last(l => l.Split(' ')[1] == _folder).Split(' ')[0];
        File.WriteAllText($"/sys/fs/ext4/{Path.GetFileName(device)}/trigger_fs_error", "1");
    }

    /// <summary>The disk is in order again, with what had been flushed to it.</summary>
    public void Mend()
    {
        SmallDisk.Run("umount", "-l", _folder);
        Mount();
    }

    public void Dispose()
    {
        SmallDisk.Run("umount", "-l", _folder);
        File.Delete(_image);
    }

    private void Mount() => SmallDisk.Run("mount", "-o", "loop,errors=remount-ro", _image, _folder);

    [DllImport("libc", EntryPoint = "open", SetLastError = true)]
    private static extern int Open([MarshalAs(UnmanagedType.LPUTF8Str)] string path, int flags);

    [DllImport("libc", EntryPoint = "ioctl", SetLastError = true)]
    private static extern int Control(int file, nuint request, ref uint argument);

    [DllImport("libc", EntryPoint = "close")]
    private static extern int Close(int file);
}
