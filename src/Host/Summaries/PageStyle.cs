namespace Stiltwright.Host.Summaries;

/// <summary>
/// The look of our pages: a printed work sheet. Paper, ink and clay; no colour carries a meaning of its own. Fonts are
/// those of the machine that opens the page, so nothing is fetched.
/// </summary>
public static class PageStyle
{
    /// <summary>The style sheet of summary page and board.</summary>
    public const string Css = """
        :root{--paper:#f8f4ea;--sheet:#fdfbf5;--ink:#26323c;--faint:#6a6f70;--rule:#cfc7b5;--clay:#b98a63;--deep:#2f5d7c}
        *{box-sizing:border-box}
        body{margin:0;background:var(--paper);color:var(--ink);font:15px/1.5 "Segoe UI","Noto Sans","DejaVu Sans",Arial,sans-serif}
        main{max-width:1040px;margin:0 auto;padding:28px 32px 60px}
        h1,h2,h3{font-family:Georgia,"Noto Serif","DejaVu Serif",serif;font-weight:600;line-height:1.25}
        h1{font-size:27px;margin:0 0 6px;overflow-wrap:anywhere}
        h2{font-size:19px;margin:38px 0 10px;padding-top:9px;border-top:3px double var(--ink)}
        h3{font-size:16px;margin:20px 0 6px}
        p{margin:6px 0;max-width:80ch;overflow-wrap:anywhere}
        a{color:var(--deep)}
        .lead{font-size:18px;line-height:1.45;margin:14px 0 18px}
        .small{font-size:13px;color:var(--faint)}
        .block{display:grid;grid-template-columns:repeat(4,1fr);border:1.5px solid var(--ink);background:var(--sheet);margin:14px 0}
        .block>div{border-right:1px solid var(--rule);border-bottom:1px solid var(--rule);padding:5px 10px;min-width:0;overflow-wrap:anywhere}
        .block dt,.block .k{font-size:11.5px;color:var(--faint)}
        .block .v{font-size:15px}
        .word{display:inline-block;white-space:nowrap;border:1.5px solid var(--ink);padding:0 9px;font-family:Georgia,serif;letter-spacing:.02em}
        .word.check{border-style:dashed}.word.stop{background:var(--ink);color:var(--sheet)}
        table{border-collapse:collapse;width:100%;margin:8px 0;background:var(--sheet);font-variant-numeric:tabular-nums}
        caption{text-align:left;font-size:13px;color:var(--faint);padding:0 0 4px}
        th,td{border-bottom:1px solid var(--rule);padding:4px 9px;text-align:left;vertical-align:top;overflow-wrap:break-word}
        td bdi{overflow-wrap:anywhere}
        td.t{white-space:nowrap}
        th{font-weight:600;border-bottom:1.5px solid var(--ink);font-size:13px}
        td.n,th.n{text-align:right;white-space:nowrap}
        ol.findings{list-style:none;margin:0;padding:0}
        ol.findings>li{display:grid;grid-template-columns:88px 1fr;gap:0 14px;border-top:1px solid var(--rule);padding:9px 0}
        ol.findings p{margin:2px 0}
        .advice{padding-left:12px;border-left:3px solid var(--clay)}
        figure{margin:16px 0;background:var(--sheet);border:1px solid var(--rule);padding:10px}
        figure img{display:block;max-width:100%;height:auto;margin:0 auto}
        figcaption{padding:8px 4px 0}
        figcaption ol{margin:4px 0 0;padding-left:26px;columns:2;column-gap:28px}
        .gallery{display:grid;grid-template-columns:1fr 1fr;gap:0 18px;align-items:start}
        .gallery figure.wide{grid-column:1/-1}
        svg{display:block;width:100%;height:auto;background:var(--sheet)}
        svg text{font:12px "Segoe UI","Noto Sans","DejaVu Sans",Arial,sans-serif;fill:var(--ink)}
        .card{border:1.5px solid var(--ink);background:var(--sheet);padding:14px 20px;margin:18px 0;break-inside:avoid}
        .card h3{margin:0 0 4px;font-size:19px}
        .card ol{list-style:none;padding:0;margin:8px 0}
        .card ol li{padding:5px 0 5px 30px;position:relative;border-bottom:1px solid var(--rule)}
        .box{position:absolute;left:4px;top:8px;width:15px;height:15px;border:1.5px solid var(--ink);background:#fff}
        .fill{display:grid;grid-template-columns:1fr 1fr 1fr;gap:10px 20px;margin-top:14px}
        .fill span{border-bottom:1px solid var(--ink);padding-top:14px;font-size:12px;color:var(--faint)}
        .safety{border-left:6px solid var(--ink);padding:4px 14px;margin:12px 0}
        @media (max-width:760px){.block{grid-template-columns:1fr 1fr}.gallery{grid-template-columns:1fr}ol.findings>li{grid-template-columns:1fr}figcaption ol{columns:1}main{padding:16px}}
        @page{size:A4;margin:14mm}
        @media print{body{background:#fff;font-size:10.5pt}main{max-width:none;padding:0}figure,table,svg,.card,ol.findings>li{break-inside:avoid}h2,h3{break-after:avoid}.card{break-before:page;background:#fff}.screen{display:none}a{color:inherit;text-decoration:none}.gallery figure img{max-height:110mm;width:auto}}
        """;
}
