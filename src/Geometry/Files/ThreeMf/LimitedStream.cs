namespace Stiltwright.Geometry.Files.ThreeMf;

/// <summary>Passes a stream on until a budget of bytes, shared by all parts of a package, is used up; then refuses.</summary>
internal sealed class LimitedStream(Stream inner, LimitedStream.Budget budget) : Stream
{
    internal sealed class Budget(string file, long limit)
    {
        private long _taken;

        internal void Take(long bytes)
        {
            _taken += bytes;
            if (_taken > limit)
                throw new MeshReadException($"{file} unpacks to more than {limit:N0} bytes, the limit here. It is damaged, hostile or too large: reduce the model or raise the limit.");
        }
    }

    public override bool CanRead => true;

    public override bool CanSeek => false;

    public override bool CanWrite => false;

    public override long Length => throw new NotSupportedException();

    public override long Position { get => throw new NotSupportedException(); set => throw new NotSupportedException(); }

    public override int Read(byte[] buffer, int offset, int count) => Read(buffer.AsSpan(offset, count));

    public override int Read(Span<byte> buffer)
    {
        var got = inner.Read(buffer);
        budget.Take(got);
        return got;
    }

    public override void Flush() { }

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

    public override void SetLength(long value) => throw new NotSupportedException();

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException();

    protected override void Dispose(bool disposing)
    {
        if (disposing) inner.Dispose();
        base.Dispose(disposing);
    }
}
