using System.Xml;

namespace Stiltwright.Geometry.Files.ThreeMf;

/// <summary>Forward-only XML with everything hostile switched off; broken XML becomes a sentence with its line.</summary>
internal static class ThreeMfXml
{
    private const int DeepestNesting = 64;

    private static readonly XmlReaderSettings Settings = new()
    {
        DtdProcessing = DtdProcessing.Prohibit,
        XmlResolver = null,
        IgnoreComments = true,
        IgnoreProcessingInstructions = true,
        IgnoreWhitespace = true,
        CloseInput = true,
    };

    /// <summary>Calls back for the start of each element.</summary>
    internal static void Walk(Stream stream, string file, string part, Action<XmlReader> element) => Walk(stream, file, part, element, _ => { });

    /// <summary>Calls back for the start and the end of each element.</summary>
    internal static void Walk(Stream stream, string file, string part, Action<XmlReader> element, Action<XmlReader> end)
    {
        try
        {
            using var reader = XmlReader.Create(stream, Settings);
            while (reader.Read())
            {
                if (reader.NodeType == XmlNodeType.Element)
                {
                    if (reader.Depth > DeepestNesting)
                        throw new MeshReadException($"{file}, {part}, line {Line(reader)}: elements are nested deeper than {DeepestNesting}. The file is damaged or hostile.");
                    var empty = reader.IsEmptyElement;
                    element(reader);
                    reader.MoveToElement();
                    if (empty) end(reader);
                }
                else if (reader.NodeType == XmlNodeType.EndElement) end(reader);
            }
        }
        catch (XmlException e)
        {
            throw new MeshReadException($"{file}: the XML of {part} is broken at line {e.LineNumber}, column {e.LinePosition}: {Reason(e)} Export the model again.", e);
        }
    }

    internal static int Line(XmlReader reader) => reader is IXmlLineInfo i ? i.LineNumber : 0;

    private static string Reason(XmlException e)
    {
        // The message ends with the place, which is said already.
        var m = e.Message;
        var at = m.LastIndexOf(" Line ", StringComparison.Ordinal);
        return at > 0 ? m[..at] : m;
    }
}
