"""The palette and the style sheet: the one place where colours are written down.

Colour is never the only cue: each action has its word and its own outline, each kind of mark in a
chart its own shape. Words on the page keep a contrast of at least 4.5 to 1, marks in charts and
edges of fields at least 3 to 1 in both themes (WCAG 2.2, success criteria 1.4.3 and 1.4.11).
"""

from __future__ import annotations

from pathlib import Path

# (light theme, dark theme)
PAGE = {
    "ground": ("#FBFAF6", "#14181B"),
    "raised": ("#EFECE3", "#232A2F"),
    "text": ("#1D2327", "#ECE9E1"),
    "quiet": ("#52595E", "#B5B9B6"),
    "link": ("#0F5C73", "#7FCBE0"),
    "edge": ("#83857F", "#7D868A"),
    "replace": ("#9C3206", "#FF9F70"),
    "test": ("#1A5796", "#8CC3F5"),
    "not-enough-known": ("#6A4196", "#CDB3F0"),
    "leave": ("#465A4E", "#B4C7BB"),
}

# Marks in charts stand on either ground, so each is of middle lightness.
SIGNAL = "#3D82AD"
SECOND_TRACK = "#8D6CBB"
DROPOUT = "#CE5320"
ROUGHNESS = "#2C8C7C"
NO_EVIDENCE = "#7F8378"
BAND = "#9B7A2F"
# Least worn to most; how far a cell is filled tells the same.
WEAR_STEPS = ("#7F8378", "#8B7F58", "#9B7A2F", "#B66B28", "#CE5320", "#D93A3A")

CHART_MARKS = {
    "signal": SIGNAL,
    "second track": SECOND_TRACK,
    "drop-out": DROPOUT,
    "roughness": ROUGHNESS,
    "no evidence": NO_EVIDENCE,
    "band": BAND,
}

_SHEET = Path(__file__).with_name("look.css")


def ink(theme: object) -> str:
    """The colour of letters in charts for a theme (``light`` or ``dark``)."""
    return PAGE["text"][1 if theme == "dark" else 0]


def style_sheet() -> str:
    """The whole style sheet, palette first, ready to stand in a page."""
    names = "".join(
        f"--wa-{name}: light-dark({light}, {dark});" for name, (light, dark) in PAGE.items()
    )
    return f"<style>.stApp {{{names}}}\n{_SHEET.read_text(encoding='utf-8')}</style>"
