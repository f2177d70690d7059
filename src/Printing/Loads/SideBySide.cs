using System.Runtime.ExceptionServices;

namespace Stiltwright.Printing.Loads;

/// <summary>Runs a few pieces of work on the cores there are. What one of them throws comes out as it was thrown, a wish to stop first.</summary>
internal static class SideBySide
{
    public static void Run(params Action[] work)
    {
        try
        {
            Parallel.Invoke(work);
        }
        catch (AggregateException e)
        {
            var all = e.Flatten().InnerExceptions;
            ExceptionDispatchInfo.Throw(all.FirstOrDefault(x => x is OperationCanceledException) ?? all[0]);
        }
    }
}
