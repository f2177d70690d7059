using Stiltwright.Host.Publishing;

namespace Stiltwright.Host.Jobs;

/// <summary>
/// The name of a service among those that share a ledger: the PC's, and a few signs that stay with the state folder, so
/// that a service that starts again knows its own claims and two on one PC are told apart.
/// </summary>
public static class ServiceName
{
    /// <summary>The name that belongs to a state folder; its file is made where it is missing.</summary>
    public static string Of(string stateFolder)
    {
        Directory.CreateDirectory(stateFolder);
        var path = Path.Combine(stateFolder, "service.id");
        if (!File.Exists(path)) DurableFiles.Replace(path, Guid.NewGuid().ToString("N")[..8]);
        return $"{Environment.MachineName}-{File.ReadAllText(path).Trim()}";
    }
}
