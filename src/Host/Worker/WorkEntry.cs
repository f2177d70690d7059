namespace Stiltwright.Host.Worker;

/// <summary>Where the child process begins its work.</summary>
public static class WorkEntry
{
    /// <summary>Carries out an order; the set lies in the order's folder afterwards.</summary>
    public static void Run(WorkOrder order, Action<string, double> progress, CancellationToken cancel) =>
        throw new InvalidOperationException($"The order {order.JobId} cannot be carried out: this build has no worker.");
}
