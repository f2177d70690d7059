using System.Text;
using Stiltwright.Host.Summaries;
using Stiltwright.Sdk;

namespace Stiltwright.Host.Jobs;

/// <summary>The set of a job that was refused: a summary that says why, and nothing else.</summary>
public static class StopSummary
{
    /// <summary>Writes summary.json and summary.html into a folder.</summary>
    public static void Write(string folder, JobInput job, string sha256, Finding finding)
    {
        var summary = new Summary
        {
            Number = job.Number,
            Source = new SourceFacts(Path.GetFileName(job.SourcePath), sha256),
            Folder = job.Folder,
            Recipe = job.Recipe.Name,
            Outcome = Outcome.Stop,
            Resin = job.Recipe.Resin.Name,
            Findings = [FindingFacts.From(finding)],
        };
        SummaryFiles.Write(folder, summary);
        File.WriteAllText(Path.Combine(folder, SummaryFiles.PageName), SummaryPage.Html(summary), Encoding.UTF8);
    }
}
