using AngleSharp.Dom;
using AngleSharp.Html.Parser;
using Stiltwright.Geometry;
using Stiltwright.Host.Board;
using Stiltwright.Host.Summaries;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Tests;

public class SummariesPageTests
{
    private static IDocument Parse(string html) => new HtmlParser().ParseDocument(html);

    private static string FirstSentence(IDocument page) => page.QuerySelector("#outcome")!.TextContent;

    /// <summary>Nothing on a page may need a network: what it loads is inside it, what it links to lies beside it.</summary>
    private static void NeedsNoNetwork(IDocument page)
    {
        foreach (var e in page.QuerySelectorAll("[src],[href],[srcset],[action],[poster]"))
            foreach (var name in new[] { "src", "href", "srcset", "action", "poster" })
                if (e.GetAttribute(name) is { } link)
                    Assert.True(link.StartsWith("./", StringComparison.Ordinal) || link.StartsWith('#') || link.StartsWith("data:image/png;base64,", StringComparison.Ordinal), $"{e.TagName} {name} = {link}");
        Assert.Empty(page.QuerySelectorAll("script,link,iframe,object,embed,base"));
        Assert.DoesNotContain("url(http", page.Source.Text, StringComparison.OrdinalIgnoreCase);
        Assert.DoesNotContain("@import", page.Source.Text, StringComparison.OrdinalIgnoreCase);
    }

    [Fact]
    public void A_page_needs_no_network()
    {
        NeedsNoNetwork(Parse(SummaryPage.Html(SummariesSample.Full(SummariesSample.NastyName), SummariesSample.Material())));
        NeedsNoNetwork(Parse(SummaryPage.Html(SummariesSample.Refused("crab.stl"))));
        NeedsNoNetwork(Parse(BoardPage.Html(SummariesSample.Board())));
    }

    [Fact]
    public void Every_finding_stands_on_the_page_with_its_advice_worst_first()
    {
        var s = SummariesSample.Full();
        var page = Parse(SummaryPage.Html(s, SummariesSample.Material()));
        var items = page.QuerySelectorAll("ol.findings > li");
        Assert.Equal(s.Findings.Count, items.Length);
        foreach (var f in s.Findings)
            Assert.Contains(items, i => i.TextContent.Contains(f.Text) && i.TextContent.Contains(f.Advice) && i.TextContent.Contains(f.Id));
        Assert.Equal(["check", "check", "note"], items.Select(i => i.QuerySelector(".word")!.TextContent));
        Assert.Equal("./pictures/places-1.png", items[0].QuerySelector("a")!.GetAttribute("href"));
    }

    [Fact]
    public void A_name_with_tags_quotes_and_other_scripts_stays_text()
    {
        var s = SummariesSample.Full(SummariesSample.NastyName) with { Folder = "\"><script>alert(1)</script>", Resin = "grey' onload='x" };
        var page = Parse(SummaryPage.Html(s, SummariesSample.Material()));
        Assert.Equal(SummariesSample.NastyName, page.QuerySelector("h1")!.TextContent);
        Assert.Contains(SummariesSample.NastyName, FirstSentence(page));
        Assert.Contains(SummariesSample.NastyName, page.Title);
        Assert.Empty(page.QuerySelectorAll("script,i"));
        Assert.DoesNotContain(page.All, e => e.Attributes.Any(a => a.Name.StartsWith("on", StringComparison.Ordinal)));
        Assert.All(page.QuerySelectorAll("b"), b => Assert.Null(b.Closest("h1,.lead,td")));
        Assert.Contains("\"><script>alert(1)</script>", page.QuerySelector(".block")!.TextContent);
    }

    [Fact]
    public void A_link_keeps_a_name_a_name()
    {
        Assert.Equal("./a/%23%3F%20%25.stl", HtmlWriter.Link("a/#? %.stl"));
        Assert.Equal("./javascript%3Aalert%281%29", HtmlWriter.Link("javascript:alert(1)"));
        Assert.Equal("./server/x", HtmlWriter.Link("//server/x"));
    }

    [Fact]
    public void The_first_sentence_says_which_file_and_what_to_do()
    {
        var refused = FirstSentence(Parse(SummaryPage.Html(SummariesSample.Refused("crab.stl"))));
        Assert.StartsWith("“crab.stl” was not done", refused);
        Assert.Contains("byte 80", refused);
        Assert.EndsWith("Copy the file again.", refused);
        var check = FirstSentence(Parse(SummaryPage.Html(SummariesSample.Full())));
        Assert.StartsWith("“anglerfish.stl” at 200 % is made, but somebody must look before it is printed. 900 mm³ of resin stay", check);
        Assert.EndsWith("There is 1 more like this below.", check);
        var ready = FirstSentence(Parse(SummaryPage.Html(SummariesSample.Ready())));
        Assert.StartsWith("“anglerfish.stl” at 200 % is ready to print: 2 pieces", ready);
        Assert.Contains("10 h 44 min", ready);
    }

    [Fact]
    public void A_refused_job_has_no_empty_tables_and_no_tray_card()
    {
        var page = Parse(SummaryPage.Html(SummariesSample.Refused("crab.stl")));
        Assert.Empty(page.QuerySelectorAll("table,svg,.card,#struts,#ways,#pictures"));
        Assert.Contains("The source was left as it was", page.Body!.TextContent);
    }

    [Fact]
    public void Each_piece_has_a_tray_card_that_defers_to_the_data_sheet()
    {
        var cards = Parse(SummaryPage.Html(SummariesSample.Full(), SummariesSample.Material())).QuerySelectorAll(".card");
        Assert.Equal(2, cards.Length);
        Assert.All(cards, c => Assert.Contains("Follow the resin's safety data sheet", c.TextContent));
        Assert.Contains("1 drain hole and 1 air hole", cards[0].TextContent);
        Assert.Contains("turned 42° from the print position, so that its front", cards[0].TextContent);
        Assert.Contains("at least 13 min", cards[0].TextContent);
        // Plugs come last.
        Assert.Contains("plugs last", cards[0].QuerySelectorAll("li").Last().TextContent);
        Assert.All(cards[0].QuerySelectorAll("li"), li => Assert.NotNull(li.QuerySelector(".box")));
    }

    [Fact]
    public void The_page_says_on_what_the_relative_rule_rests()
    {
        var text = Parse(SummaryPage.Html(SummariesSample.Full(), SummariesSample.Material())).Body!.TextContent;
        Assert.Contains("It takes for granted that the source printed well", text);
        Assert.Contains("95th percentile", text);
        Assert.Contains("57 %", text); // saved, of the three ways
        Assert.Contains("120 ml before layer 2,200", text);
        Assert.Contains("6.00 mm when plainly enlarged, 1.50 mm as printed", text);
    }

    [Fact]
    public void Drawings_stay_on_their_sheet()
    {
        var page = Parse(SummaryPage.Html(SummariesSample.Full(), SummariesSample.Material()));
        var charts = page.QuerySelectorAll("svg");
        Assert.Equal(3, charts.Length); // ways, layers of two pieces
        foreach (var svg in charts)
        {
            var box = svg.GetAttribute("viewBox")!.Split(' ').Select(double.Parse).ToArray();
            foreach (var r in svg.QuerySelectorAll("rect[x],line"))
                foreach (var (name, most) in new[] { ("x", box[2]), ("x1", box[2]), ("x2", box[2]), ("y", box[3]), ("y1", box[3]), ("y2", box[3]) })
                    if (r.Closest("pattern") is null && r.GetAttribute(name) is { } v) Assert.InRange(double.Parse(v, System.Globalization.CultureInfo.InvariantCulture), 0, most);
        }
    }

    [Fact]
    public void The_board_shows_every_file_with_its_state_and_a_link_that_opens()
    {
        var model = SummariesSample.Board();
        var page = Parse(BoardPage.Html(model));
        var text = page.Body!.TextContent;
        foreach (var job in model.Folders.SelectMany(f => f.Jobs))
        {
            var row = Assert.Single(page.QuerySelectorAll("tr"), r => r.Children[0].TextContent == job.File);
            Assert.Contains(BoardPage.State(job.State), row.TextContent);
            if (job.SummaryLink is not null)
                Assert.Equal("./" + job.SummaryLink, Uri.UnescapeDataString(row.QuerySelector("a")!.GetAttribute("href")!));
        }
        Assert.StartsWith("1 set needs a look before printing; 1 file cannot be printed as it is; 1 file being worked on; 1 file waiting; 1 set ready", page.QuerySelector("#now")!.TextContent);
        Assert.Contains("2026-03-04 05:06 +01:00", page.QuerySelector("#heartbeat")!.TextContent);
        Assert.Contains("The sub-folder “kit” is left alone", text);
        Assert.Contains("No mail server is set", text);
        Assert.Contains("there is no recipe of this name", text);
        Assert.Contains("contract 2", text);
    }

    [Theory]
    [InlineData(4.2, "4.2 s")]
    [InlineData(45, "45 s")]
    [InlineData(780, "13 min")]
    [InlineData(7200, "2 h")]
    [InlineData(38_665, "10 h 44 min")]
    public void Times_read_as_people_say_them(double seconds, string words) => Assert.Equal(words, Words.Time(seconds));

    [Fact]
    public void Directions_read_as_people_turn_a_part()
    {
        Assert.Equal("as printed, with the platform's side down", Words.TurnedDown(new Vec3(0.02, 0, -1)));
        Assert.Equal("upside down, with the platform's side up", Words.TurnedDown(Vec3.Up));
        Assert.Equal("turned 90° from the print position, so that its right side is lowest", Words.TurnedDown(new Vec3(1, 0, 0)));
        Assert.Equal("turned 45° from the print position, so that its front left side is lowest", Words.TurnedDown(new Vec3(-0.5, -0.5, -Math.Sqrt(0.5))));
    }

    [Fact]
    public void The_outcome_is_the_worst_level_and_a_note_is_ready()
    {
        static FindingFacts F(Level l) => new("island", l, "t", "a");
        Assert.Equal(Outcome.Ready, Summary.OutcomeOf([]));
        Assert.Equal(Outcome.Ready, Summary.OutcomeOf([F(Level.Note)]));
        Assert.Equal(Outcome.Check, Summary.OutcomeOf([F(Level.Check), F(Level.Note)]));
        Assert.Equal(Outcome.Stop, Summary.OutcomeOf([F(Level.Note), F(Level.Stop), F(Level.Check)]));
    }
}
