using System.Data.Common;
using System.Globalization;
using System.Reflection;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;

namespace Stiltwright.Host.Board;

/// <summary>Writes board.html into the share's root after each change, once a second at most, and at each heartbeat.</summary>
public sealed class BoardWriter(ServiceState state, Ledger ledger, Sweeper sweeper, TimeProvider time, ILogger<BoardWriter> log) : BackgroundService
{
    private const int MostJobs = 500;
    private static readonly TimeSpan Heartbeat = TimeSpan.FromSeconds(30);
    private static readonly TimeSpan LeastPause = TimeSpan.FromSeconds(1);
    private readonly SemaphoreSlim _changed = new(0, 1);
    private readonly LedgerChanges _ledgerChanges = new(ledger.Store);
    private readonly Lock _writing = new();
    private Listed? _listed;
    private bool _stale = true;

    /// <summary>Path of the page.</summary>
    public string PagePath => Path.Combine(state.Share, "board.html");

    /// <summary>Asks for the page to be written soon.</summary>
    public void Changed()
    {
        try
        {
            if (_changed.CurrentCount == 0) _changed.Release();
        }
        catch (SemaphoreFullException)
        {
            // Asked for twice at once: one page shows both.
        }
    }

    /// <summary>Writes the page now.</summary>
    public void Write()
    {
        // A share that went away a moment ago may have left an empty mount point: a file in it could keep the share from
        // being mounted again.
        if (state.ShareId.Length == 0 || !ShareIdentity.IsThere(state.Share)) return;
        try
        {
            // Asked for by others than our own loop as well; what was read, and the page, are one writer's at a time.
            lock (_writing) DurableFiles.Replace(PagePath, BoardPage.Html(Model()), ledger.Pc);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or DbException)
        {
            // A ledger that cannot be read for a while (its disk is full) must not end the service; the page shows its own age.
            log.LogWarning("The board cannot be written: {Reason}", e.Message);
        }
    }

    /// <inheritdoc/>
    public override void Dispose()
    {
        _ledgerChanges.Dispose();
        base.Dispose();
    }

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        state.BoardChanged = Changed;
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                Write();
                await Task.Delay(LeastPause, stoppingToken).ConfigureAwait(false);
                await _changed.WaitAsync(Heartbeat, stoppingToken).ConfigureAwait(false);
            }
            catch (OperationCanceledException)
            {
                break;
            }
        }

        Write();
    }

    private BoardModel Model()
    {
        Refresh();
        var (outcomes, latest) = (_listed!.Outcomes, _listed.Latest);
        var jobs = latest.ToLookup(j => j.Folder, StringComparer.Ordinal);
        var allArriving = sweeper.Arriving;
        var arriving = allArriving.Take(MostJobs).ToLookup(a => a.Folder, StringComparer.Ordinal);
        var folders = sweeper.Folders.Select(f => new BoardFolder(
            f.Name,
            f.Recipe is null ? null : RecipeWords.Of(f.Recipe),
            [
                .. arriving[f.Name].Where(a => jobs[f.Name].All(j => j.Source != a.Name || IsOver(j))).Select(a => new BoardJob(a.Name, null, BoardState.Settling, time.GetLocalNow(), null, null, "The file is still arriving, or has not stood still for long enough.", null)),
                .. jobs[f.Name].Where(j => j.Gone == 0 || j.Outcome is not null).Select(j => Job(j, outcomes)),
            ],
            f.LeftAlone)).ToList();
        var mails = _listed.Mails.Select(m => new UnsentMail(m.Recipients.Replace("\n", ", ", StringComparison.Ordinal), m.Subject, Time(m.Created), (int)m.Tries, m.Reason)).ToList();
        var version = Assembly.GetExecutingAssembly().GetName().Version?.ToString(3);
        return new BoardModel(
            Path.GetFileName(Path.TrimEndingDirectorySeparator(state.Share)), time.GetLocalNow(), $"{_listed.Services}, Stiltwright {version}", (int)Heartbeat.TotalSeconds,
            folders, mails, [.. state.Notices.OrderBy(n => n.Key, StringComparer.Ordinal).Select(n => n.Value)], NotListed(_listed, allArriving.Count - MostJobs));
    }

    /// <summary>Reads the ledger where it may have changed. One that cannot be read leaves the list as it was: the page says what is wrong.</summary>
    private void Refresh()
    {
        try
        {
            // The heartbeat of an idle service has nothing new to tell but the time.
            var changed = _ledgerChanges.Any();
            if (!changed && !_stale && _listed?.Share == state.ShareId) return;
            _stale = true; // the change is told only once: where reading fails, the next heartbeat must read again
            _listed = Read();
            _stale = false;
        }
        catch (DbException e) when (_listed?.Share == state.ShareId)
        {
            _stale = true;
            log.LogWarning("The board lists what was known before: {Reason}", e.Message);
        }
    }

    private Listed Read()
    {
        var latest = ledger.Latest(state.ShareId, MostJobs);
        return new Listed(state.ShareId, ledger.Store.Shared ? string.Join(", ", ledger.Living()) : Environment.MachineName, ledger.Outcomes(), latest, latest.Count < MostJobs ? [] : ledger.CountsOfLatest(state.ShareId), ledger.UnsentMails());
    }

    /// <summary>What the page does not list; empty where it lists everything.</summary>
    private static Dictionary<BoardState, int> NotListed(Listed listed, int arriving)
    {
        var more = new Dictionary<BoardState, int>();
        if (arriving > 0) more[BoardState.Settling] = arriving;
        if (listed.Counts.Count == 0) return more;
        foreach (var (jobState, outcome, count) in listed.Counts) Add(StateOf(jobState, outcome), count);
        foreach (var job in listed.Latest.Where(j => j.Gone == 0 || j.Outcome is not null)) Add(StateOf(job.State, job.Outcome), -1);
        // Between the two questions a job may have gone on from one state to the next: the sum stays what it is.
        var lag = more.Values.Where(v => v < 0).Sum();
        foreach (var none in more.Where(m => m.Value <= 0).Select(m => m.Key).ToArray()) more.Remove(none);
        while (lag < 0 && more.Count > 0)
        {
            var largest = more.MaxBy(m => m.Value);
            var less = Math.Min(-lag, largest.Value);
            lag += less;
            if (less == largest.Value) more.Remove(largest.Key);
            else more[largest.Key] -= less;
        }

        return more;

        void Add(BoardState s, int count) => more[s] = more.GetValueOrDefault(s) + count;
    }

    private static BoardState StateOf(string jobState, string? outcome) => jobState switch
    {
        JobState.Queued or JobState.Waiting => BoardState.Waiting,
        JobState.Running => BoardState.Working,
        JobState.Publishing => BoardState.Publishing,
        JobState.Parked => BoardState.SetAside,
        _ => outcome switch { "ready" => BoardState.Ready, "check" => BoardState.Check, _ => BoardState.Stop },
    };

    private BoardJob Job(JobRow job, IReadOnlyDictionary<long, string> outcomes)
    {
        var number = job.Number.ToString(CultureInfo.InvariantCulture);
        var running = state.Runs.GetValueOrDefault($"{job.Id}-{job.Fence}");
        var boardState = job.State == JobState.Running && running?.Stage == "publishing" ? BoardState.Publishing : StateOf(job.State, job.Outcome);
        var doing = job.State == JobState.Running && running is not null ? string.Create(CultureInfo.InvariantCulture, $"{running.Stage}, {running.Progress * 100:0} %") : null;
        var link = job.Target is { } t && File.Exists(Path.Combine(state.FolderPath(job.Folder), t, "summary.html")) ? $"{job.Folder}/{t}/summary.html" : null;
        return new BoardJob(job.Source, number, boardState, Time(job.Changed), doing, job.Took, job.Sentence, link, outcomes.GetValueOrDefault(job.Number));
    }

    private static bool IsOver(JobRow job) => job.State is JobState.Done or JobState.Parked;

    private DateTimeOffset Time(string iso) => TimeZoneInfo.ConvertTime(DateTimeOffset.Parse(iso, CultureInfo.InvariantCulture), time.LocalTimeZone);

    /// <summary>What the page shows of the ledger.</summary>
    private sealed record Listed(string Share, string Services, IReadOnlyDictionary<long, string> Outcomes, IReadOnlyList<JobRow> Latest, IReadOnlyList<(string State, string? Outcome, int Count)> Counts, IReadOnlyList<MailRow> Mails);
}
