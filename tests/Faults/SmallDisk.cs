using System.Diagnostics;

namespace Stiltwright.Faults;

/// <summary>A file system of a few MiB, mounted over a folder for as long as this is not disposed of (Linux, as root).</summary>
internal sealed class SmallDisk : IDisposable
{
    private readonly string _filler;

    private SmallDisk(string folder)
    {
        Folder = folder;
        _filler = Path.Combine(folder, ".filler");
    }

    public string Folder { get; }

    /// <summary>Why none can be mounted here; null where one can.</summary>
    public static string? WhyNot()
    {
        if (!OperatingSystem.IsLinux()) return "small file systems are only mounted on Linux";
        var folder = Directory.CreateTempSubdirectory("stiltwright-mount-").FullName;
        try
        {
            using var disk = Over(folder, 1);
            return null;
        }
        catch (IOException e)
        {
            return "no file system may be mounted here: " + e.Message;
        }
        finally
        {
            Directory.Delete(folder, true);
        }
    }

    /// <summary>Mounts over a folder.</summary>
    public static SmallDisk Over(string folder, int mebibytes)
    {
        Run("mount", "-t", "tmpfs", "-o", $"size={mebibytes}m,mode=755", "stiltwright", folder);
        return new SmallDisk(folder);
    }

    /// <summary>Takes all the room there is.</summary>
    public void Fill()
    {
        var block = new byte[4096];
        using var s = new FileStream(_filler, FileMode.Append, FileAccess.Write, FileShare.None, 0);
        try
        {
            for (; ; ) s.Write(block);
        }
        catch (IOException)
        {
            // Full: that was wanted.
        }
    }

    /// <summary>Gives it back.</summary>
    public void Empty() => File.Delete(_filler);

    public void ReadOnly(bool on) => Run("mount", "-o", on ? "remount,ro" : "remount,rw", Folder);

    public void Dispose() => Run("umount", "-l", Folder);

    /// <summary>Runs a program of the system to its end.</summary>
    /// <exception cref="IOException">It did not succeed; its own words.</exception>
    public static void Run(string program, params string[] arguments)
    {
        using var p = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardError = true }) ?? throw new IOException($"{program} does not start.");
        var said = p.StandardError.ReadToEnd();
        p.WaitForExit();
        if (p.ExitCode != 0) throw new IOException($"{program} {string.Join(' ', arguments)}: {said.Trim()}");
    }
}
