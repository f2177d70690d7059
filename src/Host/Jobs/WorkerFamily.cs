using System.ComponentModel;
using System.Diagnostics;
using System.Runtime.InteropServices;
using System.Runtime.Versioning;
using System.Text;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// A worker and all that it starts. When this is disposed of, none of them is left: on Windows they are in one job object
/// that dies with its handle; on Linux each carries a mark in its environment by which it is found, whoever its parent is.
/// </summary>
public sealed class WorkerFamily : IDisposable
{
    private const string MarkName = "STILTWRIGHT_RUN";
    private readonly string _mark = Guid.NewGuid().ToString("N");
    private readonly nint _job;

    /// <summary>Makes an empty family.</summary>
    public WorkerFamily(long memoryMiB)
    {
        if (OperatingSystem.IsWindows()) _job = MakeJob(memoryMiB);
    }

    /// <summary>Marks a process that is about to be started.</summary>
    public void Mark(ProcessStartInfo start) => start.Environment[MarkName] = _mark;

    /// <summary>Takes in a process that was just started.</summary>
    public void Take(Process process)
    {
        // A worker waits for nothing, but starts no process of its own in its first milliseconds either.
        if (OperatingSystem.IsWindows() && _job != 0 && !AssignProcessToJobObject(_job, process.Handle) && !process.HasExited) throw new Win32Exception();
    }

    /// <summary>Ends all that is left; returns how many that were.</summary>
    public int EndAll()
    {
        if (!OperatingSystem.IsLinux()) return 0;
        var ended = 0;
        var wanted = Encoding.ASCII.GetBytes($"{MarkName}={_mark}");
        foreach (var folder in Directory.EnumerateDirectories("/proc"))
        {
            if (!int.TryParse(Path.GetFileName(folder), out var id) || id == Environment.ProcessId || !Carries(folder, wanted)) continue;
            try
            {
                using var process = Process.GetProcessById(id);
                process.Kill(entireProcessTree: true);
                ended++;
            }
            catch (Exception e) when (e is ArgumentException or InvalidOperationException or Win32Exception)
            {
                // It ended between the two looks.
            }
        }

        return ended;
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        EndAll();
        if (OperatingSystem.IsWindows() && _job != 0) CloseHandle(_job);
    }

    private static bool Carries(string folder, byte[] mark)
    {
        try
        {
            return File.ReadAllBytes(Path.Combine(folder, "environ")).AsSpan().IndexOf(mark) >= 0;
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return false; // Gone meanwhile, or another account's: not ours either way.
        }
    }

    // Job objects as documented by Microsoft: JOBOBJECT_EXTENDED_LIMIT_INFORMATION is class 9.
    [SupportedOSPlatform("windows")]
    private static nint MakeJob(long memoryMiB)
    {
        const uint KillOnClose = 0x2000, JobMemory = 0x200, DieOnException = 0x400;
        var job = CreateJobObject(0, null);
        if (job == 0) throw new Win32Exception();
        var limits = new ExtendedLimits { Basic = new BasicLimits { Flags = KillOnClose | JobMemory | DieOnException }, JobMemory = (nuint)(memoryMiB << 20) };
        if (!SetInformationJobObject(job, 9, ref limits, (uint)Marshal.SizeOf<ExtendedLimits>())) throw new Win32Exception();
        return job;
    }

    [StructLayout(LayoutKind.Sequential)]
    private struct BasicLimits
    {
        public long ProcessTime, JobTime;
        public uint Flags;
        public nuint LeastSet, MostSet;
        public uint MostProcesses;
        public nuint Affinity;
        public uint Priority, Scheduling;
    }

    [StructLayout(LayoutKind.Sequential)]
    private struct ExtendedLimits
    {
        public BasicLimits Basic;
        public ulong Reads, Writes, Others, ReadBytes, WrittenBytes, OtherBytes;
        public nuint ProcessMemory, JobMemory, PeakProcess, PeakJob;
    }

    [DllImport("kernel32", SetLastError = true, CharSet = CharSet.Unicode, EntryPoint = "CreateJobObjectW")]
    private static extern nint CreateJobObject(nint security, string? name);

    [DllImport("kernel32", SetLastError = true)]
    [return: MarshalAs(UnmanagedType.Bool)]
    private static extern bool SetInformationJobObject(nint job, int kind, ref ExtendedLimits limits, uint length);

    [DllImport("kernel32", SetLastError = true)]
    [return: MarshalAs(UnmanagedType.Bool)]
    private static extern bool AssignProcessToJobObject(nint job, nint process);

    [DllImport("kernel32", SetLastError = true)]
    [return: MarshalAs(UnmanagedType.Bool)]
    private static extern bool CloseHandle(nint handle);
}
