namespace Stiltwright.Host.Jobs;

/// <summary>Where a job stands in the ledger; the words are those of the database.</summary>
public static class JobState
{
    /// <summary>In the queue.</summary>
    public const string Queued = "queued";

    /// <summary>A run has it.</summary>
    public const string Running = "running";

    /// <summary>It waits for the share: full, locked or away; a later sweep queues it again.</summary>
    public const string Waiting = "waiting";

    /// <summary>Its set lies whole in scratch, or in our own folder on the share, and waits to be published.</summary>
    public const string Publishing = "publishing";

    /// <summary>Its set stands.</summary>
    public const string Done = "done";

    /// <summary>Set aside after its worker broke down twice; its stop summary stands.</summary>
    public const string Parked = "parked";

    /// <summary>Its source changed or went before the work was done; it is no longer wanted.</summary>
    public const string Dropped = "dropped";
}

/// <summary>A job as the ledger has it.</summary>
public sealed class JobRow
{
    /// <summary>Id.</summary>
    public string Id { get; set; } = "";

    /// <summary>Number, named aloud.</summary>
    public long Number { get; set; }

    /// <summary>Identity: content, effective recipe, share and path.</summary>
    public string Identity { get; set; } = "";

    /// <summary>Id of the share.</summary>
    public string Share { get; set; } = "";

    /// <summary>Drop folder, relative to the share.</summary>
    public string Folder { get; set; } = "";

    /// <summary>Name of the source.</summary>
    public string Source { get; set; } = "";

    /// <summary>Recipe.</summary>
    public string Recipe { get; set; } = "";

    /// <summary>Size of the source.</summary>
    public long Bytes { get; set; }

    /// <summary>One of <see cref="JobState"/>.</summary>
    public string State { get; set; } = "";

    /// <summary>Runs begun, across crashes.</summary>
    public long Attempts { get; set; }

    /// <summary>Number of the latest run.</summary>
    public long Fence { get; set; }

    /// <summary>ready, check or stop, when done.</summary>
    public string? Outcome { get; set; }

    /// <summary>The first finding, or what it waits for.</summary>
    public string? Sentence { get; set; }

    /// <summary>Folder name of its set.</summary>
    public string? Target { get; set; }

    /// <summary>How long the work took, s.</summary>
    public double? Took { get; set; }

    /// <summary>1 if the source was seen to be gone after the job was done.</summary>
    public long Gone { get; set; }

    /// <summary>The service that has or had it.</summary>
    public string Owner { get; set; } = "";

    /// <summary>done or parked, once its set lies whole in scratch.</summary>
    public string? Made { get; set; }

    /// <summary>When it was made (ISO 8601, UTC).</summary>
    public string Created { get; set; } = "";

    /// <summary>When it last changed.</summary>
    public string Changed { get; set; } = "";
}

/// <summary>A mail in the outbox.</summary>
public sealed class MailRow
{
    /// <summary>Id, and file name of its .eml.</summary>
    public string Id { get; set; } = "";

    /// <summary>The job it is about.</summary>
    public string Job { get; set; } = "";

    /// <summary>Level.</summary>
    public string Level { get; set; } = "";

    /// <summary>Addresses, one a line.</summary>
    public string Recipients { get; set; } = "";

    /// <summary>Subject.</summary>
    public string Subject { get; set; } = "";

    /// <summary>The message, made once.</summary>
    public byte[] Bytes { get; set; } = [];

    /// <summary>waiting, sent, refused, or gathered into a digest.</summary>
    public string State { get; set; } = "";

    /// <summary>Tries so far.</summary>
    public long Tries { get; set; }

    /// <summary>Why the last try failed.</summary>
    public string Reason { get; set; } = "";

    /// <summary>When it was made.</summary>
    public string Created { get; set; } = "";

    /// <summary>The service that has it in hand; empty for none.</summary>
    public string Owner { get; set; } = "";

    /// <summary>When the message for it in the queue is due; empty where none is known of.</summary>
    public string Due { get; set; } = "";
}

/// <summary>What became of a print.</summary>
/// <param name="Number">Number of the set.</param>
/// <param name="What">accepted, printed or failed.</param>
/// <param name="Reason">Why it failed.</param>
/// <param name="Piece">Letter, or null for the whole set.</param>
/// <param name="By">Who says so.</param>
/// <param name="Printer">On which printer.</param>
/// <param name="Lot">Resin lot.</param>
public sealed record OutcomeEntry(long Number, string What, string? Reason, string? Piece, string? By, string? Printer, string? Lot);
