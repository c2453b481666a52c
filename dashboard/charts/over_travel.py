"""The passes of a sweep laid over the travel, and those of an earlier test behind them."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, TRAVEL, plain_frame, readable, titled
from dashboard.look import BAND, SIGNAL
from dashboard.look import SECOND_TRACK as EARLIER
from dashboard.words import counted, known, number

_DASHES = [[1, 0], [7, 4]]  # opening, closing
ENLARGED_PCT = 2.0  # as many limits of good sensors, or % of applied, to each side


def passes_chart(
    passes: pd.DataFrame,
    *,
    ends_pct: tuple[float, float],
    limit_pct: float | None = None,
    earlier: pd.DataFrame | None = None,
    earlier_ends_pct: tuple[float, float] | None = None,
    enlarged: bool = False,
    ink: str = INK,
) -> alt.LayerChart:
    """Output over the travel, a line a pass: opening unbroken, closing broken.

    Parameters
    ----------
    passes : DataFrame
        OVER_TRAVEL of the test.
    ends_pct : tuple of float
        Output at the closed and at the open stop, % of applied.
    limit_pct : float, optional
        Upper limit of good sensors' terminal-based linearity, ±, % of applied: drawn as a band
        along the straight line from stop to stop.
    earlier : DataFrame, optional
        OVER_TRAVEL of an earlier test: broad and pale, behind.
    earlier_ends_pct : tuple of float, optional
        The same of the earlier test; its departure is from the line between its own stops.
    enlarged : bool
        Draw the departure from the straight line between the stops, near that line; what lies
        farther off runs out of the picture.
    ink : str
        Colour of letters and axes.
    """
    band = _band((0.0, 0.0) if enlarged else ends_pct, limit_pct)
    before = passes.iloc[:0] if earlier is None else earlier
    if enlarged:
        before = departure(before, earlier_ends_pct or ends_pct)
        passes = departure(passes, ends_pct)
    drawn = [(before, EARLIER, 5, 0.45), (passes, SIGNAL, 1.3, 1)]
    reach = ENLARGED_PCT * max(1.0, limit_pct if known(limit_pct) else 1.0)
    scale = {"domain": [-reach, reach]} if enlarged else {"zero": False, "padding": 8}
    lines = [_lines(*look, alt.Scale(**scale)) for look in drawn if len(look[0])]
    what = "departure from the straight line" if enlarged else "output"
    said = [
        f"n = {counted(passes['pass_no'].nunique(), 'pass', 'passes')}; "
        "unbroken: opening; broken: closing",
        *(["broad and pale: the earlier test"] if len(before) else []),
        *(["band: good sensors' departure from the straight line"] if band else []),
    ]
    chart = alt.layer(*band, *lines).properties(
        title=titled(f"Passes over the travel: {what}, % of applied", said)
    )
    return readable(chart, 440, ink)


def departure(passes: pd.DataFrame, ends_pct: tuple[float, float]) -> pd.DataFrame:
    """The same with the output less the straight line between the stops."""
    closed, opened = ends_pct
    line = closed + (opened - closed) * passes["travel_pct"] / 100.0
    return passes.assign(output_pct=passes["output_pct"] - line)


def _axis() -> alt.X:
    return alt.X(
        "travel_pct:Q",
        title=TRAVEL,
        scale=alt.Scale(domain=[0, 100], nice=False),
        axis=alt.Axis(values=list(range(0, 101, 10))),
    )


def _lines(
    passes: pd.DataFrame, color: str, width: float, opacity: float, scale: alt.Scale
) -> alt.Chart:
    drawn = plain_frame(passes)
    drawn["place"] = range(len(drawn))
    # finer than any screen, and a third as much to send
    drawn["closing"] = drawn.pop("direction").eq("closing").astype("int8")
    drawn = drawn.astype(
        {"travel_pct": "float32", "output_pct": "float32", "pass_no": "int16", "place": "int32"}
    )
    return (
        alt.Chart(drawn)
        .mark_line(color=color, strokeWidth=width, opacity=opacity, clip=True)
        .encode(
            x=_axis(),
            y=alt.Y("output_pct:Q", title="% of applied", scale=scale),
            strokeDash=alt.StrokeDash(
                "closing:N", scale=alt.Scale(domain=[0, 1], range=_DASHES), legend=None
            ),
            detail="pass_no:N",
            order="place:Q",
        )
    )


def _band(ends_pct: tuple[float, float], limit_pct: float | None) -> list[alt.Chart]:
    """Where good sensors lie about the straight line between the stops."""
    if not all(known(value) for value in (*ends_pct, limit_pct)):
        return []
    corners = pd.DataFrame(
        {
            "travel_pct": [0.0, 100.0],
            "low_pct": [end - limit_pct for end in ends_pct],
            "high_pct": [end + limit_pct for end in ends_pct],
        }
    )
    area = alt.Chart(corners).mark_area(color=BAND, opacity=0.35)
    return [area.encode(x=_axis(), y="low_pct:Q", y2="high_pct:Q")]


def passes_reading(
    passes: pd.DataFrame, *, travel_source: str, ends_pct: tuple[float, float]
) -> str:
    """What the chart shows, in a sentence or two."""
    if passes.empty:
        return "No pass of this sweep could be laid over the travel."
    hands = passes.drop_duplicates("pass_no")["direction"]
    opening = int(hands.eq("opening").sum())
    count = (
        f"{opening} opening and {counted(len(hands) - opening, 'closing pass', 'closing passes')}"
    )
    where = _farthest(passes, ends_pct)
    if travel_source == "channel":
        return f"{count}; the position was recorded by another channel. {where}"
    return (
        f"{count}; the position is read back from the output itself, so that only short "
        f"departures show, not a bow of the whole track. {where}"
    )


def _farthest(passes: pd.DataFrame, ends_pct: tuple[float, float]) -> str:
    """The point that lies farthest from the straight line between the stops."""
    if not all(known(end) for end in ends_pct):
        return ""
    frame = plain_frame(passes)
    off = departure(frame, ends_pct)["output_pct"]
    at = off.abs().idxmax()
    way = "below" if off[at] < 0 else "above"
    return (
        f"Farthest from the straight line between the stops: "
        f"{number(abs(off[at]), '% of the applied', 1)} {way} it, at "
        f"{number(frame.loc[at, 'travel_pct'], '% of travel', 1)}, "
        f"{frame.loc[at, 'direction']}, pass {int(frame.loc[at, 'pass_no'])}."
    )
