namespace Stiltwright.Host.Configuration;

/// <summary>config/stiltwright.json. Times in seconds, memory in MiB; the defaults are those of the schema.</summary>
public sealed record HostSettings
{
    /// <summary>Folder that holds the drop folders, absolute; null where none is configured.</summary>
    public string? Share { get; init; }

    /// <summary>Local folder for ledger, outbox, scratch and logs, absolute.</summary>
    public required string State { get; init; }

    /// <summary>The administrator's plug-in folders, absolute.</summary>
    public IReadOnlyList<string> PluginFolders { get; init; } = [];

    /// <summary>SHA-256 of the DLLs that the administrator's folders may hold; empty where every one may be used.</summary>
    public IReadOnlyList<string> AllowedPlugins { get; init; } = [];

    /// <summary>The ledger.</summary>
    public LedgerSettings Ledger { get; init; } = new();

    /// <summary>Watching.</summary>
    public WatchSettings Watch { get; init; } = new();

    /// <summary>Workers.</summary>
    public WorkerSettings Worker { get; init; } = new();

    /// <summary>Mail.</summary>
    public MailSettings Mail { get; init; } = new();

    /// <summary>Logs.</summary>
    public LogSettings Log { get; init; } = new();

    /// <summary>How long things are kept.</summary>
    public KeepSettings Keep { get; init; } = new();

    /// <summary>The service's figures about itself.</summary>
    public MetricsSettings Metrics { get; init; } = new();

    /// <summary>The program's own plug-in folder.</summary>
    public static string OwnPlugins => Path.Combine(AppContext.BaseDirectory, "plugins");

    /// <summary>All plug-in folders: the program's own first.</summary>
    public IReadOnlyList<string> AllPluginFolders => [OwnPlugins, .. PluginFolders];

    /// <summary>Where state lies when nothing is configured.</summary>
    public static string DefaultState =>
        Path.Combine(Environment.GetFolderPath(Environment.SpecialFolder.LocalApplicationData, Environment.SpecialFolderOption.DoNotVerify), "stiltwright");
}

/// <summary>Where ledger and queues lie.</summary>
public sealed record LedgerSettings
{
    /// <summary>Connection to a PostgreSQL database, without the password; empty for SQLite in the state folder.</summary>
    public string Postgres { get; init; } = "";

    /// <summary>File with the password alone.</summary>
    public string? PasswordFile { get; init; }
}

/// <summary>Watching the share.</summary>
public sealed record WatchSettings
{
    /// <summary>Pause between two looks, s.</summary>
    public double SweepS { get; init; } = 10;

    /// <summary>Size and time must stand still that long, s.</summary>
    public double SettleS { get; init; } = 15;

    /// <summary>How long a file may be shorter than it says, s.</summary>
    public double PatienceS { get; init; } = 600;

    /// <summary>Whether change notifications hasten the looks.</summary>
    public bool Notifications { get; init; } = true;
}

/// <summary>Limits of the child processes.</summary>
public sealed record WorkerSettings
{
    /// <summary>Memory of one job, MiB.</summary>
    public int MemoryMiB { get; init; } = 4096;

    /// <summary>Time of one job, s.</summary>
    public double TimeLimitS { get; init; } = 3600;

    /// <summary>Small jobs at the same time.</summary>
    public int Parallel { get; init; } = 1;

    /// <summary>A source of this size is large, MiB.</summary>
    public double LargeFromMiB { get; init; } = 100;

    /// <summary>Memory that all jobs together may use, MiB; 0 for three quarters of the machine's.</summary>
    public int TotalMiB { get; init; }

    /// <summary>What one job may write into scratch, MiB.</summary>
    public int ScratchMiB { get; init; } = 20480;
}

/// <summary>The mail server.</summary>
public sealed record MailSettings
{
    /// <summary>Server name; empty for none.</summary>
    public string Server { get; init; } = "";

    /// <summary>Port.</summary>
    public int Port { get; init; } = 587;

    /// <summary>startTls, tls or none.</summary>
    public string Security { get; init; } = "startTls";

    /// <summary>Login name; empty for none.</summary>
    public string User { get; init; } = "";

    /// <summary>File with the password alone.</summary>
    public string? PasswordFile { get; init; }

    /// <summary>Sender.</summary>
    public string From { get; init; } = "Stiltwright <stiltwright@localhost>";

    /// <summary>SHA-256 of the server's own certificate where no authority vouches for it; empty for none.</summary>
    public string CertificateSha256 { get; init; } = "";

    /// <summary>How long mails are gathered, so that many at once become one, s.</summary>
    public double GatherS { get; init; } = 60;

    /// <summary>From so many waiting mails to the same people on, they become one.</summary>
    public int DigestFrom { get; init; } = 4;

    /// <summary>Local time of day from which no mail is sent; empty for none.</summary>
    public string QuietFrom { get; init; } = "";

    /// <summary>Local time of day until which no mail is sent.</summary>
    public string QuietTo { get; init; } = "";
}

/// <summary>Logging.</summary>
public sealed record LogSettings
{
    /// <summary>Least level.</summary>
    public string Level { get; init; } = "information";

    /// <summary>Days that log files are kept.</summary>
    public int KeepDays { get; init; } = 31;
}

/// <summary>The service's figures about itself.</summary>
public sealed record MetricsSettings
{
    /// <summary>Pause between two writings of the file with the figures, s; 0 for no file.</summary>
    public double EveryS { get; init; }
}

/// <summary>How long things are kept.</summary>
public sealed record KeepSettings
{
    /// <summary>Sets that a newer one replaced, days.</summary>
    public int ReplacedDays { get; init; } = 30;

    /// <summary>Text of mails that were sent, and jobs that came to nothing, days.</summary>
    public int RecordsDays { get; init; } = 90;
}
