using System.Numerics;

namespace Stiltwright.Geometry.Layers;

/// <summary>
/// Which liquid stays in a part that is turned to a direction. The void is sampled in voxels whose planes are level in that
/// direction, narrowed to where a ball of the flow radius fits, and flooded from the outside upwards: a voxel that is first
/// reached from above has a lip over it, and the void below the lip is a pool (a priority flood; Barnes, Lehman, Mulla 2014).
/// Everything is decided to the safe side: a passage must be wider than the ball by about a voxel to count as open, and
/// a pool's level is taken up to a voxel too high.
/// </summary>
public sealed class DrainFlood
{
    private const double FinestVoxelMm = 0.4;
    private const double MostVoxels = 120e6;

    private readonly Vec3 _origin, _u, _v, _up;
    private readonly double _h, _radius;
    private readonly BitVolume _solid, _open, _reached;
    private readonly CancellationToken _cancel;
    private readonly int _workers;
    private readonly List<TrappedPool> _pools = [];
    private readonly Stack<(int X, int Y, int Z)> _front = new();
    private readonly BitVolume _pool;
    private (int X, int Y, int Z) _low, _high;
    private int _lowRun, _x0, _y0, _z0, _x1, _y1, _z1;

    /// <summary>Finds what stays. The columns tell inside from outside to their pitch.</summary>
    /// <param name="columns">The part with its cavities and holes.</param>
    /// <param name="request">Direction and widths.</param>
    /// <param name="cancel">Stops the work.</param>
    /// <param name="workers">Threads to use, 0 for all cores; the result is the same for any number.</param>
    /// <exception cref="ArgumentException">The direction is zero, or a width is not positive.</exception>
    public static DrainResult Run(Columns columns, DrainRequest request, CancellationToken cancel, int workers = 0) =>
        Run(columns.Runs(request.Groups), request, cancel, workers);

    /// <summary>The same on stretches already at hand (several directions of one part).</summary>
    public static DrainResult Run(ColumnRuns runs, DrainRequest request, CancellationToken cancel, int workers = 0)
    {
        if (!(request.Down.Length > 0)) throw new ArgumentException("The direction in which liquid runs has no length.", nameof(request));
        if (!(request.FlowRadiusMm > 0)) throw new ArgumentException($"The flow radius must be above 0, not {request.FlowRadiusMm} mm.", nameof(request));
        if (request.VoxelMm is { } wish && !(wish > 0)) throw new ArgumentException($"Voxels must be larger than 0, not {wish} mm.", nameof(request));
        var box = BoundsOf(runs);
        if (box.IsEmpty) return new DrainResult([], request.VoxelMm ?? FinestVoxelMm, request.FlowRadiusMm);
        var flood = new DrainFlood(runs, box, request, cancel, Columns.Threads(workers));
        flood.Flood(request.LeastDepthVoxels);
        flood.FindSealed();
        return new DrainResult(
            [.. flood._pools.OrderByDescending(p => p.VolumeMm3).ThenBy(p => p.Deepest.Z).ThenBy(p => p.Deepest.X).ThenBy(p => p.Deepest.Y)],
            flood._h, flood._radius);
    }

    private DrainFlood(ColumnRuns runs, Box3 box, DrainRequest request, CancellationToken cancel, int workers)
    {
        (_cancel, _workers) = (cancel, workers);
        _up = -request.Down.Unit();
        _u = Math.Abs(_up.Z) > 0.999999 ? new Vec3(1, 0, 0) : _up.AnyPerpendicular();
        _v = _up.Cross(_u);
        Vec3 lo = new(double.PositiveInfinity, double.PositiveInfinity, double.PositiveInfinity), hi = -lo;
        for (var k = 0; k < 8; k++)
        {
            var p = new Vec3((k & 1) == 0 ? box.Min.X : box.Max.X, (k & 2) == 0 ? box.Min.Y : box.Max.Y, (k & 4) == 0 ? box.Min.Z : box.Max.Z);
            var q = new Vec3(p.Dot(_u), p.Dot(_v), p.Dot(_up));
            (lo, hi) = (Vec3.Min(lo, q), Vec3.Max(hi, q));
        }
        var size = hi - lo;
        _h = request.VoxelMm ?? FinestVoxelMm;
        // The border of void around the part is counted in voxels, so the size that fits is found by trying.
        while (Voxels(size, request.FlowRadiusMm) > (request.VoxelMm is null ? MostVoxels : 8 * MostVoxels))
        {
            if (request.VoxelMm is not null)
                throw new ArgumentException($"Voxels of {_h} mm are too many for a part of {size} mm; choose coarser ones.", nameof(request));
            _h *= 1.02;
        }
        // A ball below half a voxel would not keep diagonal neighbours apart.
        _radius = Math.Max(request.FlowRadiusMm, _h / 2);
        var pad = Pad(_radius);
        int nx = Cells(size.X, pad), ny = Cells(size.Y, pad), nz = Cells(size.Z, pad);
        _origin = _u * (lo.X - pad * _h) + _v * (lo.Y - pad * _h) + _up * (lo.Z - pad * _h);
        _solid = new BitVolume(nx, ny, nz);
        Parallel.For(0, nz, new ParallelOptions { MaxDegreeOfParallelism = workers, CancellationToken = cancel }, z =>
        {
            for (var y = 0; y < ny; y++)
            {
                int first = 0, end = nx;
                // In a turned frame most of a row lies beside the part.
                if (request.AlsoSolid is null) Within(box, y, z, ref first, ref end);
                for (var x = first; x < end; x++)
                {
                    var p = Place(x, y, z);
                    if (runs.Holds(p) || (request.AlsoSolid is { } also && also(p))) _solid[x, y, z] = true;
                }
            }
        });
        _open = _solid.Dilated(_radius / _h + 0.5, workers);
        Parallel.For(0, nz, new ParallelOptions { MaxDegreeOfParallelism = workers }, z =>
        {
            for (var y = 0; y < ny; y++)
            {
                var row = _open.Row(y, z);
                for (var w = 0; w < row.Length; w++) row[w] = ~row[w] & _open.Valid(w);
            }
        });
        _reached = new BitVolume(nx, ny, nz);
        _pool = new BitVolume(nx, ny, nz);
    }

    private int Pad(double radius) => (int)Math.Ceiling(radius / _h + 0.5) + 3;

    private int Cells(double length, int pad) => (int)Math.Ceiling(length / _h) + 2 * pad;

    private double Voxels(Vec3 size, double radius)
    {
        double p = 2 * Math.Ceiling(radius / _h + 0.5) + 6;
        return (size.X / _h + p) * (size.Y / _h + p) * (size.Z / _h + p);
    }

    private Vec3 Place(double x, double y, double z) => _origin + _u * ((x + 0.5) * _h) + _v * ((y + 0.5) * _h) + _up * ((z + 0.5) * _h);

    // The voxels of a row that may lie in a box, and one more on either side.
    private void Within(Box3 box, int y, int z, ref int first, ref int end)
    {
        var at = Place(0, y, z);
        var step = _u * _h;
        double low = first, high = end - 1;
        for (var k = 0; k < 3; k++)
        {
            double a = box.Min[k] - at[k], b = box.Max[k] - at[k];
            if (Math.Abs(step[k]) < 1e-9)
            {
                if (a > _h || b < -_h) (low, high) = (1, 0);
                continue;
            }
            (a, b) = (a / step[k], b / step[k]);
            low = Math.Max(low, Math.Min(a, b) - 1);
            high = Math.Min(high, Math.Max(a, b) + 1);
        }
        (first, end) = low > high ? (0, 0) : ((int)Math.Floor(low), (int)Math.Ceiling(high) + 1);
        (first, end) = (Math.Max(0, first), Math.Min(_solid.Nx, end));
    }

    private static Box3 BoundsOf(ColumnRuns runs)
    {
        var box = Box3.Empty;
        var g = runs.Grid;
        for (var j = 0; j < g.Ny; j++)
            for (var i = 0; i < g.Nx; i++)
            {
                int c = j * g.Nx + i, from = runs.Start[c], to = runs.Start[c + 1];
                if (from == to) continue;
                box = box.With(new Vec3(g.X0 + i * g.PitchMm, g.Y0 + j * g.PitchMm, runs.Z0[from] * runs.UnitMm))
                    .With(new Vec3(g.X0 + (i + 1) * g.PitchMm, g.Y0 + (j + 1) * g.PitchMm, runs.Z1[to - 1] * runs.UnitMm));
            }
        return box;
    }

    /// <summary>Raises the level plane by plane. What lies open to the side or above a reached voxel is reached without a lip.</summary>
    private void Flood(double leastDepth)
    {
        var words = _open.Words;
        var under = new ulong[words];
        for (var z = 0; z < _open.Nz; z++)
        {
            _cancel.ThrowIfCancellationRequested();
            for (var y = 0; y < _open.Ny; y++)
            {
                var row = _reached.Row(y, z);
                var open = _open.Row(y, z);
                if (z == 0 || y == 0 || y == _open.Ny - 1) open.CopyTo(row);
                else
                {
                    NeighboursOf(_reached, y, z - 1, row);
                    for (var w = 0; w < words; w++) row[w] &= open[w];
                    row[0] |= open[0] & 1;
                    row[words - 1] |= open[words - 1] & 1UL << (_open.Nx - 1 & 63);
                }
            }
            Level(z);
            if (z == 0) continue;
            for (var y = 0; y < _open.Ny; y++)
            {
                Array.Clear(under);
                NeighboursOf(_reached, y, z, under);
                for (var w = 0; w < words; w++)
                {
                    ulong missing;
                    while ((missing = under[w] & _open.Row(y, z - 1)[w] & ~_reached.Row(y, z - 1)[w]) != 0)
                        Sink((w << 6) + BitOperations.TrailingZeroCount(missing), y, z - 1, z, leastDepth);
                }
            }
        }
    }

    /// <summary>Ors three neighbouring rows of a plane, each widened by one, into a row.</summary>
    private static void NeighboursOf(BitVolume bits, int y, int z, Span<ulong> into)
    {
        for (var b = Math.Max(0, y - 1); b <= Math.Min(bits.Ny - 1, y + 1); b++) BitVolume.OrSpread(bits.Row(b, z), 1, into);
    }

    /// <summary>Spreads what is reached over its plane, rows up and down until nothing changes.</summary>
    private void Level(int z)
    {
        var wide = new ulong[_open.Words];
        for (var y = 0; y < _open.Ny; y++) BitVolume.FillRow(_reached.Row(y, z), _open.Row(y, z));
        for (var grew = true; grew;)
        {
            grew = false;
            for (var y = 1; y < _open.Ny; y++) grew |= Spread(y - 1, y);
            for (var y = _open.Ny - 2; y >= 0; y--) grew |= Spread(y + 1, y);
        }

        bool Spread(int from, int to)
        {
            Array.Clear(wide);
            BitVolume.OrSpread(_reached.Row(from, z), 1, wide);
            var row = _reached.Row(to, z);
            var open = _open.Row(to, z);
            var more = false;
            for (var w = 0; w < wide.Length; w++)
            {
                var add = wide[w] & open[w] & ~row[w];
                more |= add != 0;
                row[w] |= add;
            }
            if (more) BitVolume.FillRow(row, open);
            return more;
        }
    }

    /// <summary>
    /// Takes up everything not yet reached that is joined to a voxel at or below a level, a whole run of a row at a time;
    /// what lies below the level is the pool.
    /// </summary>
    private void Collect(int x, int y, int z, int level)
    {
        (_low, _lowRun, _high) = ((x, y, z), 0, (x, y, z));
        (_x0, _y0, _z0, _x1, _y1, _z1) = (int.MaxValue, int.MaxValue, int.MaxValue, -1, -1, -1);
        _front.Push((x, y, z));
        while (_front.TryPop(out var p))
        {
            if (_reached[p.X, p.Y, p.Z]) continue;
            int a = p.X, b = p.X;
            while (_open[a - 1, p.Y, p.Z] && !_reached[a - 1, p.Y, p.Z]) a--;
            while (_open[b + 1, p.Y, p.Z] && !_reached[b + 1, p.Y, p.Z]) b++;
            SetRun(_reached.Row(p.Y, p.Z), a, b);
            if (p.Z < level) AddToPool(a, b, p.Y, p.Z);
            // The border is reached from outside, so no run of a pool lies on it.
            for (var c = p.Z - 1; c <= Math.Min(p.Z + 1, level); c++)
                for (var r = p.Y - 1; r <= p.Y + 1; r++) PushMissing(a - 1, b + 1, r, c);
        }
    }

    private static void SetRun(Span<ulong> row, int a, int b)
    {
        for (var w = a >> 6; w <= b >> 6; w++) row[w] |= Between(a, b, w);
    }

    /// <summary>The bits of word w that stand for places a..b of a row.</summary>
    private static ulong Between(int a, int b, int w)
    {
        int from = Math.Max(a - (w << 6), 0), to = Math.Min(b - (w << 6), 63);
        return from > to ? 0 : ulong.MaxValue << from & ulong.MaxValue >> (63 - to);
    }

    private void PushMissing(int a, int b, int y, int z)
    {
        Span<ulong> open = _open.Row(y, z), reached = _reached.Row(y, z);
        for (var w = a >> 6; w <= b >> 6; w++)
        {
            var missing = open[w] & ~reached[w] & Between(a, b, w);
            while (missing != 0)
            {
                var at = BitOperations.TrailingZeroCount(missing);
                _front.Push(((w << 6) + at, y, z));
                // One seed a run: adding its lowest bit clears the run.
                missing &= missing + (1UL << at);
            }
        }
    }

    private void AddToPool(int a, int b, int y, int z)
    {
        SetRun(_pool.Row(y, z), a, b);
        (_x0, _x1) = (Math.Min(_x0, a), Math.Max(_x1, b));
        (_y0, _y1) = (Math.Min(_y0, y), Math.Max(_y1, y));
        (_z0, _z1) = (Math.Min(_z0, z), Math.Max(_z1, z));
        if (z < _low.Z || (z == _low.Z && b - a + 1 > _lowRun)) (_low, _lowRun) = (((a + b) / 2, y, z), b - a + 1);
        if (z > _high.Z) _high = ((a + b) / 2, y, z);
    }

    private void Sink(int x, int y, int z, int level, double leastDepth)
    {
        var lip = Lip(x, y, level);
        Collect(x, y, z, level);
        if (level - _low.Z >= leastDepth)
        {
            // The ball's centre crossed the lip one radius above it; taking no more than the radius off keeps to the safe side.
            var surface = level + 0.5 - _radius / _h;
            _pools.Add(new TrappedPool(Wet(surface), Floor(_low), (level - _low.Z) * _h, Place(lip.X, lip.Y, level) - _up * _radius, false));
        }
        ForgetPool();
    }

    private void ForgetPool()
    {
        for (var z = _z0; z <= _z1; z++)
            for (var y = _y0; y <= _y1; y++) _pool.Row(y, z)[(_x0 >> 6)..((_x1 >> 6) + 1)].Clear();
    }

    /// <summary>A reached voxel of the level next to the first one below it.</summary>
    private (int X, int Y) Lip(int x, int y, int level)
    {
        for (var b = y - 1; b <= y + 1; b++)
            for (var a = x - 1; a <= x + 1; a++)
                if (_reached[a, b, level]) return (a, b);
        return (x, y);
    }

    private void FindSealed()
    {
        for (var z = 1; z < _open.Nz - 1; z++)
            for (var y = 1; y < _open.Ny - 1; y++)
                for (var w = 0; w < _open.Words; w++)
                {
                    ulong missing;
                    while ((missing = _open.Row(y, z)[w] & ~_reached.Row(y, z)[w]) != 0)
                    {
                        _cancel.ThrowIfCancellationRequested();
                        Collect((w << 6) + BitOperations.TrailingZeroCount(missing), y, z, _open.Nz);
                        _pools.Add(new TrappedPool(
                            Wet(double.PositiveInfinity), Floor(_low), (_high.Z - _low.Z + 1) * _h + 2 * _radius, Place(_high.X, _high.Y, _high.Z), true));
                        ForgetPool();
                    }
                }
    }

    /// <summary>The last void voxel straight below one, as a place.</summary>
    private Vec3 Floor((int X, int Y, int Z) p)
    {
        while (p.Z > 0 && !_solid[p.X, p.Y, p.Z - 1]) p.Z--;
        return Place(p.X, p.Y, p.Z);
    }

    /// <summary>Volume of the void below a surface (in planes) that balls centred on the pool's voxels fill, mm3.</summary>
    private double Wet(double surface)
    {
        var reach = _radius / _h + 1.5;
        var pad = (int)Math.Ceiling(reach);
        // Words are copied whole, so the cut-out begins at a word of the row.
        int w0 = Math.Max(0, _x0 - pad) >> 6, y0 = Math.Max(0, _y0 - pad), z0 = Math.Max(0, _z0 - pad);
        var near = new BitVolume(
            Math.Min(_open.Nx, _x1 + pad + 1) - (w0 << 6), Math.Min(_open.Ny, _y1 + pad + 1) - y0, Math.Min(_open.Nz, _z1 + pad + 1) - z0);
        for (var z = _z0; z <= _z1; z++)
            for (var y = _y0; y <= _y1; y++) _pool.Row(y, z).Slice(w0, near.Words).CopyTo(near.Row(y - y0, z - z0));
        var full = near.Dilated(reach, _workers);
        var volume = 0.0;
        for (var z = 0; z < full.Nz; z++)
        {
            var share = Math.Clamp(surface - (z + z0), 0, 1);
            if (share == 0) break;
            for (var y = 0; y < full.Ny; y++)
            {
                var row = full.Row(y, z);
                var solid = _solid.Row(y + y0, z + z0);
                for (var w = 0; w < row.Length; w++) row[w] &= ~solid[w + w0];
            }
            volume += share * full.CountPlane(z);
        }
        return volume * _h * _h * _h;
    }
}
