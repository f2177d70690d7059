namespace Stiltwright.Geometry.Files.ThreeMf;

/// <summary>Names of the 3MF core specification 1.3 and of the extensions that the reader knows.</summary>
internal static class ThreeMfNames
{
    internal const string Core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
    internal const string Materials = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02";
    internal const string Production = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06";
    internal const string BeamLattice = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02";
    internal const string ModelRelationship = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";
    internal const string ModelContentType = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml";
    internal const string RelationshipsContentType = "application/vnd.openxmlformats-package.relationships+xml";
    internal const string Relationships = "http://schemas.openxmlformats.org/package/2006/relationships";
    internal const string ContentTypes = "http://schemas.openxmlformats.org/package/2006/content-types";

    /// <summary>Millimetres in a unit of the model element (core specification, 3.4: table of units); null for none of them.</summary>
    internal static double? UnitMm(string unit) => unit switch
    {
        "micron" => 0.001,
        "millimeter" => 1,
        "centimeter" => 10,
        "inch" => 25.4,
        "foot" => 304.8,
        "meter" => 1000,
        _ => null,
    };
}
