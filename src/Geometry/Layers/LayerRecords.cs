namespace Stiltwright.Geometry.Layers;

/// <summary>
/// One connected solid region of a layer (pixels that touch by side or corner belong together).
/// </summary>
/// <param name="Layer">Layer number from 0; its plane is z = (Layer + 1/2) layer heights.</param>
/// <param name="Body">The body it belongs to at this layer (a root: see <see cref="LayerStack.BodyRootAt"/>).</param>
/// <param name="AreaMm2">Area, mm2.</param>
/// <param name="PerimeterMm">Length of its rims, holes included, mm: see <see cref="LayerStack"/> for its error.</param>
/// <param name="X">x of its centroid, mm.</param>
/// <param name="Y">y of its centroid, mm.</param>
/// <param name="MinX">Left border, mm.</param>
/// <param name="MaxX">Right border, mm.</param>
/// <param name="MinY">Front border, mm.</param>
/// <param name="MaxY">Back border, mm.</param>
/// <param name="RestingMm2">How much of it lies over solid of the layer below, mm2.</param>
public readonly record struct LayerRegion(
    int Layer, int Body, double AreaMm2, double PerimeterMm, double X, double Y,
    double MinX, double MaxX, double MinY, double MaxY, double RestingMm2);

/// <summary>
/// What grows from one first region. Where two bodies join, the older one goes on (the lower number where they began in
/// the same layer) and the younger one merges into it.
/// </summary>
/// <param name="Id">Number, in order of first layer.</param>
/// <param name="FirstLayer">Layer in which it begins.</param>
/// <param name="LastLayer">Last layer in which it has a region of its own.</param>
/// <param name="MergeLayer">Layer in which it joins an older body; int.MaxValue if never.</param>
/// <param name="MergesInto">The older body it joins, -1 if none.</param>
/// <param name="VolumeMm3">Volume up to its merge or end, mm3, with what merged into it before.</param>
public readonly record struct SolidBody(int Id, int FirstLayer, int LastLayer, int MergeLayer, int MergesInto, double VolumeMm3);

/// <summary>A region that begins in mid-air: no solid of the layer below lies under it, and it is not on the platform.</summary>
/// <param name="Layer">Layer number.</param>
/// <param name="AreaMm2">Area of this first region, mm2.</param>
/// <param name="At">A place inside it, mm.</param>
/// <param name="Body">The body that begins here.</param>
public readonly record struct Island(int Layer, double AreaMm2, Vec3 At, int Body);

/// <summary>A liquid region that the solid of a slice encloses.</summary>
/// <param name="Layer">Layer number.</param>
/// <param name="Void">The void it belongs to (see <see cref="VoidBody"/>).</param>
/// <param name="AreaMm2">Area, mm2.</param>
/// <param name="X">x of its centroid, mm.</param>
/// <param name="Y">y of its centroid, mm.</param>
/// <param name="PerimeterMm">Length of the rims around it, mm.</param>
/// <param name="At">A place inside it on the layer's plane, mm: tells which cavity it is a slice of.</param>
/// <param name="Vented">
/// True if the void at or below this layer reaches the outside somewhere else. False: only the film closes it, and lifting pulls.
/// </param>
/// <param name="VolumeMm3">Volume of the closed void up to this layer (resin that is lifted along), mm3; 0 where vented.</param>
public readonly record struct CupRegion(int Layer, int Void, double AreaMm2, double X, double Y, double PerimeterMm, Vec3 At, bool Vented, double VolumeMm3);

/// <summary>
/// A void that grows upwards between walls; the older of two that join goes on. It lasts as long as the slices enclose it:
/// where a hole opens a slice sideways the number ends, and above the hole a new void begins, vented from its first layer.
/// </summary>
/// <param name="Id">Number, in order of first layer.</param>
/// <param name="FirstLayer">Layer in which it begins.</param>
/// <param name="OpenLayer">First layer in which it reaches the outside other than through the film; int.MaxValue if never.</param>
/// <param name="MergeLayer">Layer in which it joins an older void; int.MaxValue if never.</param>
/// <param name="MergesInto">The older void it joins, -1 if none.</param>
/// <param name="OnPlatform">True if its own first region lies on the platform, which closes it during the print.</param>
public readonly record struct VoidBody(int Id, int FirstLayer, int OpenLayer, int MergeLayer, int MergesInto, bool OnPlatform);

/// <summary>A void of the finished part (off the platform) without any way out wider than the columns' pitch.</summary>
/// <param name="VolumeMm3">Volume, mm3.</param>
/// <param name="At">A place inside it, mm.</param>
/// <param name="FirstLayer">Lowest layer.</param>
/// <param name="LastLayer">Highest layer.</param>
public readonly record struct SealedVoid(double VolumeMm3, Vec3 At, int FirstLayer, int LastLayer);

/// <summary>Volume and centre of what has been printed of a body.</summary>
/// <param name="VolumeMm3">Volume, mm3.</param>
/// <param name="Centroid">Centre of volume, mm.</param>
public readonly record struct BodyAmount(double VolumeMm3, Vec3 Centroid);
