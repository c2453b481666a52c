"""When contact is lost during a sweep: lift-offs at worn spots, and breaks in plug or lead.

One row is one interruption: its start and length, the resistance that stands in the way, and
where the hand was. What the logger shows of it is worked out in ``bench``.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.simulate.hand import GRID_S, Motion
from models.simulate.track import SPOT_SPREAD_PCT, LeadFault, TrackState, WornBand

RECROSS_S = 0.12  # tremor that crosses a spot again within this time makes no second lift-off
BREAK_COLUMNS = ["start_s", "length_s", "ohm", "cause", "wire"]


def breaks(rng: np.random.Generator, track: TrackState, motion: Motion) -> pd.DataFrame:
    """All interruptions of one track in one sweep, overlapping ones merged, in order of time.

    Returns
    -------
    Frame of start_s, length_s, ohm, cause (``worn``, ``lead``), wire.
    """
    rows = [row for band in track.worn for row in _worn_rows(rng, band, motion)]
    if track.lead is not None:
        rows += _lead_rows(rng, track.lead, motion)
    frame = pd.DataFrame(_merged(sorted(rows)), columns=BREAK_COLUMNS)
    return frame.astype({"start_s": float, "length_s": float, "ohm": float})


def crossings_s(motion: Motion, at_pct: float) -> np.ndarray:
    """Times at which the travel crosses a position, tremor's re-crossings left out."""
    above = motion.travel_pct > at_pct
    times = motion.t_s[1:][above[1:] != above[:-1]]
    if len(times) == 0:
        return times
    return times[np.concatenate([[True], np.diff(times) > RECROSS_S])]


def _worn_rows(rng: np.random.Generator, band: WornBand, motion: Motion) -> list[tuple]:
    rows = []
    for spot in band.spots_pct:
        for crossing in crossings_s(motion, spot):
            if rng.random() >= band.lift_chance:
                continue
            place = float(np.clip(spot + SPOT_SPREAD_PCT * rng.standard_normal(), 0.1, 99.9))
            start = _time_near(motion, place, crossing)
            length, ohm = _log_uniform(rng, band.lift_s), _log_uniform(rng, band.lift_ohm)
            rows.append((start, length, ohm, "worn", "wiper"))
    return rows


def _time_near(motion: Motion, place_pct: float, near_s: float) -> float:
    """The moment nearest to ``near_s`` at which the hand was closest to a place."""
    middle = round(near_s / GRID_S)
    first = max(0, middle - 150)
    away = np.abs(motion.travel_pct[first : middle + 150] - place_pct)
    return float(motion.t_s[first + int(np.argmin(away))])


def _lead_rows(rng: np.random.Generator, lead: LeadFault, motion: Motion) -> list[tuple]:
    starts = _wander_s(rng, lead, motion) if lead.kind == "wander" else _tug_s(rng, lead, motion)
    rows = []
    for start in starts:
        clock = float(start)
        for _ in range(1 + rng.poisson(max(lead.burst - 1.0, 0.0))):
            length = _log_uniform(rng, lead.length_s)
            rows.append((clock, length, _log_uniform(rng, lead.open_ohm), "lead", lead.wire))
            clock += length + float(rng.exponential(lead.gap_s))
    return [row for row in rows if row[0] < motion.t_s[-1]]


def _wander_s(rng: np.random.Generator, lead: LeadFault, motion: Motion) -> np.ndarray:
    end_s = motion.t_s[-1]
    return rng.uniform(0.0, end_s, rng.poisson(lead.rate_per_s * end_s))


def _tug_s(rng: np.random.Generator, lead: LeadFault, motion: Motion) -> list[float]:
    """A tugged lead breaks as the hand passes about one position, often one way only."""
    times = []
    for row in motion.passes.itertuples():
        wanted = lead.tug_direction in ("both", row.direction)
        place = lead.tug_pct + lead.tug_spread_pct * rng.standard_normal()
        if rng.random() >= lead.chance_per_pass or not wanted:
            continue
        first, last = round(row.start_s / GRID_S), round(row.end_s / GRID_S)
        away = np.abs(motion.travel_pct[first:last] - place)
        if away.min(initial=np.inf) < 1.0:
            times.append(row.start_s + int(np.argmin(away)) * GRID_S)
    return times


def _merged(rows: list[tuple]) -> list[tuple]:
    """Overlapping interruptions become one, as long as both, with the larger resistance."""
    merged: list[tuple] = []
    for row in rows:
        if merged and row[0] <= merged[-1][0] + merged[-1][1]:
            last = merged.pop()
            length = max(last[0] + last[1], row[0] + row[1]) - last[0]
            row = (last[0], length, max(last[2], row[2]), last[3], last[4])
        merged.append(row)
    return merged


def _log_uniform(rng: np.random.Generator, limits: tuple[float, float]) -> float:
    return float(np.exp(rng.uniform(np.log(limits[0]), np.log(limits[1]))))
