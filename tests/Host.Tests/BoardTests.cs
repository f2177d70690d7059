using Microsoft.Extensions.Logging.Abstractions;
using Stiltwright.Host.Board;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Publishing;
using Stiltwright.Host.Watching;

namespace Stiltwright.Host.Tests;

/// <summary>The board lists what the ledger knows of the share that is there now, and says so where it cannot ask.</summary>
public sealed class BoardTests : IDisposable
{
    private readonly Workshop _room = new();
    private readonly FailingStore _store;
    private readonly Ledger _ledger;
    private readonly ServiceState _state;
    private readonly Sweeper _sweeper;
    private readonly BoardWriter _board;

    public BoardTests()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        _ledger = new Ledger(_store = new FailingStore(_room.State), TimeProvider.System, "print room");
        _state = new ServiceState(_room.Read(), Workshop.Catalog, _room.Share);
        var queue = new NoQueue();
        var mails = new Mail.MailWriter(() => _state.Config.Host.Mail, _room.Share, TimeProvider.System);
        var files = new ShareFiles();
        var publishing = new PublishDesk(_state, _ledger, queue, mails, files, NullLogger<PublishDesk>.Instance);
        var desk = new JobDesk(_state, _ledger, queue, publishing, new WorkerCommand("", []), new MemoryBudget(1 << 20), TimeProvider.System, NullLogger<JobDesk>.Instance);
        var retention = new Retention(_state, _ledger, files, TimeProvider.System, NullLogger<Retention>.Instance);
        var upkeep = new Upkeep(_state, _ledger, queue, desk, retention, TimeProvider.System, NullLogger<Upkeep>.Instance);
        _sweeper = new Sweeper(_state, _ledger, queue, publishing, upkeep, TimeProvider.System, NullLogger<Sweeper>.Instance);
        _board = new BoardWriter(_state, _ledger, _sweeper, TimeProvider.System, NullLogger<BoardWriter>.Instance);
    }

    public void Dispose()
    {
        _board.Dispose();
        _room.Dispose();
    }

    [Fact]
    public async Task A_board_whose_ledger_cannot_be_read_lists_what_was_known_and_reads_again_when_it_can()
    {
        await _sweeper.Sweep(deep: true, default);
        Add("crab.stl");
        Assert.Contains("crab.stl", Page(), StringComparison.Ordinal);
        Add("eel.stl");
        _store.Fails = true;
        _state.Notices["ledger"] = "The ledger cannot be used: its disk is full.";
        Assert.Contains("crab.stl", Page(), StringComparison.Ordinal);
        Assert.Contains("its disk is full", Page(), StringComparison.Ordinal);
        Assert.DoesNotContain("eel.stl", Page(), StringComparison.Ordinal);
        _store.Fails = false;
        Assert.Contains("eel.stl", Page(), StringComparison.Ordinal); // the change was told once, while it could not be read
    }

    [Fact]
    public async Task Another_share_in_the_same_place_has_a_list_of_its_own()
    {
        await _sweeper.Sweep(deep: true, default);
        Add("squid.stl");
        Assert.Contains("squid.stl", Page(), StringComparison.Ordinal);
        _state.ShareId = "another";
        Assert.DoesNotContain("squid.stl", Page(), StringComparison.Ordinal); // though nothing in the ledger changed
    }

    [Fact]
    public async Task A_share_that_is_away_gets_no_page()
    {
        await _sweeper.Sweep(deep: true, default);
        File.Delete(Path.Combine(_room.Share, SetPlace.OwnFolder, "share.json"));
        _board.Write();
        Assert.False(File.Exists(_board.PagePath));
    }

    private void Add(string source) => _ledger.Add("identity of " + source, _state.ShareId, "enlarge-200", source, "enlarge-200", 1);

    private string Page()
    {
        _board.Write();
        return File.ReadAllText(_board.PagePath);
    }

    private sealed class NoQueue : IQueue
    {
        public Task Job(string jobId, bool large, TimeSpan delay = default) => Task.CompletedTask;

        public Task Mail(string mailId, TimeSpan delay) => Task.CompletedTask;
    }
}
