using AngleSharp.Html.Parser;
using Stiltwright.Host.Summaries;

namespace Stiltwright.Host.Tests;

public class SummariesMailTests
{
    private static readonly IReadOnlyList<SetPicture> Pictures = SummariesSample.Material().Pictures;

    [Theory]
    [InlineData("crab.stl")]
    [InlineData("crab\r\nBcc: everyone@example.org\r\n\r\n.stl")]
    [InlineData("\u0007\u001b[31m\u2028\u202Ecod.stl")]
    [InlineData(SummariesSample.NastyName)]
    public void A_subject_is_one_line_whatever_the_file_is_called(string name)
    {
        var mail = MailText.For(SummariesSample.Full(name), @"\\server\exhibit\enlarge-200", Pictures);
        Assert.DoesNotContain(mail.Subject, c => char.IsControl(c) || c is '\u2028' or '\u2029' or '\u202E');
        Assert.Contains("somebody must look before printing", mail.Subject);
        Assert.DoesNotContain("\nBcc:", mail.Text);
    }

    [Fact]
    public void A_long_name_is_cut_but_not_through_a_letter()
    {
        var mail = MailText.For(SummariesSample.Full(string.Concat(Enumerable.Repeat("🐙", 200)) + ".stl"), "x", []);
        Assert.InRange(mail.Subject.Length, 40, 140);
        Assert.DoesNotContain('\uFFFD', System.Text.Encoding.UTF8.GetString(System.Text.Encoding.UTF8.GetBytes(mail.Subject)));
    }

    [Fact]
    public void The_first_line_says_which_file_and_what_to_decide()
    {
        var mail = MailText.For(SummariesSample.Full(), @"\\server\exhibit\enlarge-200\anglerfish.set", Pictures);
        var first = mail.Text.Split('\n')[0];
        Assert.Contains("anglerfish.stl", first);
        Assert.Contains("somebody must look", first);
        Assert.Contains("Give the slip a hole place", first);
        Assert.Contains(@"\\server\exhibit\enlarge-200\anglerfish.set", mail.Text);
        Assert.Contains("stiltwright record 0412 --accepted", mail.Text);
        foreach (var f in SummariesSample.Full().Findings) Assert.Contains(f.Text, mail.Text);
    }

    [Fact]
    public void The_html_part_shows_only_pictures_that_the_mail_carries()
    {
        var mail = MailText.For(SummariesSample.Full(SummariesSample.NastyName), "path", Pictures);
        var page = new HtmlParser().ParseDocument(mail.Html);
        Assert.Equal(mail.Inline.Select(p => "cid:" + p.ContentId), page.QuerySelectorAll("img").Select(i => i.GetAttribute("src")));
        Assert.Equal(2, mail.Inline.Count);
        Assert.Empty(page.QuerySelectorAll("script,link,style,a,form"));
        Assert.Contains(SummariesSample.NastyName, page.Body!.TextContent);
        Assert.Contains("1: layer 600", page.Body.TextContent);
        foreach (var f in SummariesSample.Full().Findings) Assert.Contains(f.Advice, page.Body.TextContent);
    }

    [Fact]
    public void A_refused_file_is_told_without_numbers_that_nobody_knows()
    {
        var mail = MailText.For(SummariesSample.Refused("crab.stl"), "path");
        Assert.Equal("crab.stl: not done (set 0413, enlarge-300)", mail.Subject);
        Assert.Contains("byte 80", mail.Text.Split('\n')[0]);
        Assert.Empty(mail.Inline);
        Assert.DoesNotContain("cured", mail.Text);
    }
}
