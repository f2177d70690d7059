using Microsoft.Extensions.Time.Testing;
using Stiltwright.Host.Jobs;
using Stiltwright.Host.Watching;

namespace Stiltwright.Host.Tests;

public sealed class WatchingTests : IDisposable
{
    private readonly Workshop _room = new();
    private readonly FakeTimeProvider _time = new();

    public void Dispose() => _room.Dispose();

    [Fact]
    public void A_file_is_taken_when_size_and_time_stood_still_for_the_settling_time()
    {
        var s = new Settling(_time, TimeSpan.FromSeconds(15), TimeSpan.FromMinutes(10));
        Assert.Equal(Settled.NotYet, s.Observe("a", new Look(100, 1), () => true));
        _time.Advance(TimeSpan.FromSeconds(14));
        Assert.Equal(Settled.NotYet, s.Observe("a", new Look(100, 1), () => true));
        _time.Advance(TimeSpan.FromSeconds(1));
        Assert.Equal(Settled.Yes, s.Observe("a", new Look(100, 1), () => true));
    }

    [Theory]
    [InlineData(200, 1)] // it grew
    [InlineData(100, 2)] // it was written again
    public void A_change_starts_the_settling_time_anew(long bytes, long written)
    {
        var s = new Settling(_time, TimeSpan.FromSeconds(15), TimeSpan.FromMinutes(10));
        s.Observe("a", new Look(100, 1), () => true);
        _time.Advance(TimeSpan.FromSeconds(14));
        Assert.Equal(Settled.NotYet, s.Observe("a", new Look(bytes, written), () => true));
        _time.Advance(TimeSpan.FromSeconds(14));
        Assert.Equal(Settled.NotYet, s.Observe("a", new Look(bytes, written), () => true));
        _time.Advance(TimeSpan.FromSeconds(1));
        Assert.Equal(Settled.Yes, s.Observe("a", new Look(bytes, written), () => true));
    }

    [Fact]
    public void A_file_shorter_than_it_says_waits_for_the_patience_time_and_is_then_let_through()
    {
        var s = new Settling(_time, TimeSpan.FromSeconds(15), TimeSpan.FromMinutes(10));
        s.Observe("a", new Look(100, 1), () => false);
        _time.Advance(TimeSpan.FromMinutes(9));
        Assert.Equal(Settled.StillShort, s.Observe("a", new Look(100, 1), () => false));
        _time.Advance(TimeSpan.FromMinutes(1));
        Assert.Equal(Settled.Yes, s.Observe("a", new Look(100, 1), () => false));
    }

    [Fact]
    public void A_file_that_went_and_came_back_settles_anew()
    {
        var s = new Settling(_time, TimeSpan.FromSeconds(15), TimeSpan.FromMinutes(10));
        s.Observe("a", new Look(100, 1), () => true);
        _time.Advance(TimeSpan.FromSeconds(20));
        s.KeepOnly(new HashSet<string>());
        Assert.Equal(Settled.NotYet, s.Observe("a", new Look(100, 1), () => true));
    }

    [Theory]
    // Binary STL: 80 bytes of header, a 32-bit count, 50 bytes a facet (3D Systems' format of 1988, as commonly published).
    [InlineData(4, true)]
    [InlineData(3, false)] // longer than it says: the count is written last by some exporters
    [InlineData(5, false)]
    [InlineData(1_000_000, false)]
    public void A_binary_stl_says_how_long_it_is(int claims, bool whole) =>
        Assert.Equal(whole, OwnLength.IsWhole(_room.DropFile("crab.stl", Workshop.Stl(claims))));

    [Theory]
    [InlineData("solid crab\n facet normal 0 0 1\n  outer loop\n", false)]
    [InlineData("solid crab\n facet normal 0 0 1\n  outer loop\n endloop\n endfacet\nendsolid crab\n", true)]
    [InlineData("", false)]
    [InlineData("solid", false)]
    public void A_text_stl_ends_with_its_closing_word(string text, bool whole) =>
        Assert.Equal(whole, OwnLength.IsWhole(_room.DropFile("crab.stl", System.Text.Encoding.ASCII.GetBytes(text))));

    [Theory]
    [InlineData("crab.stl", true)]
    [InlineData("Crab.STL", true)]
    [InlineData("läwchen \"<b>.obj", true)]
    [InlineData(".crab.stl", false)]
    [InlineData("~crab.stl", false)]
    [InlineData("crab.stl.part", false)]
    [InlineData("crab.set", false)]
    [InlineData("crab.txt", false)]
    public void Only_whole_names_with_a_known_ending_are_sources(string name, bool source) => Assert.Equal(source, SourceNames.IsSource(name));

    [Fact]
    public void A_file_whose_length_was_set_before_its_bytes_came_is_not_whole_yet()
    {
        // As copiers do that reserve the room first: header, count and length are right, the rest is still zero.
        var bytes = new byte[84 + (50 * 400)];
        Workshop.Stl(400).AsSpan(0, 284).CopyTo(bytes);
        var path = _room.DropFile("crab.stl", bytes);
        Assert.False(OwnLength.IsWhole(path));
        bytes[^3] = 1;
        File.WriteAllBytes(path, bytes);
        Assert.True(OwnLength.IsWhole(path));
    }

    [Theory]
    [InlineData("PK\u0003\u0004 and the rest", false)]
    [InlineData("PK\u0003\u0004 and PK\u0005\u0006 the end record (APPNOTE 4.3.16)", true)]
    public void A_3mf_ends_with_the_directory_of_its_archive(string text, bool whole) =>
        Assert.Equal(whole, OwnLength.IsWhole(_room.DropFile("crab.3mf", System.Text.Encoding.Latin1.GetBytes(text))));

    [Theory]
    [InlineData("crab.stl", null)]
    [InlineData("кракен <b>\"х\" 海.stl", null)]
    [InlineData("con.stl", "device")]
    [InlineData("LPT1.v2.obj", "device")]
    [InlineData("crab\u0007.stl", "control character")]
    [InlineData("crab\uFFFD.stl", "UTF-8")]
    public void A_name_that_cannot_be_served_says_why(string name, string? why)
    {
        if (why is null) Assert.Null(NameRules.Refusal(name));
        else Assert.Contains(why, NameRules.Refusal(name), StringComparison.Ordinal);
        Assert.Contains("too long", NameRules.Refusal(new string('x', 201) + ".stl"), StringComparison.Ordinal);
    }

    [Fact]
    public void Of_two_names_that_differ_only_in_case_one_is_served_and_the_other_told()
    {
        _room.DropFile("Crab.stl", Workshop.Stl());
        _room.DropFile("crab.stl", Workshop.Stl());
        if (Directory.GetFiles(_room.Drop).Length == 1) return; // a disk that does not tell them apart
        var folder = ShareView.Take(_room.Share, _room.Read().Recipes)!.Single();
        Assert.Equal(["Crab.stl"], folder.Sources!.Select(s => s.Name));
        Assert.Contains("same name", Assert.Single(folder.LeftAlone), StringComparison.Ordinal);
    }

    [Fact]
    public void A_folder_that_cannot_be_read_says_nothing_about_its_files_and_keeps_no_other_from_being_read()
    {
        if (OperatingSystem.IsWindows() || Environment.UserName == "root") return; // root reads everything
        _room.DropFile("crab.stl", Workshop.Stl());
        File.SetUnixFileMode(_room.Drop, UnixFileMode.None);
        var folder = ShareView.Take(_room.Share, _room.Read().Recipes)!.Single();
        File.SetUnixFileMode(_room.Drop, UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute);
        Assert.Null(folder.Sources);
        Assert.Contains("cannot be read", Assert.Single(folder.LeftAlone), StringComparison.Ordinal);
    }

    [Fact]
    public void A_folder_whose_own_time_stands_still_is_not_listed_each_time_and_a_full_look_sees_all()
    {
        var path = _room.DropFile("crab.stl", Workshop.Stl());
        var recipes = _room.Read().Recipes;
        IReadOnlyList<SeenFolder>? view = null;
        for (var look = 0; look < 5; look++) view = ShareView.Take(_room.Share, recipes, view);
        File.WriteAllBytes(path, Workshop.Stl(mark: 3)); // in place: the folder's time does not change
        File.SetLastWriteTimeUtc(path, new DateTime(2001, 2, 3, 4, 5, 6, DateTimeKind.Utc));
        var quick = ShareView.Take(_room.Share, recipes, view)!;
        Assert.Equal(view![0].Sources![0].Look, quick[0].Sources![0].Look);
        Assert.NotEqual(view[0].Sources![0].Look, ShareView.Take(_room.Share, recipes)![0].Sources![0].Look);
        _room.DropFile("eel.stl", Workshop.Stl()); // a new entry does change it
        Assert.Equal(2, ShareView.Take(_room.Share, recipes, quick)![0].Sources!.Count);
    }

    [Fact]
    public void An_empty_mount_point_and_another_service_s_share_are_not_served()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var id = ShareIdentity.Of(_room.Share, ledger);
        var note = Path.Combine(_room.Share, ".stiltwright", "share.json");
        var text = File.ReadAllText(note);
        File.Delete(note);
        Assert.Contains($"write it again: {{\"id\":\"{id}\"}}", Assert.Throws<InvalidDataException>(() => ShareIdentity.Of(_room.Share, ledger)).Message, StringComparison.Ordinal);
        File.WriteAllText(note, $$"""{"id":"{{id}}"}""");
        Assert.Equal(id, ShareIdentity.Of(_room.Share, ledger)); // written again by hand, and claimed anew
        Assert.Equal(text, File.ReadAllText(note));
        Assert.Equal(id, ShareIdentity.Of(_room.Share, new Ledger(_room.State, TimeProvider.System))); // the same ledger after a crash
        var stranger = new Ledger(Path.Combine(_room.Root, "another"), TimeProvider.System);
        Assert.Contains("served by another service", Assert.Throws<InvalidDataException>(() => ShareIdentity.Of(_room.Share, stranger)).Message, StringComparison.Ordinal);
    }

    [Fact]
    public void A_look_takes_sources_and_says_what_it_leaves_alone()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        _room.DropFile("crab.slip.json", "{}"u8.ToArray());
        _room.DropFile("kit.zip", [1]);
        _room.DropFile("notes.txt", [1]);
        _room.DropFile(".hidden.stl", [1]);
        Directory.CreateDirectory(Path.Combine(_room.Drop, "seahorse parts"));
        Directory.CreateDirectory(Path.Combine(_room.Drop, "crab.set"));
        Directory.CreateDirectory(Path.Combine(_room.Drop, ".stiltwright"));
        Directory.CreateDirectory(Path.Combine(_room.Share, "somebody else's"));
        var folders = ShareView.Take(_room.Share, _room.Read().Recipes)!;
        var served = folders.Single(f => f.Recipe is not null);
        Assert.Equal(["crab.stl"], served.Sources!.Select(s => s.Name));
        Assert.Equal(3, served.LeftAlone.Count);
        Assert.Contains(served.LeftAlone, t => t.StartsWith("kit.zip is an archive", StringComparison.Ordinal));
        Assert.Contains(served.LeftAlone, t => t.StartsWith("seahorse parts is a folder", StringComparison.Ordinal));
        Assert.Null(ShareView.Take(Path.Combine(_room.Root, "away"), _room.Read().Recipes));
    }

    [Fact]
    public void Links_are_not_followed()
    {
        if (OperatingSystem.IsWindows()) return; // making links there needs rights that a test has not
        Directory.CreateDirectory(_room.Drop);
        var outside = Path.Combine(_room.Root, "secret.stl");
        File.WriteAllBytes(outside, Workshop.Stl());
        File.CreateSymbolicLink(Path.Combine(_room.Drop, "crab.stl"), outside);
        File.CreateSymbolicLink(Path.Combine(_room.Drop, "eel.slip.json"), outside);
        Directory.CreateSymbolicLink(Path.Combine(_room.Share, "enlarge-300"), _room.Root);
        var folders = ShareView.Take(_room.Share, _room.Read().Recipes)!;
        Assert.Empty(folders.SelectMany(f => f.Sources!));
        Assert.Equal(3, folders.Sum(f => f.LeftAlone.Count(t => t.Contains("is a link", StringComparison.Ordinal))));
        Assert.Null(Configuration.SlipReader.BytesFor(Path.Combine(_room.Drop, "eel.stl")));
    }

    [Fact]
    public void A_slip_that_changes_is_a_change_of_its_source()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        var recipes = _room.Read().Recipes;
        var before = ShareView.Take(_room.Share, recipes)!.Single().Sources!.Single().Look;
        _room.DropFile("crab.slip.json", "{}"u8.ToArray());
        Assert.NotEqual(before, ShareView.Take(_room.Share, recipes)!.Single().Sources!.Single().Look);
    }

    [Fact]
    public void The_share_keeps_its_id_and_a_damaged_one_is_not_replaced_in_silence()
    {
        var ledger = new Ledger(_room.State, TimeProvider.System);
        var id = ShareIdentity.Of(_room.Share, ledger);
        Assert.Equal(id, ShareIdentity.Of(_room.Share, ledger));
        File.WriteAllText(Path.Combine(_room.Share, ".stiltwright", "share.json"), "{");
        Assert.Contains("share's id", Assert.Throws<InvalidDataException>(() => ShareIdentity.Of(_room.Share, ledger)).Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Identity_differs_by_content_recipe_share_folder_and_name()
    {
        var all = new[]
        {
            ShareIdentity.OfJob("a", "r", "s", "f", "n"), ShareIdentity.OfJob("b", "r", "s", "f", "n"), ShareIdentity.OfJob("a", "q", "s", "f", "n"),
            ShareIdentity.OfJob("a", "r", "t", "f", "n"), ShareIdentity.OfJob("a", "r", "s", "g", "n"), ShareIdentity.OfJob("a", "r", "s", "f", "m"),
        };
        Assert.Equal(all.Length, all.Distinct().Count());
        Assert.Equal(all[0], ShareIdentity.OfJob("a", "r", "s", "f", "n"));
    }
}
