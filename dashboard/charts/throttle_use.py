"""How the throttle is used over the travel, and where its sensor wears."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.charts.wear_sensor import short_travel_axis
from dashboard.look import BAND, DROPOUT, SECOND_TRACK, SIGNAL
from dashboard.words import counted, number

WEAR, DWELL, SLIDING = "this sensor's wear", "time held (log)", "travel moved (log)"
# Each line has its own dash and colour.
_LINES = {
    WEAR: ("sensor_share", DROPOUT, [1, 0]),
    DWELL: ("dwell", SIGNAL, [8, 4]),
    SLIDING: ("sliding", SECOND_TRACK, [2, 3]),
}
BIN_PCT = 2.0


def use_chart(use: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """Shares in each 2 % of travel: wear as a line on its duty's range, dwell and sliding dashed.

    Parameters
    ----------
    use : DataFrame
        WEAR_USE of one sensor; without a log, dwell and sliding are left out.
    ink : str
        Colour of letters and axes.
    """
    frame = _per_cent(use)
    lines = frame.melt(
        ["middle_pct", "bin_from_pct", "bin_to_pct"],
        [column for column, _, _ in _LINES.values()],
        "column",
        "share",
    ).dropna(subset=["share"])
    lines["what"] = lines["column"].map({c: what for what, (c, _, _) in _LINES.items()})
    shown = [what for what in _LINES if lines["what"].eq(what).any()]
    y = alt.Y("share:Q", title="Share, %")
    x = short_travel_axis("middle_pct")
    behind = (
        alt.Chart(frame)
        .mark_area(color=BAND, opacity=0.32, interpolate="monotone")
        .encode(x=x, y=alt.Y("like_low:Q", title="Share, %"),
                y2="like_high:Q")
    )  # fmt: skip
    line = (
        alt.Chart(lines)
        .mark_line(strokeWidth=3, interpolate="monotone", clip=True)
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "what:N",
                title=None,
                scale=alt.Scale(domain=shown, range=[_LINES[w][1] for w in shown]),
            ),
            strokeDash=alt.StrokeDash(
                "what:N",
                title=None,
                scale=alt.Scale(domain=shown, range=[_LINES[w][2] for w in shown]),
            ),
            tooltip=[
                alt.Tooltip("what:N", title="What"),
                alt.Tooltip("bin_from_pct:Q", title="From, % of travel", format=".0f"),
                alt.Tooltip("bin_to_pct:Q", title="To, % of travel", format=".0f"),
                alt.Tooltip("share:Q", title="Share, %", format=".1f"),
            ],
        )
    )
    chart = alt.layer(behind, line).properties(
        title=titled("Throttle use and wear, % in each 2 %", _count(use))
    )
    return readable(chart, 480, ink).configure_legend(
        orient="bottom", direction="vertical", columns=1, labelLimit=320, labelColor=ink,
        labelFontSize=16, symbolSize=400, symbolStrokeWidth=3,
    )  # fmt: skip


def use_reading(use: pd.DataFrame) -> str:
    """Where most wear, time and movement are, in a sentence."""
    frame = _per_cent(use)
    said = [f"Most of this sensor's wear is expected between {_top(frame, 'sensor_share')}"]
    if not has_log(use):
        return (
            f"{said[0]}; among bikes of its kind ({_like(use)}) between "
            f"{_top(frame, 'like_share')}. No ride of this bike was logged."
        )
    said.append(f"the throttle is held longest between {_top(frame, 'dwell')}")
    said.append(f"and moved most between {_top(frame, 'sliding')}")
    return "; ".join(said) + f" ({number(frame['logged_s'].iloc[0] / 60, 'minutes', 0)} logged)."


def has_log(use: pd.DataFrame) -> bool:
    """Whether a ride of the bike was logged."""
    return bool(use["dwell"].notna().any())


def _per_cent(use: pd.DataFrame) -> pd.DataFrame:
    frame = plain_frame(use)
    shares = ["sensor_share", "like_share", "like_low", "like_high", "dwell", "sliding"]
    frame[shares] = 100.0 * frame[shares]
    return frame.assign(
        middle_pct=frame["bin_from_pct"] + BIN_PCT / 2, bin_to_pct=frame["bin_from_pct"] + BIN_PCT
    )


def _top(frame: pd.DataFrame, column: str) -> str:
    most = frame.loc[frame[column].idxmax()]
    return (
        f"{number(most['bin_from_pct'], digits=0)} and "
        f"{number(most['bin_to_pct'], '%', 0)} ({number(most[column], '%', 0)})"
    )


def _like(use: pd.DataFrame) -> str:
    duty, n = use["like_duty"].iloc[0], counted(int(use["like_sensors"].iloc[0]), "sensor")
    return f"all duties, {n}" if duty == "all" else f"duty {duty}, {n}"


def _count(use: pd.DataFrame) -> list[str]:
    logged = []
    if has_log(use):
        minutes = number(use["logged_s"].iloc[0] / 60, "minutes", 0)
        logged = [f"{minutes} logged at {number(use['rate_hz'].iloc[0], 'Hz', 0)}."]
    return [f"Pale: {_like(use)}, 90 % range.", *logged]
