namespace Stiltwright.Printing.Struts;

/// <summary>What speaks for and against each structure, weighed.</summary>
internal sealed partial class StrutEvidence
{
    /// <summary>Fewer thin contacts than this could be legs of a table or feelers, unless they are necks.</summary>
    private const int FewThinContacts = 6;

    /// <summary>A contact this thin against its shaft, and against the scene, is the neck of a strut: no column of a figure ends so.</summary>
    private const double NeckShare = 0.6, NeckOfScene = 0.01;

    /// <summary>Contacts whose heights differ by less than this share of theirs over the platform end under one level roof.</summary>
    private const double RoofShare = 0.02;

    /// <summary>Points (log odds) that leave a structure unsure: a confidence of 0.88.</summary>
    private const double AtMostUnsure = 2;

    /// <summary>The contact end is thin: against its own tube, or against the one that carries it.</summary>
    private bool ThinContact(ScenePart p, int end, HashSet<int>? among = null) => ThinnerThan(_thin, 0.02, p, end, among);

    private bool ThinnerThan(double share, double ofScene, ScenePart p, int end, HashSet<int>? among = null)
    {
        var r = p.EndRadius(end);
        if (r > ofScene * _scene.Diagonal) return false;
        var widest = p.Tube!.LargestRadius;
        foreach (var j in p.Joins[1 - end])
            if (Members.Contains(j.Other) || among?.Contains(j.Other) == true) widest = Math.Max(widest, j.Radius);
        return r <= share * widest;
    }

    private void Score()
    {
        var family = Members.Where(m => !_scene.Parts[m].Low).GroupBy(m => _scene.Parts[m].Signature).ToDictionary(g => g.Key, g => g.Count());
        var contacts = new List<(int Part, int End, bool Thin)>();
        foreach (var m in Members)
            for (var e = 0; e < 2; e++)
                if (!_scene.Parts[m].Low && MeetsFigure(_scene.Parts[m], e)) contacts.Add((m, e, ThinContact(_scene.Parts[m], e)));
        ThinLikeTheOthers(contacts);
        var component = Components();
        var perComponent = Members.GroupBy(m => component[m]).ToDictionary(g => g.Key, g => g.ToList());
        var props = Props.Find(_scene, Members);
        for (var i = 0; i < contacts.Count; i++)
            if (props.Contains(contacts[i].Part)) contacts[i] = contacts[i] with { Thin = true };
        var thin = contacts.Count(c => c.Thin);
        var lonely = LonelyShare(contacts);
        var roof = CarryARoof(contacts);

        foreach (var (_, list) in perComponent)
        {
            var own = contacts.Where(c => component[c.Part] == component[list[0]]).ToList();
            var raft = list.Any(m => Enumerable.Range(0, 2).Any(e => _scene.Parts[m].OnLow[e] >= 0 && !_scene.Bases.Contains(_scene.Parts[m].OnLow[e])
                && !FootDiscs.Contains(_scene.Parts[m].OnLow[e])));
            var feet = list.Any(FootDiscs.Contains) || list.Any(m => Flared(_scene.Parts[m]) && Grounded(_scene.Parts[m], 0));
            // The figure's own base stands on the ground as well, and what rises from it may be its own.
            var onBase = list.Any(m => Enumerable.Range(0, 2).Any(e => _scene.Bases.Contains(_scene.Parts[m].OnLow[e])));
            var necks = own.Count(c => ThinnerThan(NeckShare, NeckOfScene, _scene.Parts[c.Part], c.End));
            var share = own.Count == 0 ? 0 : (double)own.Count(c => c.Thin) / own.Count;
            foreach (var m in list)
            {
                var p = _scene.Parts[m];
                var words = new List<string>();
                var s = -1.0;
                var res = p.Tube!.Residual;
                Weigh(res < 0.01 && p.Tube.Pieces.All(g => g.Section.Sides > 0) ? 1.5 : res < 0.03 ? 1 : res < 0.08 ? 0 : -2, "regular section");
                if (OnFigure.Contains(m)) Weigh(1, "same make as the struts that stand on the ground");
                else Weigh(raft ? 1.5 : feet ? 1.0 : 0.5, raft ? "stands on the raft" : "stands on the platform");
                Weigh(own.Count == 0 ? -6 : share >= 0.8 ? 1.5 : share >= 0.4 ? 0 : -4, own.Count == 0 ? "reaches no figure" : "thin where it meets the figure");
                var alike = p.Low ? FootDiscs.Count : family[p.Signature];
                Weigh(alike >= 12 ? 1.5 : alike >= 6 ? 1 : alike >= 3 ? 0.5 : alike == 2 ? 0 : -0.5, $"{alike} of its make");
                Weigh(thin >= 10 ? 2 : thin >= 6 ? 1.5 : thin >= 3 ? 1 : 0, $"{thin} thin contacts in all");
                if (onBase) Weigh(-1.5, "the figure stands on the same plate");
                else if (_scene.BulkOnFloor) Weigh(-1.5, "the figure itself stands on the platform");
                if ((onBase || _scene.BulkOnFloor) && thin >= LeastThinContacts && own.Count > 0 && necks >= 0.8 * own.Count) Weigh(1.5, "its contacts are necks");
                if (props.Contains(m)) words.Add("one of many slender props of one section and of different lengths under the figure");
                if (thin < FewThinContacts && own.Count > 0 && necks < 0.8 * own.Count) Weigh(-1, "few contacts, and no necks");
                if (onBase && !feet && alike < 3) Weigh(-2, "few of its make");
                const string Columns = "all end at one height, as columns under a roof do, and none in a neck";
                if (roof && (onBase || _scene.BulkOnFloor)) Weigh(-6, Columns);
                if (p.Crossings > 0) Weigh(-2, "runs through the figure");
                if (lonely > 0.5) Weigh(-2, "every part would be held by one strut only");
                // Where nothing but these stands on the ground it may as well be a flat figure that was held level.
                if (roof && !onBase && !_scene.BulkOnFloor && s > AtMostUnsure) Weigh(AtMostUnsure - s, Columns);
                Confidence[m] = 1 / (1 + Math.Exp(-s));
                Why[m] = string.Join("; ", words);

                void Weigh(double points, string what)
                {
                    s += points;
                    if (points != 0) words.Add((points > 0 ? "" : "against: ") + what);
                }
            }
        }
    }

    /// <summary>All of several contacts lie at one height, and hardly one is a neck.</summary>
    private bool CarryARoof(List<(int Part, int End, bool Thin)> contacts)
    {
        if (contacts.Count < LeastThinContacts || contacts.Count(c => ThinnerThan(NeckShare, NeckOfScene, _scene.Parts[c.Part], c.End)) > 0.2 * contacts.Count) return false;
        var heights = contacts.Select(c => _scene.Parts[c.Part].End(c.End).Z).ToList();
        return heights.Max() - heights.Min() < RoofShare * (heights.Max() - _scene.Floor);
    }
}
