"""Tags of bikes to print: one code and the bike's name each, as one page that needs nothing else.

A code is a QR code (ISO/IEC 18004) at error correction M with the four quiet modules that the
standard asks for, black on white whatever the reader's theme.
"""

from __future__ import annotations

import pandas as pd
import segno

from dashboard.markup import Html, joined, tag
from pipeline.access.tags_view import tag_content

#: Modules of plain ground about a code (ISO/IEC 18004:2015, 9.1, from memory).
QUIET_MODULES = 4
_STYLE = """
@page { margin: 10mm; }
body { font-family: sans-serif; color: #000; background: #fff; margin: 0; }
ul { list-style: none; margin: 0; padding: 0; display: flex; flex-wrap: wrap; gap: 4mm; }
li { width: 58mm; border: 1px solid #000; border-radius: 2mm; padding: 2mm; display: flex;
  gap: 2mm; align-items: center; break-inside: avoid; box-sizing: border-box; }
img { width: 27mm; height: 27mm; flex: none; }
strong { font-size: 12pt; overflow-wrap: anywhere; }
span { display: block; font-size: 9pt; overflow-wrap: anywhere; }
"""


def code(content: str) -> Html:
    """A QR code as a picture that needs no other file."""
    made = segno.make(content, error="m", micro=False)
    drawn = made.svg_data_uri(border=QUIET_MODULES, scale=4, light="#fff", dark="#000")
    return tag("img", src=drawn, alt=f"QR code: {content}")


def one_tag(row: dict, base_address: str) -> Html:
    """One bike's tag: TAG_BIKES row."""
    same = row["label"] == row["unit_id"]
    below = row["model_code"] if same else f"{row['unit_id']}, {row['model_code']}"
    return tag(
        "li",
        code(tag_content(row["unit_id"], base_address)),
        tag("div", tag("strong", row["label"]), tag("span", below)),
    )


def tag_sheet(bikes: pd.DataFrame, base_address: str) -> str:
    """The tags of some bikes (TAG_BIKES) as a web page."""
    tags = [one_tag(row, base_address) for row in bikes.to_dict("records")]
    head = joined(
        [
            Html('<meta charset="utf-8">'),
            tag("title", "Tags of bikes"),
            tag("style", Html(_STYLE)),
        ]
    )
    body = tag("body", tag("ul", *tags))
    return f"<!doctype html>{tag('html', tag('head', head), body, lang='en')}"
