"""One drop-out from near: every recorded sample around it as a single point."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.parts import INK, plain_frame, readable, titled
from dashboard.look import DROPOUT, NO_EVIDENCE, SIGNAL
from dashboard.words import CHANNEL_UNITS, counted, milliseconds

MARGIN_S = 0.2
_OUTSIDE, _INSIDE, _OTHER = "sample", "within the drop-out", "within another drop-out"

_SHAPES = {_OUTSIDE: "circle", _INSIDE: "diamond", _OTHER: "square"}
_COLOURS = {_OUTSIDE: SIGNAL, _INSIDE: DROPOUT, _OTHER: NO_EVIDENCE}


def window_around(dropout: dict, margin_s: float = MARGIN_S) -> tuple[float, float]:
    """The part of the sweep around one drop-out, s."""
    start, end = dropout["start_s"], dropout["start_s"] + dropout["length_s"]
    return max(0.0, start - margin_s), end + margin_s


def dropout_chart(
    samples: pd.DataFrame,
    dropout: dict,
    others: pd.DataFrame,
    *,
    channel: str | None,
    ink: str = INK,
) -> alt.LayerChart:
    """Samples as points, not joined up: nothing is drawn between what was read.

    Parameters
    ----------
    samples : DataFrame
        TRACE, the samples around the drop-out as recorded.
    dropout : dict
        One row of DROPOUTS.
    others : DataFrame
        DROPOUTS of the whole sweep.
    channel : str or None
        ``volt``, ``ohm`` or ``percent``.
    ink : str
        Colour of letters and axes.
    """
    unit = CHANNEL_UNITS.get(channel or "", "unit not recorded")
    points = plain_frame(samples)[["t_s", "signal", "sample_no"]].copy()
    points["sample"] = _whereabouts(points["sample_no"], dropout, others)
    inside = int(points["sample"].eq(_INSIDE).sum())
    time = alt.X(
        "t_s:Q",
        title="Time from the sweep's start, s",
        scale=alt.Scale(domain=list(window_around(dropout)), nice=False),
        axis=alt.Axis(tickCount=8, format=".2f"),
    )
    kinds = [kind for kind in (_OUTSIDE, _INSIDE, _OTHER) if points["sample"].eq(kind).any()]
    dots = (
        alt.Chart(points)
        .mark_point(filled=True, size=45, opacity=1, clip=True)
        .encode(
            x=time,
            y=alt.Y("signal:Q", title=unit, scale=alt.Scale(zero=False, padding=14)),
            shape=alt.Shape(
                "sample:N",
                scale=alt.Scale(domain=kinds, range=[_SHAPES[kind] for kind in kinds]),
                legend=alt.Legend(title=None),
            ),
            color=alt.Color(
                "sample:N",
                scale=alt.Scale(domain=kinds, range=[_COLOURS[kind] for kind in kinds]),
                legend=alt.Legend(title=None),
            ),
            tooltip=[
                alt.Tooltip("sample_no:Q", title="Sample"),
                alt.Tooltip("t_s:Q", title="Time, s", format=".4f"),
                alt.Tooltip("signal:Q", title=f"Reading, {unit}", format=".4~f"),
            ],
        )
    )
    chart = alt.layer(dots).properties(
        title=titled(
            f"Drop-out {dropout['dropout_no']}: every sample around it, {unit}",
            f"n = {counted(len(points), 'sample')}, {inside} of them within the drop-out",
        )
    )
    return readable(chart, 340, ink)


def _whereabouts(sample_no: pd.Series, dropout: dict, others: pd.DataFrame) -> pd.Series:
    """Which samples lie within this drop-out, within another one, or in none."""
    where = pd.Series(_OUTSIDE, index=sample_no.index)
    for first, last in others[["first_sample_no", "last_sample_no"]].to_numpy():
        where = where.mask(sample_no.between(first, last), _OTHER)
    own = sample_no.between(dropout["first_sample_no"], dropout["last_sample_no"])
    return where.mask(own, _INSIDE)


def dropout_reading(samples: pd.DataFrame, dropout: dict) -> str:
    """What the chart shows, in a sentence."""
    inside = samples["sample_no"].between(dropout["first_sample_no"], dropout["last_sample_no"])
    before = int((samples.loc[~inside, "sample_no"] < dropout["first_sample_no"]).sum())
    after = int((~inside).sum()) - before
    return (
        f"{counted(int(inside.sum()), 'sample')} within the drop-out, {before} in the "
        f"{milliseconds(MARGIN_S * 1000)} before it and {after} in the "
        f"{milliseconds(MARGIN_S * 1000)} after it."
    )
