namespace Stiltwright.Host.Commands;

/// <summary>Exit codes of every verb.</summary>
public static class ExitCode
{
    /// <summary>Done, ready.</summary>
    public const int Ready = 0;

    /// <summary>Something kept it from running.</summary>
    public const int Kept = 1;

    /// <summary>Wrong use.</summary>
    public const int WrongUse = 2;

    /// <summary>A person must look.</summary>
    public const int Check = 3;

    /// <summary>Not printable.</summary>
    public const int Stop = 4;

    /// <summary>Of a worker only: the disk it works on is full, read-only or broken.</summary>
    public const int DiskGaveOut = 5;

    /// <summary>The code of an outcome.</summary>
    public static int Of(Sdk.Level outcome) => outcome switch { Sdk.Level.Note => Ready, Sdk.Level.Check => Check, _ => Stop };
}

/// <summary>Names of outcomes as people read them.</summary>
public static class OutcomeWord
{
    /// <summary>ready, check or stop.</summary>
    public static string Of(Sdk.Level outcome) => outcome switch { Sdk.Level.Note => "ready", Sdk.Level.Check => "check", _ => "stop" };
}
