"""Roughness and drop-outs over the travel; where nothing was seen to judge stays blank."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled, travel_axis
from dashboard.look import DROPOUT, NO_EVIDENCE, ROUGHNESS
from dashboard.look import SECOND_TRACK as EARLIER
from dashboard.words import counted, number

CELLS_NAMED = 3  # of several equally full cells so many are named


def roughness_chart(
    profile: pd.DataFrame,
    band: pd.DataFrame | None = None,
    earlier: pd.DataFrame | None = None,
    *,
    ink: str = INK,
) -> alt.LayerChart:
    """Output smoothness in each cell of the travel; a cell without evidence is an empty frame.

    ``band`` (TRAVEL_BANDS) draws the upper limit of good sensors as a line over the cells,
    ``earlier`` (PROFILE of another test) that test's smoothness as a dashed one.
    """
    shown, missing = _with_and_without(profile)
    limit = _limit(band)
    before = plain_frame(profile.iloc[:0] if earlier is None else earlier)
    before = before.dropna(subset="smoothness_pct")
    heights = [shown["smoothness_pct"], limit["high_pct"], before["smoothness_pct"]]
    top = float(pd.concat(heights).max())
    top = 1.0 if pd.isna(top) else top
    bars = (
        alt.Chart(shown)
        .mark_rect(color=ROUGHNESS)
        .encode(
            x=travel_axis(),
            x2="bin_to_pct:Q",
            y=alt.Y(
                "smoothness_pct:Q",
                title="% of applied",
                scale=alt.Scale(domain=[0, max(top * 1.1, 0.1)], nice=False),
            ),
            y2=alt.datum(0),
            tooltip=_tooltip("smoothness_pct", "Output smoothness, % of applied"),
        )
    )
    line, dashes = _limit_line(limit, ink), _earlier_line(before)
    said = [
        _evidence(profile, missing) + ("; line: upper limit of good sensors" if line else ""),
        *(["broken line: the earlier test"] if dashes else []),
    ]
    chart = alt.layer(bars, *_blank_cells(missing), *dashes, *line).properties(
        title=titled(
            "Roughness over the travel: output smoothness, % of applied",
            said if len(said) > 1 else said[0],
        )
    )
    return readable(chart, 340, ink)


def _earlier_line(before: pd.DataFrame) -> list[alt.Chart]:
    """The earlier test's smoothness: broken, so that it is told from the limit without colour."""
    if before.empty:
        return []
    line = alt.Chart(before).mark_rule(color=EARLIER, strokeWidth=3, strokeDash=[5, 3])
    return [line.encode(x=travel_axis(), x2="bin_to_pct:Q", y="smoothness_pct:Q")]


def _limit(band: pd.DataFrame | None) -> pd.DataFrame:
    """The cells of the travel for which an upper limit of good sensors is known."""
    if band is None or band.empty:
        return pd.DataFrame({"bin_from_pct": [], "bin_to_pct": [], "high_pct": []}, dtype=float)
    return plain_frame(band)[["bin_from_pct", "bin_to_pct", "high_pct"]].dropna()


def _limit_line(limit: pd.DataFrame, ink: str) -> list[alt.Chart]:
    if limit.empty:
        return []
    line = alt.Chart(limit).mark_rule(color=ink, strokeWidth=2.5)
    return [line.encode(x=travel_axis(), x2="bin_to_pct:Q", y="high_pct:Q")]


def dropouts_chart(profile: pd.DataFrame, *, ink: str = INK) -> alt.LayerChart:
    """Drop-outs counted in each cell of the travel; a cell no pass crossed is an empty frame."""
    frame = plain_frame(profile)
    crossed = frame["pass_count"] > 0
    bars = (
        alt.Chart(frame[crossed])
        .mark_rect(color=DROPOUT)
        .encode(
            x=travel_axis(),
            x2="bin_to_pct:Q",
            y=alt.Y(
                "dropout_count:Q",
                title="Count",
                axis=alt.Axis(tickMinStep=1, format="d"),
                scale=alt.Scale(domain=[0, max(1, int(frame["dropout_count"].max()))], nice=False),
            ),
            y2=alt.datum(0),
            tooltip=_tooltip("dropout_count", "Drop-outs, count"),
        )
    )
    total = int(frame["dropout_count"].sum())
    chart = alt.layer(bars, *_blank_cells(frame[~crossed])).properties(
        title=titled("Drop-outs over the travel, count", f"n = {counted(total, 'drop-out')}")
    )
    return readable(chart, 300, ink)


def _with_and_without(profile: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    frame = plain_frame(profile)
    known = frame["smoothness_pct"].notna()
    return frame[known], frame[~known]


def _blank_cells(missing: pd.DataFrame) -> list[alt.Chart]:
    """Dashed frames over the whole height: not nought, not known."""
    if missing.empty:
        return []
    cells = alt.Chart(missing).mark_rect(
        fill=NO_EVIDENCE, fillOpacity=0.12, stroke=NO_EVIDENCE, strokeDash=[3, 3]
    )
    return [cells.encode(x=travel_axis(), x2="bin_to_pct:Q", tooltip=_tooltip(None, ""))]


def _tooltip(name: str | None, title: str) -> list[alt.Tooltip]:
    own = [alt.Tooltip(f"{name}:Q", title=title, format=".3~f")] if name else []
    return [
        alt.Tooltip("bin_from_pct:Q", title="From, % of travel", format=".1~f"),
        alt.Tooltip("bin_to_pct:Q", title="To, % of travel", format=".1~f"),
        *own,
        alt.Tooltip("pass_count:Q", title="Passes across"),
        alt.Tooltip("sample_count:Q", title="Samples"),
    ]


def _evidence(profile: pd.DataFrame, missing: pd.DataFrame) -> str:
    known = len(profile) - len(missing)
    return f"n = {known} of {counted(len(profile), 'cell')} of travel; dashed: no evidence"


def band_reading(profile: pd.DataFrame, band: pd.DataFrame) -> str:
    """How the profile lies to the limit of good sensors, in a sentence."""
    limit = _limit(band)
    if limit.empty:
        known = f": {band['method'].iloc[0]}" if len(band) else ""
        return f"What good sensors of this part show over the travel is not known yet{known}."
    both = plain_frame(profile).merge(limit, on=["bin_from_pct", "bin_to_pct"])
    above = both[both["smoothness_pct"] > both["high_pct"]]
    sensors = f"the upper limit of good sensors of this part ({band['method'].iloc[0]})"
    if above.empty:
        return f"No judged cell lies above {sensors}; that does not show that the sensor is sound."
    worst = above.loc[(above["smoothness_pct"] / above["high_pct"]).idxmax()]
    return (
        f"{counted(len(above), 'cell')} above {sensors}, most between "
        f"{number(worst['bin_from_pct'], digits=0)} and "
        f"{number(worst['bin_to_pct'], '% of travel', 0)}: "
        f"{number(worst['smoothness_pct'], '%')} where the limit is "
        f"{number(worst['high_pct'], '%')}."
    )


def roughness_reading(profile: pd.DataFrame) -> str:
    """What the chart shows, in a sentence."""
    shown, missing = _with_and_without(profile)
    if shown.empty:
        return "No cell of the travel holds enough samples to judge its roughness."
    worst = shown.loc[shown["smoothness_pct"].idxmax()]
    blank = (
        f"; {counted(len(missing), 'cell')} hold too few samples to judge" if len(missing) else ""
    )
    return (
        f"Roughest between {number(worst['bin_from_pct'], digits=0)} and "
        f"{number(worst['bin_to_pct'], '% of travel', 0)}, at "
        f"{number(worst['smoothness_pct'], '% of the applied')}; elsewhere typically "
        f"{number(shown['smoothness_pct'].median(), '%')}{blank}."
    )


def dropouts_reading(profile: pd.DataFrame) -> str:
    """What the chart shows, in a sentence."""
    frame = plain_frame(profile)
    uncrossed = int((frame["pass_count"] == 0).sum())
    rest = f" No pass crossed {counted(uncrossed, 'cell')} of the travel." if uncrossed else ""
    total = int(frame["dropout_count"].sum())
    if total == 0:
        return f"No drop-out could be placed on the travel.{rest}"
    return f"{_fullest_cells(frame, counted(total, 'drop-out'))}{rest}"


def _fullest_cells(frame: pd.DataFrame, seen: str) -> str:
    """Which cells hold most of the drop-outs, all that are equally full told together."""
    most = int(frame["dropout_count"].max())
    fullest = frame[frame["dropout_count"] == most]
    places = [
        f"between {number(cell['bin_from_pct'], digits=0)} and {number(cell['bin_to_pct'], '%', 0)}"
        for cell in fullest.to_dict("records")
    ]
    if most == 1 < len(places):
        return f"No cell holds more than one of the {seen} placed on the travel."
    if len(places) > CELLS_NAMED:
        return f"{len(places)} cells hold {most} each of the {seen} placed on the travel."
    each = " each" if len(places) > 1 else ""
    return f"Counted by cell, {most} of {seen}{each} lie {' and '.join(places)} of travel."


def earlier_reading(profile: pd.DataFrame, earlier: pd.DataFrame) -> str:
    """How the roughness changed since an earlier test, in a sentence."""
    cells = ["bin_from_pct", "bin_to_pct", "smoothness_pct"]
    both = plain_frame(profile)[cells].merge(
        plain_frame(earlier)[cells], on=cells[:2], suffixes=("", "_before")
    )
    both = both.dropna()
    if both.empty:
        return "No cell of the travel was judged in both tests."
    rougher = both[both["smoothness_pct"] > both["smoothness_pct_before"]]
    judged = f"of {counted(len(both), 'cell')} judged in both tests"
    if rougher.empty:
        return f"None {judged} is rougher than it was in the earlier one."
    most = rougher.loc[(rougher["smoothness_pct"] - rougher["smoothness_pct_before"]).idxmax()]
    return (
        f"{len(rougher)} {judged} are rougher than in the earlier one, most between "
        f"{number(most['bin_from_pct'], digits=0)} and "
        f"{number(most['bin_to_pct'], '% of travel', 0)}: "
        f"{number(most['smoothness_pct'], '%')} of the applied where it was "
        f"{number(most['smoothness_pct_before'], '%')}."
    )
