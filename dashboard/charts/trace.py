"""The sweep as recorded, one mark a drop-out."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.look import DROPOUT, SECOND_TRACK, SIGNAL
from dashboard.words import CHANNEL_UNITS, counted, number, travel

_TRACKS = {"signal": "signal", "signal_b": "second track"}
MARGIN_S = 0.2


def trace_chart(
    trace: pd.DataFrame,
    dropouts: pd.DataFrame,
    *,
    channel: str | None,
    window_s: tuple[float, float] | None = None,
    ink: str = INK,
) -> alt.LayerChart:
    """The signal over time; each drop-out is one wedge at the top over its own span.

    Parameters
    ----------
    trace : DataFrame
        TRACE, decimated so that every extreme is kept.
    dropouts : DataFrame
        DROPOUTS of the same session.
    channel : str or None
        ``volt``, ``ohm`` or ``percent``.
    window_s : tuple of float, optional
        Part of the sweep shown, s; the whole by default.
    ink : str
        Colour of letters and axes.
    """
    unit = CHANNEL_UNITS.get(channel or "", "unit not recorded")
    time = alt.X(
        "t_s:Q", title="Time from the sweep's start, s", scale=_time_scale(trace, window_s)
    )
    layers = [_lines(trace, time, unit)]
    if len(dropouts):
        layers += _dropout_layers(dropouts, time)
    chart = alt.layer(*layers).properties(
        title=titled(
            f"Sweep: signal over time, {unit}",
            f"{counted(_sample_count(trace), 'sample')} drawn; "
            f"n = {counted(len(dropouts), 'drop-out')}",
        )
    )
    return readable(chart.add_params(_zoom()), 440, ink)


def _zoom() -> alt.Parameter:
    """Drag to move, Shift and wheel to zoom: the bare wheel stays with the page."""
    return alt.selection_interval(bind="scales", encodings=["x"], zoom="wheel![event.shiftKey]")


def _time_scale(trace: pd.DataFrame, window_s: tuple[float, float] | None) -> alt.Scale:
    if window_s is None:
        window_s = (float(trace["t_s"].min()), float(trace["t_s"].max())) if len(trace) else (0, 1)
    return alt.Scale(domain=list(window_s), nice=False)


def _lines(trace: pd.DataFrame, time: alt.X, unit: str) -> alt.Chart:
    present = [name for name in _TRACKS if trace[name].notna().any()] or ["signal"]
    long = plain_frame(trace).melt(
        id_vars=["t_s", "sample_no"], value_vars=present, var_name="track", value_name="reading"
    )
    long["track"] = long["track"].map(_TRACKS)
    # Single precision is finer than any screen, and half as much to send.
    long = long.astype({"t_s": "float32", "reading": "float32", "sample_no": "int32"})
    both = list(_TRACKS.values())
    # A blank reading breaks the line: what was not read is not drawn.
    return (
        alt.Chart(long)
        .mark_line(strokeWidth=1.4, clip=True)
        .encode(
            x=time,
            y=alt.Y("reading:Q", title=unit, scale=alt.Scale(zero=False, padding=14)),
            color=alt.Color(
                "track:N",
                scale=alt.Scale(domain=both, range=[SIGNAL, SECOND_TRACK]),
                legend=alt.Legend(title=None) if len(present) > 1 else None,
            ),
            strokeDash=alt.StrokeDash(
                "track:N", scale=alt.Scale(domain=both, range=[[1, 0], [5, 3]]), legend=None
            ),
            order="sample_no:Q",
        )
    )


def _dropout_layers(dropouts: pd.DataFrame, time: alt.X) -> list[alt.Chart]:
    """A wedge at the top for each drop-out, and its span in pale beneath."""
    marks = plain_frame(dropouts)
    marks["t_s"] = marks["start_s"]
    marks["end_s"] = marks["start_s"] + marks["length_s"]
    marks["length_ms"] = marks["length_s"] * 1000
    base = alt.Chart(marks).encode(x=time, tooltip=_dropout_tooltip())
    span = base.mark_rect(color=DROPOUT, opacity=0.25, clip=True).encode(x2="end_s:Q")
    wedge = base.mark_point(
        shape="triangle-down", filled=True, size=110, color=DROPOUT, opacity=1, clip=True
    ).encode(y=alt.value(7))
    return [span, wedge]


def _dropout_tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("dropout_no:Q", title="Drop-out"),
        alt.Tooltip("start_s:Q", title="Start, s", format=".3f"),
        alt.Tooltip("length_ms:Q", title="Length, ms", format=".1f"),
        alt.Tooltip("depth_pct:Q", title="Depth, % of applied", format=".1f"),
        alt.Tooltip("travel_pct:Q", title="Travel, %", format=".1f"),
    ]


def _sample_count(trace: pd.DataFrame) -> int:
    return int(trace["signal"].notna().sum())


def window_around(dropout: dict, margin_s: float = MARGIN_S) -> tuple[float, float]:
    """The part of the sweep around one drop-out, s."""
    start, end = dropout["start_s"], dropout["start_s"] + dropout["length_s"]
    return max(0.0, start - margin_s), end + margin_s


def trace_reading(trace: pd.DataFrame, dropouts: pd.DataFrame) -> str:
    """What the chart shows, in a sentence."""
    if trace.empty:
        return "No sample of this sweep can be drawn."
    span = f"The sweep lasts {number(trace['t_s'].max() - trace['t_s'].min(), 's', 1)}"
    if dropouts.empty:
        return f"{span} and no drop-out was seen in it, which does not show that there is none."
    worst = dropouts.loc[dropouts["depth_pct"].idxmax()]
    where = travel(worst["travel_pct"], "a travel not known")
    return (
        f"{span} with {counted(len(dropouts), 'drop-out')}; the deepest departs by "
        f"{number(worst['depth_pct'], '% of the applied', 1)} at "
        f"{number(worst['start_s'], 's', 2)}, {where}."
    )
