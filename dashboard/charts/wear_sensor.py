"""One sensor's track, test by test, on what sensors of its part show that passed."""

from __future__ import annotations

import json

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.look import BAND, DROPOUT, NO_EVIDENCE, ROUGHNESS
from dashboard.words import counted, day, distance_unit, km, number

TESTS_SHOWN = 6
BIN_PCT = 2.0
MOST = 3.0  # roughness above this is drawn as this: a lift-off, not grain
_ROW_PX, _AROUND_PX = 96, 200
_HEIGHT = 0.78  # of a row; the rest holds the drop-outs above it


def sensor_chart(profiles: pd.DataFrame, bands: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """A row a test, the latest at the top: roughness as a line, filled where above the fleet's.

    Parameters
    ----------
    profiles : DataFrame
        WEAR_PROFILE_ROWS of one life; the latest tests are drawn.
    bands : DataFrame
        BANDS of the same life; those as likely as not are underlined.
    ink : str
        Colour of letters and axes.
    """
    frame = placed(profiles)
    names = [[day(d), km(a)] for d, a in _tests(frame)]
    y = alt.Y(
        "low_at:Q",
        title=f"Day tested, {distance_unit()} run",
        scale=alt.Scale(domain=[0, max(len(names), 1)], nice=False),
        axis=row_axis(names, 0.4),
    )
    across = {"x": short_travel_axis(), "x2": "bin_to_pct:Q", "tooltip": _tooltip()}
    compared = alt.Chart(frame[frame["fleet_high"].notna()])
    known = alt.Chart(frame[frame["roughness"].notna()])
    chart = alt.layer(
        compared.mark_rect(color=BAND, opacity=0.45).encode(y=y, y2="high_at:Q", **across),
        alt.Chart(frame[frame["above"]])
        .mark_rect(color=ROUGHNESS)
        .encode(y="high_at:Q", y2="height:Q", **across),
        known.mark_rule(color=ROUGHNESS, strokeWidth=3).encode(y="height:Q", **across),
        *_unseen(frame, across),
        *_dropouts(frame),
        *_bands(bands, frame, ink),
    ).properties(
        title=titled("Roughness, test by test", _count(frame, profiles["session_id"].nunique()))
    )
    return readable(chart, _ROW_PX * max(len(names), 1) + _AROUND_PX, ink)


def placed(profiles: pd.DataFrame) -> pd.DataFrame:
    """The latest tests' bins with their place in the chart and whether they stand out."""
    frame = plain_frame(profiles)
    order = frame["session_id"].drop_duplicates()
    kept = order.tail(TESTS_SHOWN).tolist()
    frame = frame[frame["session_id"].isin(kept)].reset_index(drop=True)
    row = frame["session_id"].map({name: n for n, name in enumerate(kept)}).astype(float)
    frame["row"], frame["base"], frame["top"] = row, row, row + _HEIGHT
    for name, column in (
        ("height", "roughness"),
        ("low_at", "fleet_low"),
        ("high_at", "fleet_high"),
    ):
        frame[name] = row + _HEIGHT * np.minimum(frame[column], MOST) / MOST
    frame["bin_to_pct"] = frame["bin_from_pct"] + BIN_PCT
    frame["middle_pct"] = frame["bin_from_pct"] + BIN_PCT / 2
    frame["mark_at"] = row + _HEIGHT + 0.1
    frame["above"] = frame["roughness"] > frame["fleet_high"]
    return frame


def sensor_reading(profiles: pd.DataFrame) -> str:
    """What the chart shows of the last test, in a sentence."""
    frame = placed(profiles)
    if frame.empty:
        return "No test of this sensor could be laid over the travel."
    last = frame[frame["row"].eq(frame["row"].max())]
    known = last[last["roughness"].notna()]
    tests = counted(frame["session_id"].nunique(), "test")
    if known.empty:
        rough = "no cell of the last sweep holds enough samples to judge its roughness"
    else:
        worst = known.loc[known["roughness"].idxmax()]
        rough = (
            f"roughest between {number(worst['bin_from_pct'], digits=0)} and "
            f"{number(worst['bin_to_pct'], '% of travel', 0)}, at "
            f"{number(worst['roughness'], 'times its middle cell', 1)}{_against(worst)}"
        )
    seen = counted(int(last["dropout_count"].sum()), "drop-out")
    unseen = int((last["exposure"] <= 0).sum())
    bare = f" {counted(unseen, 'cell')} could not have shown any." if unseen else ""
    return (
        f"{tests} shown, the latest at the top. In the last one {rough}; {seen} seen.{bare}"
        f"{_by_chance(known)}"
    )


def _by_chance(known: pd.DataFrame) -> str:
    """How many cells stand out, and how many of a sound sensor would."""
    compared = int(known["fleet_high"].notna().sum())
    if not compared:
        return ""
    above = counted(int(known["above"].sum()), "cell")
    return (
        f" {above} of {compared} above the range of sensors that passed; chance alone puts about "
        f"{0.05 * compared:.0f} there."
    )


def _against(row: pd.Series) -> str:
    if pd.isna(row["fleet_high"]):
        return "; too few sensors of its part passed to compare with"
    return f" (sensors that passed: up to {number(row['fleet_high'], digits=1)} there)"


def _tests(frame: pd.DataFrame) -> list[tuple[object, float]]:
    first = frame.drop_duplicates("row").sort_values("row")
    return list(zip(first["tested_on"], first["sensor_age_km"], strict=True))


def _unseen(frame: pd.DataFrame, across: dict) -> list[alt.Chart]:
    """Dashed frames where roughness is not known: not nought."""
    missing = frame[frame["roughness"].isna()]
    if missing.empty:
        return []
    cells = alt.Chart(missing).mark_rect(
        fill=NO_EVIDENCE, fillOpacity=0.12, stroke=NO_EVIDENCE, strokeDash=[3, 3]
    )
    return [cells.encode(y="base:Q", y2="top:Q", **across)]


def _dropouts(frame: pd.DataFrame) -> list[alt.Chart]:
    seen = frame[frame["dropout_count"] > 0]
    if seen.empty:
        return []
    marks = alt.Chart(seen).mark_point(
        shape="diamond", filled=True, opacity=1, color=DROPOUT, size=110
    )
    return [marks.encode(x="middle_pct:Q", y="mark_at:Q", tooltip=_tooltip())]


def _bands(bands: pd.DataFrame, frame: pd.DataFrame, ink: str) -> list[alt.Chart]:
    """A heavy line under each worn band that is as likely as not."""
    rows = frame.drop_duplicates("session_id").set_index("session_id")["row"]
    likely = plain_frame(bands[bands["confidence"] >= 0.5])
    likely = likely[likely["session_id"].isin(rows.index)]
    if likely.empty:
        return []
    likely = likely.assign(line_at=likely["session_id"].map(rows) + 0.02)
    line = alt.Chart(likely).mark_rule(color=ink, strokeWidth=6)
    tips = [
        alt.Tooltip("from_pct:Q", title="Worn from, % of travel", format=".1f"),
        alt.Tooltip("to_pct:Q", title="to, % of travel", format=".1f"),
        alt.Tooltip("confidence:Q", title="How sure, 0 to 1", format=".2f"),
    ]
    return [
        line.encode(
            x=alt.X("from_pct:Q", scale=alt.Scale(domain=[0, 100])),
            x2="to_pct:Q",
            y="line_at:Q",
            tooltip=tips,
        )
    ]


def _count(frame: pd.DataFrame, of: int) -> list[str]:
    tests = counted(frame["session_id"].nunique(), "test")
    fleet = int(frame["fleet_sensors"].max()) if len(frame) else 0
    behind = [f"Pale: 90 in 100 of {fleet} that passed."] if fleet else []
    whole = f"the latest {len(_tests(frame))} of {counted(of, 'test')}"
    return [
        f"n = {tests if of == len(_tests(frame)) else whole}.",
        *behind,
        "Diamond: drop-outs.",
        "Heavy line: worn band.",
    ]


def row_axis(names: list[list[str]], middle: float) -> alt.Axis:
    """The name of each row (a list of lines) at its middle: ticks put there, told by number."""
    return alt.Axis(
        values=[n + middle for n in range(len(names))],
        labelExpr=f"{json.dumps(names)}[floor(datum.value)]",
        labelLimit=140,
        ticks=False,
        titleAnchor="start",
        titleAngle=0,
        titleAlign="left",
        titleX=0,
        titleY=-8,
    )


def short_travel_axis(column: str = "bin_from_pct") -> alt.X:
    """The whole travel, named so that a phone shows it."""
    axis = alt.Axis(values=list(range(0, 101, 20)))
    scale = alt.Scale(domain=[0, 100], nice=False)
    return alt.X(f"{column}:Q", title="% of travel, 0 closed, 100 open", scale=scale, axis=axis)


def _tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("tested_on:T", title="Day tested", format="%Y-%m-%d"),
        alt.Tooltip("bin_from_pct:Q", title="From, % of travel", format=".0f"),
        alt.Tooltip("bin_to_pct:Q", title="To, % of travel", format=".0f"),
        alt.Tooltip("roughness:Q", title="Roughness, times its middle cell", format=".2f"),
        alt.Tooltip("fleet_low:Q", title="Sensors that passed, from", format=".2f"),
        alt.Tooltip("fleet_high:Q", title="to", format=".2f"),
        alt.Tooltip("dropout_count:Q", title="Drop-outs"),
        alt.Tooltip("exposure:Q", title="Passes that would have shown one", format=".1f"),
    ]
