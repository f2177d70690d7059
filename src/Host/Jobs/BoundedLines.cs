using System.Text;

namespace Stiltwright.Host.Jobs;

/// <summary>Reads lines from a pipe for as long as it lasts, keeping no line longer than a bound: a stage may print without end.</summary>
public static class BoundedLines
{
    /// <summary>Longest line that is kept, characters; the rest of it is dropped.</summary>
    public const int LongestLine = 4096;

    /// <summary>Reads to the end and hands each line on, from one thread at a time.</summary>
    public static Task Read(TextReader from, Action<string> line) => Task.Run(async () =>
    {
        var buffer = new char[8192];
        var current = new StringBuilder();
        int n;
        while ((n = await from.ReadAsync(buffer).ConfigureAwait(false)) > 0)
        {
            for (var i = 0; i < n; i++)
            {
                if (buffer[i] == '\n')
                {
                    line(current.ToString().TrimEnd('\r'));
                    current.Clear();
                }
                else if (current.Length < LongestLine)
                {
                    current.Append(buffer[i]);
                }
            }
        }

        if (current.Length > 0) line(current.ToString());
    });
}

/// <summary>Keeps the standard error of a worker in a file, up to a bound, and remembers its first line.</summary>
public sealed class ErrorLog(string path)
{
    private const long Largest = 1 << 20;
    private readonly Lock _lock = new();
    private StreamWriter? _file;
    private long _written;
    private bool _closed;

    /// <summary>The first line that is not empty.</summary>
    public string First { get; private set; } = "";

    /// <summary>Adds a line.</summary>
    public void Add(string line)
    {
        lock (_lock)
        {
            if (First.Length == 0) First = line.Trim();
            if (_closed || _written > Largest) return;
            _file ??= new StreamWriter(path, append: true, Encoding.UTF8);
            _file.WriteLine(line);
            _written += line.Length + 1;
        }
    }

    /// <summary>Closes the file; later lines are dropped.</summary>
    public void Close()
    {
        lock (_lock)
        {
            _closed = true;
            _file?.Dispose();
        }
    }
}
