"""The sweep as recorded, one mark a drop-out."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.look import DROPOUT, SECOND_TRACK, SIGNAL
from dashboard.words import CHANNEL_UNITS, counted, number, travel

_TRACKS = {"signal": "signal", "signal_b": "second track"}
WINDOW = "window"


def trace_chart(
    trace: pd.DataFrame,
    dropouts: pd.DataFrame,
    *,
    channel: str | None,
    window_s: tuple[float, float] | None = None,
    can_choose: bool = False,
    ink: str = INK,
) -> alt.LayerChart:
    """The signal over time; each drop-out is one wedge at the top over its own span.

    Parameters
    ----------
    trace : DataFrame
        TRACE, of the whole or of the window, decimated so that every extreme is kept.
    dropouts : DataFrame
        DROPOUTS of the same session.
    channel : str or None
        ``volt``, ``ohm`` or ``percent``.
    window_s : tuple of float, optional
        Part of the sweep shown, s; the whole by default.
    can_choose : bool
        Whether a window of time can be drawn over it, called ``WINDOW``.
    ink : str
        Colour of letters and axes.
    """
    unit = CHANNEL_UNITS.get(channel or "", "unit not recorded")
    dropouts = in_window(dropouts, window_s)
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
    if can_choose:
        # the wheel stays with the page
        chart = chart.add_params(alt.selection_interval(WINDOW, encodings=["x"], zoom=False))
    return readable(chart, 440, ink)


def _time_scale(trace: pd.DataFrame, window_s: tuple[float, float] | None) -> alt.Scale:
    if window_s is None:
        window_s = (float(trace["t_s"].min()), float(trace["t_s"].max())) if len(trace) else (0, 1)
    return alt.Scale(domain=list(window_s), nice=False)


def _lines(trace: pd.DataFrame, time: alt.X, unit: str) -> alt.Chart:
    present = [name for name in _TRACKS if trace[name].notna().any()] or ["signal"]
    long = plain_frame(trace).melt(
        id_vars=["t_s", "sample_no"], value_vars=present, var_name="track", value_name="reading"
    )
    long = long.drop(columns="track") if len(present) == 1 else long.replace({"track": _TRACKS})
    # Single precision is finer than any screen, and half as much to send.
    long = long.astype({"t_s": "float32", "reading": "float32", "sample_no": "int32"})
    # A blank reading breaks the line: what was not read is not drawn.
    line = (
        alt.Chart(long)
        .mark_line(strokeWidth=1.4, clip=True)
        .encode(
            x=time,
            y=alt.Y("reading:Q", title=unit, scale=alt.Scale(zero=False, padding=14)),
            order="sample_no:Q",
        )
    )
    return _told_apart(line) if len(present) > 1 else line.encode(color=alt.value(SIGNAL))


def _told_apart(line: alt.Chart) -> alt.Chart:
    both = list(_TRACKS.values())
    return line.encode(
        color=alt.Color(
            "track:N",
            scale=alt.Scale(domain=both, range=[SIGNAL, SECOND_TRACK]),
            legend=alt.Legend(title=None),
        ),
        strokeDash=alt.StrokeDash(
            "track:N", scale=alt.Scale(domain=both, range=[[1, 0], [5, 3]]), legend=None
        ),
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


def in_window(dropouts: pd.DataFrame, window_s: tuple[float, float] | None) -> pd.DataFrame:
    """The drop-outs that lie within the window, wholly or in part."""
    if window_s is None:
        return dropouts
    ends = dropouts["start_s"] + dropouts["length_s"]
    return dropouts[(ends >= window_s[0]) & (dropouts["start_s"] <= window_s[1])]


def trace_reading(
    trace: pd.DataFrame,
    dropouts: pd.DataFrame,
    window_s: tuple[float, float] | None = None,
) -> str:
    """What the chart shows, in a sentence."""
    if window_s is not None:
        return _window_reading(in_window(dropouts, window_s), window_s)
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


def _window_reading(dropouts: pd.DataFrame, window_s: tuple[float, float]) -> str:
    span = f"From {number(window_s[0], 's', 3)} to {number(window_s[1], 's', 3)}"
    if dropouts.empty:
        return f"{span}: no drop-out was seen in this part of the sweep."
    numbers = ", ".join(str(n) for n in dropouts["dropout_no"].head(8))
    more = f" and {len(dropouts) - 8:,} more" if len(dropouts) > 8 else ""
    return f"{span}: {counted(len(dropouts), 'drop-out')} (number {numbers}{more})."
