"""Charts as pictures that stand by themselves: drawn on this machine, nothing is fetched."""

from __future__ import annotations

import json

import altair as alt
import vl_convert

#: Version of the chart language that the renderer is to read; altair's own, without the patch.
LANGUAGE = ".".join(alt.SCHEMA_VERSION.removeprefix("v").split(".")[:2])
WIDTH_PX = 800
#: Dots for each of the chart's pixels: about 280 to the inch across a printed page.
DOTS = 2.5


def as_svg(chart: alt.LayerChart) -> str:
    """The chart as SVG, to stand inside a page of HTML."""
    return vl_convert.vegalite_to_svg(_sized(chart), vl_version=LANGUAGE, allowed_base_urls=[])


def as_png(chart: alt.LayerChart) -> bytes:
    """The chart as PNG, to stand in a PDF."""
    return vl_convert.vegalite_to_png(
        _sized(chart), vl_version=LANGUAGE, scale=DOTS, allowed_base_urls=[]
    )


def _sized(chart: alt.LayerChart) -> str:
    """The specification with a width of its own, where a page's chart takes that of the page."""
    spec = chart.to_dict() | {"width": WIDTH_PX, "background": "white"}
    return json.dumps(spec)
