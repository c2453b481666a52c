"""A sheet as one file of HTML: style and pictures stand in it, nothing is fetched, no script."""

from __future__ import annotations

from dashboard.markup import Html, bullets, facts, joined, tag
from dashboard.prints.pictures import as_svg
from dashboard.prints.sheet import Part, Picture, Rows, Sheet

_STYLE = """
@page { size: A4; margin: 14mm; }
* { box-sizing: border-box; }
body { font: 11pt/1.4 system-ui, sans-serif; color: #111; background: #fff; max-width: 190mm;
  margin: 0 auto; padding: 4mm; }
h1 { font-size: 17pt; line-height: 1.2; margin: 0 0 3mm; }
h2 { font-size: 13pt; margin: 5mm 0 1.5mm; break-after: avoid; }
p, ul, ol, dl { margin: 0 0 1.5mm; }
h1, p, li, dd { overflow-wrap: anywhere; }
td { overflow-wrap: break-word; }
dl { display: grid; grid-template-columns: repeat(auto-fill, minmax(52mm, 1fr)); gap: 1.5mm 6mm; }
dt { color: #444; font-size: 10pt; }
dd { margin: 0; font-weight: 600; }
.notice, .boxed { border: 0.5mm solid #111; padding: 2mm 3mm; margin: 0 0 2mm; }
.notice { font-weight: 700; }
.lead { font-weight: 700; }
table { border-collapse: collapse; width: 100%; font-size: 10pt; }
th, td { text-align: left; vertical-align: top; border-bottom: 0.2mm solid #666;
  padding: 0.8mm 2mm 0.8mm 0; }
thead { display: table-header-group; }
td { white-space: pre-line; }
tr, figure, section.boxed, .blanks > div { break-inside: avoid; }
.scroll { overflow-x: auto; }
figure { margin: 0; }
svg { width: 100%; height: auto; }
.blanks > div { margin: 2mm 0 4mm; }
.blanks span { display: block; border-bottom: 0.3mm solid #111; height: 9mm; }
footer { margin-top: 6mm; border-top: 0.3mm solid #111; padding-top: 2mm; font-size: 10pt; }
"""


def as_html(sheet: Sheet) -> str:
    """The whole file; every text of the records is escaped."""
    head = joined(
        [
            Html('<meta charset="utf-8">'),
            Html('<meta name="viewport" content="width=device-width, initial-scale=1">'),
            tag("title", sheet.title),
            tag("style", Html(_STYLE)),
        ]
    )
    body = joined(
        [
            tag(
                "main",
                tag("h1", sheet.title),
                *(tag("p", notice, class_="notice") for notice in sheet.notices),
                *(_part(part) for part in sheet.parts),
            ),
            tag("footer", sheet.foot),
        ]
    )
    return f"<!doctype html>\n{tag('html', tag('head', head), tag('body', body), lang='en')}\n"


def _part(part: Part) -> Html:
    pieces = [
        tag("h2", part.heading),
        facts(part.facts) if part.facts else "",
        tag("p", part.lead, class_="lead") if part.lead else "",
        _points(part),
        _rows(part.rows, part.heading) if part.rows else "",
        _picture(part.picture) if part.picture else "",
        _blanks(part.blanks),
        tag("p", part.after) if part.after else "",
    ]
    return tag("section", *pieces, class_="boxed" if part.boxed else None)


def _points(part: Part) -> Html:
    if part.numbered:
        return tag("ol", *(tag("li", point) for point in part.points))
    return bullets(part.points)


def _rows(rows: Rows, heading: str) -> Html:
    head = tag("tr", *(tag("th", name, scope="col") for name in rows.headings))
    body = [tag("tr", *(tag("td", cell) for cell in row)) for row in rows.cells]
    whole = tag("table", tag("thead", head), tag("tbody", *body))
    return tag("div", whole, class_="scroll", tabindex="0", role="region", aria_label=heading)


def _picture(picture: Picture) -> Html:
    drawn = Html(as_svg(picture.draw()))
    return tag("figure", drawn, tag("figcaption", picture.reading()))


def _blanks(blanks: tuple[str, ...]) -> Html:
    if not blanks:
        return Html("")
    return tag("div", *(tag("div", name, tag("span")) for name in blanks), class_="blanks")
