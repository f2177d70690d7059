using Microsoft.Extensions.Time.Testing;
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
    [InlineData(3, true)] // longer than it says: nothing more is to come
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
        Assert.Equal(["crab.stl"], served.Sources.Select(s => s.Name));
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
        Assert.Empty(folders.SelectMany(f => f.Sources));
        Assert.Equal(3, folders.Sum(f => f.LeftAlone.Count(t => t.Contains("is a link", StringComparison.Ordinal))));
        Assert.Null(Configuration.SlipReader.BytesFor(Path.Combine(_room.Drop, "eel.stl")));
    }

    [Fact]
    public void A_slip_that_changes_is_a_change_of_its_source()
    {
        _room.DropFile("crab.stl", Workshop.Stl());
        var recipes = _room.Read().Recipes;
        var before = ShareView.Take(_room.Share, recipes)!.Single().Sources.Single().Look;
        _room.DropFile("crab.slip.json", "{}"u8.ToArray());
        Assert.NotEqual(before, ShareView.Take(_room.Share, recipes)!.Single().Sources.Single().Look);
    }

    [Fact]
    public void The_share_keeps_its_id_and_a_damaged_one_is_not_replaced_in_silence()
    {
        var id = ShareIdentity.Of(_room.Share);
        Assert.Equal(id, ShareIdentity.Of(_room.Share));
        File.WriteAllText(Path.Combine(_room.Share, ".stiltwright", "share.json"), "{");
        Assert.Contains("share's id", Assert.Throws<InvalidDataException>(() => ShareIdentity.Of(_room.Share)).Message, StringComparison.Ordinal);
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
