"""The whole sweep as a still picture: there as soon as the page's words, before any chart is.

The line is a small SVG stretched to the width at hand; letters and marks stand about it as text,
so that they keep their size on a phone and take the colours of the reader's theme.
"""

from __future__ import annotations

import math
from urllib.parse import quote

import numpy as np
import pandas as pd

from dashboard.look import DROPOUT, SECOND_TRACK, SIGNAL
from dashboard.markup import Html, joined, tag
from dashboard.wording.dropout_words import dropout_label
from dashboard.words import CHANNEL_UNITS, counted, number

WIDE, HIGH = 2000, 1000  # the line's own grid
_TRACKS = {"signal": (SIGNAL, ""), "signal_b": (SECOND_TRACK, "8 5")}
_ABOUT_X, _ABOUT_Y = 7, 6  # places named along each axis, at the most
_MARGIN = 0.06  # of the readings' range, left free above and below


def trace_picture(
    trace: pd.DataFrame, dropouts: pd.DataFrame, *, channel: str, reading: str
) -> Html:
    """The signal over time, and a wedge at the top for each drop-out.

    Parameters
    ----------
    trace : DataFrame
        TRACE of the whole sweep, not empty.
    dropouts : DataFrame
        DROPOUTS of the same session.
    channel : str
        ``volt``, ``ohm`` or ``percent``.
    reading : str
        What it shows, in a sentence: read aloud in its place.
    """
    unit = CHANNEL_UNITS.get(channel, "unit not recorded")
    times = (float(trace["t_s"].min()), float(trace["t_s"].max()))
    readings = _range(trace)
    across = [tag("span", words, style=f"left:{at:.2f}%") for at, words in _places(times, _ABOUT_X)]
    up = [
        tag("span", words, style=f"top:{100 - at:.2f}%")
        for at, words in _places(readings, _ABOUT_Y)
    ]
    field = [tag("img", alt="", src=_line(trace, times, readings)), *_marks(dropouts, times)]
    picture = tag(
        "div",
        tag("div", *up, class_="wa-plot-up"),
        tag("div", *field, class_="wa-plot-field"),
        tag("div", *across, class_="wa-plot-across"),
        class_="wa-plot",
        style=f"--wa-mark:{DROPOUT}",
        role="img",
        aria_label=reading,
    )
    return joined([_title(trace, dropouts, unit), picture, tag("p", _X_TITLE, class_="wa-plot-x")])


_X_TITLE = "Time from the sweep's start, s"


def _title(trace: pd.DataFrame, dropouts: pd.DataFrame, unit: str) -> Html:
    drawn = counted(int(trace["signal"].notna().sum()), "sample")
    said = [f"{drawn} drawn; n = {counted(len(dropouts), 'drop-out')}"]
    if trace["signal_b"].notna().any():
        said.append("unbroken: signal; broken: second track")
    lines = [tag("span", line) for line in said]
    title = tag("strong", f"Sweep: signal over time, {unit}")
    return tag("p", title, *lines, class_="wa-chart-title")


def _range(trace: pd.DataFrame) -> tuple[float, float]:
    """Least and greatest reading of both tracks with a margin; 0 to 1 where there is none."""
    read = trace[list(_TRACKS)].to_numpy(dtype=float)
    read = read[np.isfinite(read)]
    if not read.size:
        return 0.0, 1.0
    low, high = float(read.min()), float(read.max())
    margin = _MARGIN * (high - low) or 0.5
    return low - margin, high + margin


def _places(ends: tuple[float, float], about: int) -> list[tuple[float, str]]:
    """Round values between the ends: where they stand, % of the way, and how they are written."""
    low, high = ends
    if not high > low:
        return []
    step = _round_step((high - low) / about)
    digits = max(0, -math.floor(math.log10(step)))
    values = np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step
    return [(100 * (v - low) / (high - low), number(float(v), digits=digits)) for v in values]


def _round_step(least: float) -> float:
    """The next of 1, 2 and 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(times * power for times in (1, 2, 5, 10) if times * power >= least * (1 - 1e-9))


def _line(trace: pd.DataFrame, times: tuple[float, float], readings: tuple[float, float]) -> str:
    """The tracks as an image's address."""
    x = _on_grid(trace["t_s"], times, WIDE)
    paths = []
    for name, (colour, dashes) in _TRACKS.items():
        y = HIGH - _on_grid(trace[name], readings, HIGH)
        path = _path(x, y)
        if path:
            dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
            paths.append(f'<path d="{path}" stroke="{colour}"{dashed}/>')
    whole = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" '
        'preserveAspectRatio="none"><style>path{fill:none;stroke-width:1.5px;'
        f"vector-effect:non-scaling-stroke}}</style>{''.join(paths)}</svg>"
    )
    return f"data:image/svg+xml,{quote(whole, safe=' -/:=,.')}"


def _on_grid(values: pd.Series, ends: tuple[float, float], size: int) -> np.ndarray:
    span = (ends[1] - ends[0]) or 1.0
    return np.round(size * (values.to_numpy(dtype=float, na_value=np.nan) - ends[0]) / span)


def _path(x: np.ndarray, y: np.ndarray) -> str:
    """Lines from reading to reading, step by step; a blank one breaks them."""
    pieces, before = [], None
    for place in zip(x.tolist(), y.tolist(), strict=True):
        if not all(map(math.isfinite, place)):
            before = None
            continue
        at = (int(place[0]), int(place[1]))
        if before is None:
            pieces.append(f"M{at[0]} {at[1]}l0 0")
        elif at != before:
            pieces.append(f" {at[0] - before[0]} {at[1] - before[1]}")
        before = at
    return "".join(pieces)


def _marks(dropouts: pd.DataFrame, times: tuple[float, float]) -> list[Html]:
    span = (times[1] - times[0]) or 1.0
    return [
        tag(
            "span",
            class_="wa-plot-mark",
            style=f"left:{100 * (row['start_s'] - times[0]) / span:.2f}%",
            title=dropout_label(row),
        )
        for row in dropouts.to_dict("records")
    ]
