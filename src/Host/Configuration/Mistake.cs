namespace Stiltwright.Host.Configuration;

/// <summary>One mistake of a configuration file, told as a sentence that says where it is and what to do.</summary>
/// <param name="File">The file, relative to the configuration folder where it lies there.</param>
/// <param name="Line">Line from 1; 0 where there is none.</param>
/// <param name="Path">Path of the key inside the file, e.g. stages[3].wallMm; empty for the file itself.</param>
/// <param name="Text">What is wrong and what to do.</param>
public sealed record Mistake(string File, int Line, string Path, string Text)
{
    /// <inheritdoc/>
    public override string ToString()
    {
        var line = Line > 0 ? $", line {Line}" : "";
        var path = Path.Length > 0 ? $", {Path}" : "";
        return $"{File}{line}{path}: {Text}";
    }
}
