using Stiltwright.Geometry.Layers;
using static Stiltwright.Geometry.Tests.LayersScenes;

namespace Stiltwright.Geometry.Tests;

/// <summary>The drain flood against its definition, worked out by plain repetition on single voxels.</summary>
public class LayersDrainTwinTests
{
    private const int N = 26;

    [Fact]
    public void Depths_of_pools_and_number_of_sealed_rooms_are_those_of_the_definition()
    {
        int deep = 0, shut = 0;
        for (var seed = 1; seed <= 10; seed++)
        {
            var parts = Scene(new Random(seed));
            var columns = Columns.Build(parts, ColumnGrid.Covering(new Box3(Vec3.Zero, new Vec3(N, N, N)), 1), default);
            // A radius of half a voxel narrows the void by one voxel to all sides.
            var found = DrainFlood.Run(columns, new DrainRequest(new Vec3(0, 0, -1)) { VoxelMm = 1, FlowRadiusMm = 0.5, LeastDepthVoxels = 1 }, default);
            var (depth, rooms) = Definition(columns.Runs());
            Assert.Equal(rooms, found.Pools.Count(p => p.Sealed));
            Assert.Equal(depth, (int)Math.Round(found.Pools.Where(p => !p.Sealed).Select(p => p.DepthMm).DefaultIfEmpty(0).Max()));
            deep += depth > 0 ? 1 : 0;
            shut += rooms > 0 ? 1 : 0;
        }
        Assert.True(deep > 2 && shut > 2, $"{deep} scenes with pools, {shut} with sealed rooms");
    }

    /// <summary>Hollow boxes with walls of two and square bores of three to five through them.</summary>
    private static List<ColumnPart> Scene(Random random)
    {
        var parts = new List<ColumnPart> { new(Box(0, 0, 0, 1, 1, 1), 0), new(Box(N - 1, N - 1, N - 1, N, N, N), 0) };
        for (var n = 0; n < 3; n++)
        {
            int x = random.Next(0, 12), y = random.Next(0, 12), z = random.Next(0, 12);
            int a = x + random.Next(8, 14), b = y + random.Next(8, 14), c = z + random.Next(8, 14);
            parts.Add(new ColumnPart(Box(x, y, z, a, b, c), 0));
            parts.Add(new ColumnPart(Box(x + 2, y + 2, z + 2, a - 2, b - 2, c - 2).Turned(), 0));
            if (random.Next(3) == 0) continue;
            int w = random.Next(3, 6), p = x + random.Next(1, 5), q = z + random.Next(1, 5);
            parts.Add(new ColumnPart(Box(p, y - 1, q, p + w, y + 4, q + w).Turned(), 0));
        }
        return parts;
    }

    private static (int Depth, int Sealed) Definition(ColumnRuns runs)
    {
        const int size = N + 8, shift = 4, never = int.MaxValue;
        bool Solid(int x, int y, int z) => runs.Holds(new Vec3(x - shift + 0.5, y - shift + 0.5, z - shift + 0.5));
        bool Open(int x, int y, int z) => !(Solid(x, y, z) || Solid(x - 1, y, z) || Solid(x + 1, y, z) || Solid(x, y - 1, z) || Solid(x, y + 1, z)
            || Solid(x, y, z - 1) || Solid(x, y, z + 1));
        var open = new bool[size, size, size];
        var spill = new int[size, size, size];
        for (var z = 0; z < size; z++)
            for (var y = 0; y < size; y++)
                for (var x = 0; x < size; x++)
                {
                    open[x, y, z] = Open(x, y, z);
                    var border = x == 0 || y == 0 || z == 0 || x == size - 1 || y == size - 1 || z == size - 1;
                    spill[x, y, z] = open[x, y, z] && border ? z : never;
                }
        for (var changed = true; changed;)
        {
            changed = false;
            ForAll((x, y, z) =>
            {
                if (!open[x, y, z]) return;
                var best = never;
                Around(x, y, z, (a, b, c) => { if (open[a, b, c]) best = Math.Min(best, spill[a, b, c]); });
                best = best == never ? never : Math.Max(best, z);
                if (best >= spill[x, y, z]) return;
                spill[x, y, z] = best;
                changed = true;
            });
        }
        var depth = 0;
        var rooms = 0;
        var seen = new bool[size, size, size];
        ForAll((x, y, z) =>
        {
            if (!open[x, y, z]) return;
            if (spill[x, y, z] != never) depth = Math.Max(depth, spill[x, y, z] - z);
            else if (!seen[x, y, z])
            {
                rooms++;
                var front = new Stack<(int, int, int)>();
                front.Push((x, y, z));
                seen[x, y, z] = true;
                while (front.TryPop(out var p))
                    Around(p.Item1, p.Item2, p.Item3, (a, b, c) =>
                    {
                        if (!open[a, b, c] || seen[a, b, c]) return;
                        seen[a, b, c] = true;
                        front.Push((a, b, c));
                    });
            }
        });
        return (depth, rooms);

        static void ForAll(Action<int, int, int> look)
        {
            for (var z = 1; z < size - 1; z++)
                for (var y = 1; y < size - 1; y++)
                    for (var x = 1; x < size - 1; x++) look(x, y, z);
        }

        static void Around(int x, int y, int z, Action<int, int, int> look)
        {
            for (var c = z - 1; c <= z + 1; c++)
                for (var b = y - 1; b <= y + 1; b++)
                    for (var a = x - 1; a <= x + 1; a++) look(a, b, c);
        }
    }
}
