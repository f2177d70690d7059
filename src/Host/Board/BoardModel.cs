namespace Stiltwright.Host.Board;

/// <summary>
/// The state of all drop folders of one share, for <see cref="BoardPage"/>. The service fills it from the ledger and
/// writes the page to the share's own root after each change and each heartbeat, by file rename. Links are relative to
/// the page, with forward slashes, not yet escaped.
/// </summary>
/// <param name="Share">Name of the share as people know it.</param>
/// <param name="At">When the page was written.</param>
/// <param name="Service">Which PC and version wrote it.</param>
/// <param name="EverySeconds">How often the page is written anew; older than three times that means the service stands still.</param>
/// <param name="Folders">The folders, served or not.</param>
/// <param name="UnsentMails">Mails that still wait, with the reason of the last refusal.</param>
/// <param name="Notices">Whole sentences about the service itself (a plug-in set aside, a folder that cannot be written).</param>
/// <param name="NotListed">How many files there are besides those listed, by state: thousands at once would make a page that nobody can read.</param>
public sealed record BoardModel(
    string Share, DateTimeOffset At, string Service, int EverySeconds,
    IReadOnlyList<BoardFolder> Folders, IReadOnlyList<UnsentMail> UnsentMails, IReadOnlyList<string> Notices,
    IReadOnlyDictionary<BoardState, int>? NotListed = null);

/// <summary>A folder of the share.</summary>
/// <param name="Name">Path on the share.</param>
/// <param name="Recipe">Recipe in words, e.g. "200 %, wall 2.0 mm"; null where the folder is not served.</param>
/// <param name="Jobs">Its jobs, the youngest first.</param>
/// <param name="LeftAlone">Whole sentences about things that were left alone (sub-folders, zips, files without a reader).</param>
public sealed record BoardFolder(string Name, string? Recipe, IReadOnlyList<BoardJob> Jobs, IReadOnlyList<string> LeftAlone);

/// <summary>Where a job stands.</summary>
public enum BoardState
{
    /// <summary>The file is still being copied, or stood still for too short a time.</summary>
    Settling,

    /// <summary>In the queue.</summary>
    Waiting,

    /// <summary>Being done.</summary>
    Working,

    /// <summary>Done, the set waits to be published (share full or locked).</summary>
    Publishing,

    /// <summary>Done: ready to print.</summary>
    Ready,

    /// <summary>Done: a person must look before printing.</summary>
    Check,

    /// <summary>Refused or not printable.</summary>
    Stop,

    /// <summary>Set aside after repeated crashes.</summary>
    SetAside,
}

/// <summary>A job on the board.</summary>
/// <param name="File">Name of the source, without folder.</param>
/// <param name="Number">Number of its set; null before it has one.</param>
/// <param name="State">Where it stands.</param>
/// <param name="Since">Since when.</param>
/// <param name="Doing">For one being done: stage and share, e.g. "shell, 40 %"; else null.</param>
/// <param name="TookSeconds">How long the work took; null before it is done.</param>
/// <param name="Sentence">The worst finding or what it waits for; null for nothing to say.</param>
/// <param name="SummaryLink">Relative link to the set's summary page; null where there is none.</param>
/// <param name="Outcome">What was recorded of the print (accepted, printed, failed, why); null for nothing.</param>
public sealed record BoardJob(
    string File, string? Number, BoardState State, DateTimeOffset Since, string? Doing, double? TookSeconds, string? Sentence, string? SummaryLink, string? Outcome = null);

/// <summary>A mail that still waits.</summary>
/// <param name="To">Recipients.</param>
/// <param name="Subject">Subject.</param>
/// <param name="Since">Since when.</param>
/// <param name="Tries">Tries so far.</param>
/// <param name="Reason">Why the last try failed, or that no mail server is set.</param>
public sealed record UnsentMail(string To, string Subject, DateTimeOffset Since, int Tries, string Reason);
