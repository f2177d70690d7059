namespace Stiltwright.Benchmarks.Peers;

/// <summary>One line of the table: a task on an input, the peer to be measured against, and the ratio (ours / peer, wall time) that is aimed at.</summary>
internal sealed record PeerRow(string Task, string Input, Peer Peer, double Target, Func<PeerInputs, OwnTask> Own)
{
    /// <summary>What to do with our result afterwards, outside the time: text for the table (such as distances measured by a peer's program).</summary>
    public Func<PeerInputs, string>? After { get; init; }
}
