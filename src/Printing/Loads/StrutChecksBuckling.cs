namespace Stiltwright.Printing.Loads;

/// <content>Buckling of struts between the places that hold them.</content>
internal sealed partial class StrutChecks
{
    // A strut that forks stands by itself until its other branches reach the figure: then one branch and all below it bears
    // what this branch takes. Once they do, they hold the fork, and what is below it bears the push of all. They hold it only
    // where the figure is held by other struts too: on one strut alone it sways with the fork.
    private void Buckling()
    {
        var modulus = _scene.Resin.GreenModulusMPa;
        var braces = SideStiffness.OfBraces(_frame, modulus);
        var branches = Enumerable.Range(0, _frame.Elements.Count).ToLookup(e => _frame.Elements[e].Lower);
        var joins = _contacts.ToDictionary(c => c.Contact.Node);
        foreach (var path in Paths())
        {
            if (!_contactAbove[path[^1]]) continue; // joined to no figure: StandFree has it
            var fork = path.Count - 1; // the highest one
            while (fork > 0 && branches[_frame.Elements[path[fork]].Lower].Count() < 2) fork--;
            var alone = new BracedColumn(_frame, path, braces, modulus, _strength).Holds();
            for (var i = 0; i < path.Count; i++) Buckling(path[i], alone[i], i < fork ? path[fork] : path[i]);
            if (fork == 0) continue;
            var layer = _worst[path[fork - 1]].PushAt - 1; // at which the trunk is pushed hardest
            bool Holds(int node) => joins.TryGetValue(node, out var c) && c.FromLayer <= layer && HeldByOthers(c, layer);
            var held = new BracedColumn(_frame, path, braces.WithBranches(_frame, path, branches, Holds, modulus), modulus, _strength).Holds();
            for (var i = 0; i < path.Count; i++) Buckling(path[i], held[i], path[i]);
        }
    }

    // True if at a layer the body that a contact holds hangs on another strut as well, or stands by itself.
    private bool HeldByOthers(ContactState contact, int layer)
    {
        var figure = _scene.Figure;
        var root = figure.RootAt(contact.Body, layer);
        if ((figure.Bodies[root].FirstLayer - 0.5) * figure.LayerMm <= _scene.RaftTopMm + 1e-9) return true;
        var tree = _frame.Tree[contact.Contact.Node];
        foreach (var other in _contacts)
            if (other.FromLayer <= layer && _frame.Tree[other.Contact.Node] != tree && figure.RootAt(other.Body, layer) == root) return true;
        return false;
    }

    private void Buckling(int element, ColumnHold hold, int pushed)
    {
        var s = _frame.Elements[element].Segment;
        var use = _worst[pushed].Push / hold.CapacityN;
        _slenderness[s] = Math.Max(_slenderness[s], hold.Slenderness);
        if (!(use > _use[s, (int)LoadCheck.Buckling])) return;
        Note(s, LoadCheck.Buckling, use, _worst[pushed].PushAt, pushed);
        _leans[s] = hold.Leans;
    }
}
