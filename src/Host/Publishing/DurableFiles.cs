using System.Runtime.InteropServices;
using System.Text;

namespace Stiltwright.Host.Publishing;

/// <summary>Writes and renames that are on the disk when they return.</summary>
public static class DurableFiles
{
    /// <summary>
    /// Writes a whole file under a temporary name, flushes it and renames it into place over an older one. The temporary
    /// name is always the same for one writer, so that what a crash leaves of it is used up by the next writing.
    /// </summary>
    /// <param name="path">The file.</param>
    /// <param name="text">Its text.</param>
    /// <param name="writer">Tells writers apart where several may write the same file.</param>
    public static void Replace(string path, string text, string writer = "") => Write(path, text, writer, over: true);

    /// <summary>Writes a whole file as <see cref="Replace"/> does, unless one of that name stands already: then nothing is changed.</summary>
    public static void PlaceNew(string path, string text, string writer) => Write(path, text, writer, over: false);

    private static void Write(string path, string text, string writer, bool over)
    {
        var folder = Path.GetDirectoryName(path)!;
        var temporary = Path.Combine(folder, $".{Path.GetFileName(path)}{(writer.Length > 0 ? "." + writer : "")}.tmp");
        // Deleted, not opened: whoever can write here could have laid a link under that name.
        File.Delete(temporary);
        try
        {
            using (var s = new FileStream(temporary, FileMode.CreateNew, FileAccess.Write, FileShare.None))
            {
                s.Write(Encoding.UTF8.GetBytes(text));
                s.Flush(flushToDisk: true);
            }

            File.Move(temporary, path, overwrite: over);
            FlushFolder(folder);
        }
        catch (IOException) when (!over && File.Exists(path))
        {
            File.Delete(temporary);
        }
        catch
        {
            File.Delete(temporary);
            throw;
        }
    }

    /// <summary>Makes sure that all that was written into a folder is on the disk, and its names where the file system can (see <see cref="FlushFolder"/>).</summary>
    /// <exception cref="IOException">The disk did not take a file.</exception>
    public static void FlushAll(string folder)
    {
        foreach (var file in Directory.GetFiles(folder, "*", SearchOption.AllDirectories))
        {
            // Windows flushes only what may be written; elsewhere reading is enough, and a file that nobody may write is no fault.
            using var handle = File.OpenHandle(file, FileMode.Open, OperatingSystem.IsWindows() ? FileAccess.ReadWrite : FileAccess.Read, FileShare.ReadWrite | FileShare.Delete);
            RandomAccess.FlushToDisk(handle);
        }

        foreach (var inner in Directory.GetDirectories(folder, "*", SearchOption.AllDirectories)) FlushFolder(inner);
        FlushFolder(folder);
        FlushFolder(Path.GetDirectoryName(Path.TrimEndingDirectorySeparator(folder))!);
    }

    /// <summary>
    /// Makes renames inside a folder durable. Linux needs the folder itself flushed, which .NET has no call for; on
    /// Windows there is no such step for ordinary accounts. File systems that cannot do it (some shares) say EINVAL.
    /// </summary>
    public static void FlushFolder(string folder)
    {
        if (!OperatingSystem.IsLinux()) return;
        const int ReadOnlyDirectory = 0x10000;
        var handle = NativeOpen(folder, ReadOnlyDirectory);
        if (handle < 0) return;
        _ = NativeFsync(handle);
        _ = NativeClose(handle);
    }

    [DllImport("libc", EntryPoint = "open", SetLastError = true)]
    private static extern int NativeOpen([MarshalAs(UnmanagedType.LPUTF8Str)] string path, int flags);

    [DllImport("libc", EntryPoint = "fsync", SetLastError = true)]
    private static extern int NativeFsync(int handle);

    [DllImport("libc", EntryPoint = "close", SetLastError = true)]
    private static extern int NativeClose(int handle);
}
