"""Parts of sweeps made up from the declared schemas."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.sweeps.over_travel import OVER_TRAVEL
from pipeline.access.sweep_traces import OVERLAY_TESTS, SweepOverTravel, SweepWindow
from tests.dashboard.fake_views import profile, rows, trace


def window(from_s: float, to_s: float, *, recorded: int | None = None) -> SweepWindow:
    """A few samples of a part of the sweep, of as many recorded as there are or as is said."""
    samples = trace(2000)
    samples = samples[samples["t_s"].between(from_s, to_s)].reset_index(drop=True)
    return SweepWindow(samples, len(samples) if recorded is None else recorded)


def passes(count: int = 4, dip_pct: float = 0.0) -> pd.DataFrame:
    """Straight passes between 10 and 90 % of applied; the first dips at 22 % of travel."""
    travel = np.linspace(0, 100, 51)
    laid = []
    for number in range(1, count + 1):
        output = 10 + 0.8 * travel
        output[11] -= dip_pct if number == 1 else 0.0
        opening = number % 2 == 1
        frame = rows(
            OVER_TRAVEL,
            51,
            pass_no=number,
            direction="opening" if opening else "closing",
            travel_pct=travel if opening else travel[::-1],
            output_pct=output if opening else output[::-1],
        )
        laid.append(frame)
    return pd.concat(laid, ignore_index=True)


def over_travel(session_id: str = "T-001", **values) -> SweepOverTravel:
    parts = {
        "passes": passes(dip_pct=20.0),
        "profile": profile(),
        "travel_source": "estimated",
        "closed_pct": 10.0,
        "open_pct": 90.0,
    }
    return SweepOverTravel(session_id, **(parts | values))


def overlay_tests(count: int = 2) -> pd.DataFrame:
    """The latest of the same sensor, the others of the one before it."""
    return rows(
        OVERLAY_TESTS,
        count,
        session_id=[f"E-{n}" for n in range(count)],
        sensor_id=["S-1" if n == 0 else "S-0" for n in range(count)],
        same_sensor=[n == 0 for n in range(count)],
        tested_on=pd.to_datetime([f"2025-0{9 - n}-01" for n in range(count)]),
        conclusion="nothing_seen",
    )
