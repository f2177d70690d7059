using CsCheck;

namespace Stiltwright.Geometry.Tests;

public class UnionFindTests
{
    [Fact]
    public void The_least_member_stands_for_a_set_whatever_the_order_of_joining() =>
        Gen.Select(Gen.Int[0, 59], Gen.Int[0, 59]).Array[0, 60].Sample(pairs =>
        {
            // Reckoned anew by spreading the least number until nothing changes.
            var least = Enumerable.Range(0, 60).ToArray();
            for (var changed = true; changed;)
            {
                changed = false;
                foreach (var (a, b) in pairs)
                    if (least[a] != least[b])
                    {
                        least[a] = least[b] = Math.Min(least[a], least[b]);
                        changed = true;
                    }
            }
            var sets = new UnionFind(60);
            foreach (var (a, b) in pairs) sets.Join(a, b);
            for (var i = 0; i < 60; i++) Assert.Equal(least[i], sets.Find(i));
        }, iter: 1000);
}
