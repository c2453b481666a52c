"""Where wear gathers: travel by distance run, each cell filled as far as it is worn.

A cell is told by how far it is filled as well as by its colour, so that it can be read in sun and
without colours. A cell without evidence has no ground at all: not seen is not clean.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts.parts import INK, LABEL_PX, plain_frame, readable, titled
from dashboard.charts.wear_sensor import row_axis, short_travel_axis
from dashboard.look import NO_EVIDENCE, WEAR_STEPS
from dashboard.words import counted, distance_unit, in_shown_unit, km_span, number

BIN_PCT = 2.0
_ROW_PX, _AROUND_PX = 44, 200
_GAP = 0.08  # of a row, between two


@dataclass(frozen=True)
class Quantity:
    """What a cell shows: its column, its name, and where one step of filling ends."""

    column: str
    name: str
    scale: float
    ends: tuple[float, ...]
    unit: str

    def words(self) -> list[str]:
        """The steps in words, the least first."""
        ends = [number(end) for end in self.ends]
        between = [f"{a} to {b}" for a, b in pairwise(ends)]
        return [f"under {ends[0]}", *between, f"{ends[-1]} or more"]


DROPOUTS = Quantity(
    "intensity",
    "Drop-outs in 100 passes, each 2 %",
    100.0,
    (0.1, 0.3, 1.0, 3.0, 10.0),
    "in 100 passes",
)
ROUGHNESS = Quantity(
    "roughness",
    "Roughness, middle cell = 1",
    1.0,
    (0.95, 1.0, 1.05, 1.1, 1.2),
    "times the sweep's middle cell",
)
QUANTITIES = {"Drop-outs": DROPOUTS, "Roughness": ROUGHNESS}


def wear_map_chart(cells: pd.DataFrame, shown: Quantity, *, ink: str = INK) -> alt.LayerChart:
    """Travel across, distance run upwards; the fuller and darker a cell, the more.

    Parameters
    ----------
    cells : DataFrame
        WEAR_MAP of one part and duty.
    shown : Quantity
        Drop-outs or roughness.
    ink : str
        Colour of letters and axes.
    """
    frame = placed(cells, shown)
    names = _row_names(frame)
    known = frame[frame["value"].notna()]
    y = alt.Y(
        "base:Q",
        title=f"Thousand {distance_unit()} run (sensors)",
        scale=alt.Scale(domain=[0, len(names)], nice=False),
        axis=row_axis(names, 0.5),
    )
    ground = (
        alt.Chart(known)
        .mark_rect(color=NO_EVIDENCE, opacity=0.22)
        .encode(x=short_travel_axis(), x2="bin_to_pct:Q", y=y, y2="top:Q", tooltip=_tooltip(shown))
    )
    words = shown.words()
    fill = ground.mark_rect(opacity=1).encode(
        y2="filled:Q",
        color=alt.Color(
            "step:N",
            title=None,
            scale=alt.Scale(domain=words, range=list(WEAR_STEPS)),
            sort=words,
            legend=alt.Legend(symbolType="square", symbolOpacity=1, symbolSize=220),
        ),
    )
    sensors = counted(int(frame["n_sensors"].max()) if len(frame) else 0, "sensor")
    count = [f"n = {sensors} at most, {_dropouts(frame)}", "Fuller: more. Bare: not seen."]
    chart = alt.layer(ground, fill).properties(title=titled(shown.name, count))
    drawn = readable(chart, _ROW_PX * max(len(names), 2) + _AROUND_PX, ink)
    return drawn.configure_legend(
        orient="bottom", direction="horizontal", columns=2, labelColor=ink, labelFontSize=LABEL_PX
    )


def placed(cells: pd.DataFrame, shown: Quantity) -> pd.DataFrame:
    """Each cell with its value, its step in words and where it is drawn."""
    frame = plain_frame(cells)
    frame["value"] = frame[shown.column] * shown.scale
    ages = np.sort(frame["age_from_km"].unique())
    frame["row"] = np.searchsorted(ages, frame["age_from_km"])
    step = np.searchsorted(shown.ends, frame["value"], side="right")
    words = np.array(shown.words(), dtype=object)
    frame["step"] = np.where(frame["value"].notna(), words[step], "not seen")
    frame["bin_to_pct"] = frame["bin_from_pct"] + BIN_PCT
    frame["from_shown"] = in_shown_unit(frame["age_from_km"])
    frame["to_shown"] = in_shown_unit(frame["age_to_km"])
    frame["base"] = frame["row"] + _GAP
    frame["top"] = frame["row"] + 1.0
    height = (step + 1) / len(words) * (1.0 - _GAP)
    frame["filled"] = frame["base"] + height
    return frame


def map_reading(cells: pd.DataFrame, shown: Quantity) -> str:
    """What the chart shows, in a sentence."""
    frame = placed(cells, shown)
    known = frame[frame["value"].notna()]
    digits = 1 if shown is DROPOUTS else 2
    if known.empty:
        return (
            "No cell of this map holds enough evidence: at least three sensors and three passes "
            "are needed. Not seen is not clean."
        )
    most = known.loc[known["value"].idxmax()]
    blank = len(frame) - len(known)
    bare = f" {blank:,} of {counted(len(frame), 'cell')} are bare: too little was seen there."
    return (
        f"{_name(shown)} between {number(most['bin_from_pct'], digits=0)} and "
        f"{number(most['bin_to_pct'], '% of travel', 0)} after {_span(most)}: "
        f"{number(most['value'], shown.unit, digits)}, likely "
        f"{number(most[f'{shown.column}_low'] * shown.scale, digits=digits)} to "
        f"{number(most[f'{shown.column}_high'] * shown.scale, digits=digits)} "
        f"({counted(int(most['n_sensors']), 'sensor')}); over the whole map typically "
        f"{number(known['value'].median(), digits=digits)}.{bare if blank else ''}"
    )


def _name(shown: Quantity) -> str:
    return (
        "Drop-outs are expected most"
        if shown is DROPOUTS
        else "The track is expected to be roughest"
    )


def _span(row: pd.Series) -> str:
    return km_span(row["age_from_km"], row["age_to_km"])


def _dropouts(frame: pd.DataFrame) -> str:
    return counted(int(frame["dropout_count"].sum()), "drop-out")


def _row_names(frame: pd.DataFrame) -> list[list[str]]:
    rows = frame.groupby("row").agg(
        low=("age_from_km", "first"), high=("age_to_km", "first"), n=("n_sensors", "max")
    )
    rows[["low", "high"]] = in_shown_unit(rows[["low", "high"]] / 1000)
    digits = 0 if distance_unit() == "km" else 1  # rows end at whole thousands of km
    return [
        [f"{row['low']:.{digits}f} to {row['high']:.{digits}f} ({row['n']:.0f})"]
        for row in rows.to_dict("records")
    ]


def _tooltip(shown: Quantity) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("bin_from_pct:Q", title="From, % of travel", format=".0f"),
        alt.Tooltip("bin_to_pct:Q", title="To, % of travel", format=".0f"),
        alt.Tooltip("from_shown:Q", title=f"Run, from, {distance_unit()}", format=",.0f"),
        alt.Tooltip("to_shown:Q", title=f"Run, to, {distance_unit()}", format=",.0f"),
        alt.Tooltip("value:Q", title=f"{shown.name}", format=".2~f"),
        alt.Tooltip("n_sensors:Q", title="Sensors seen"),
        alt.Tooltip("exposure:Q", title="Passes that would have shown one", format=",.0f"),
        alt.Tooltip("dropout_count:Q", title="Drop-outs seen"),
    ]
