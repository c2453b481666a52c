"""The sweeps of a shop's tests: each test's sensor put on the bench with its shop's logger."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from models.simulate.bench import SimulatedSweep, simulate_sweep
from models.simulate.book import TestRecord
from models.simulate.hand import HandMotion
from models.simulate.logger import Logger
from models.simulate.tables import session_ids
from models.simulate.track import LeadFault, TrackState, random_lead_fault
from models.simulate.wear import worn_band
from models.simulate.world import SHOPS

HASTY = 0.02  # share of sweeps made too fast to tell anything (assumed)
FLAWED_LOG = 0.03  # share with gaps, repeated or swapped samples (assumed)
TRAVEL_RECORDED = {"copperhill": 0.25}  # shops whose logger also knows the position, and how often
PASS_S = {"volt": (2.3, 3.8), "ohm": (4.0, 6.0), "percent": (3.5, 6.0)}
SAMPLE_COLUMNS = ["session_id", "t_s", "signal", "signal_b", "travel_pct"]
FAST_RATE_HZ, FAST_PASS_S = 500.0, (1.6, 2.4)


def sweeps(
    seed: int, tests: list[TestRecord], tracks: list[TrackState], readings: pd.DataFrame
) -> tuple[pd.DataFrame, dict[str, pd.DataFrame]]:
    """All sweeps as the contract's table, and their truth.

    Each sweep has its own stream of chance, by seed and test, so that the other tables do not
    depend on whether sweeps are made. ``readings`` are in the order of ``tests``.

    Returns
    -------
    The table ``sweeps`` and truth frames ``sweeps`` (one row a sweep), ``dropouts``, ``passes``.
    """
    ids = session_ids(tests)
    frames, rows, dropouts, passes = [], [], [], []
    for test, supply_v in zip(tests, readings["true_supply_v"], strict=True):
        if test.rate_hz is None:
            continue
        rng = np.random.default_rng([seed, 77, test.number])
        key = ids[test.number]
        sweep = session_sweep(rng, test, tracks[test.sensor.number], float(supply_v))
        frames.append(sweep.frame(key))
        dropouts.append(sweep.dropouts.assign(session_id=key))
        passes.append(sweep.passes.assign(session_id=key))
        rows.append(_truth_row(key, sweep))
    truth = {"sweeps": pd.DataFrame(rows), "dropouts": _joined(dropouts), "passes": _joined(passes)}
    table = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=SAMPLE_COLUMNS)
    return table, truth


def session_sweep(
    rng: np.random.Generator, test: TestRecord, track: TrackState, supply_v: float
) -> SimulatedSweep:
    """The sweep of one test."""
    recorded = rng.random() < TRAVEL_RECORDED.get(test.shop_id, 0.0)
    return simulate_sweep(
        rng,
        channel=test.channel,
        rate_hz=float(test.rate_hz or 0.0),
        sensor=state_on_the_day(rng, test, track),
        hand=_hand(rng, test),
        logger=_logger(rng, test),
        supply_v=supply_v,
        record_travel=recorded and test.channel != "percent",
    )


def state_on_the_day(rng: np.random.Generator, test: TestRecord, track: TrackState) -> TrackState:
    """The sound track with the wear and the lead fault of the day."""
    band = worn_band(test.spell, test.odometer_km)
    lead: LeadFault | None = None
    if test.lead is not None:
        # A lead that only acts up when it is moved: it shows in most sweeps, not in all.
        lead = random_lead_fault(rng, kind=test.lead) if rng.random() < 0.8 else None
    return replace(track, worn=(band,) if band else (), lead=lead)


def _hand(rng: np.random.Generator, test: TestRecord) -> HandMotion:
    low, high = FAST_PASS_S if (test.rate_hz or 0.0) > FAST_RATE_HZ else PASS_S[test.channel]
    pass_s = rng.uniform(low, high)
    if rng.random() < HASTY:
        pass_s = rng.uniform(0.25, 0.5)
    return HandMotion(
        passes=4 if rng.random() < 0.75 else 6,
        pass_s=float(pass_s),
        pause_s=float(rng.uniform(0.2, 0.5)),
        tremor_pct=float(rng.uniform(0.02, 0.09)),
    )


def _logger(rng: np.random.Generator, test: TestRecord) -> Logger:
    shop = SHOPS[test.shop_id]
    logger = Logger(
        bits=shop.bits,
        noise_v=float(shop.noise_v * rng.uniform(0.85, 1.2)),
        pull_down_ohm=shop.pull_down_ohm,
        timestamps=shop.timestamps,
        stamp_s=shop.stamp_s,
    )
    if test.channel == "volt" and rng.random() < FLAWED_LOG:
        flaws = ({"gaps": 2}, {"duplicated": 0.01}, {"reordered": 0.005})
        return replace(logger, **flaws[int(rng.integers(len(flaws)))])
    return logger


def _truth_row(key: str, sweep: SimulatedSweep) -> dict:
    return {
        "session_id": key,
        "channel": sweep.channel,
        "rate_hz": sweep.rate_hz,
        "supply_v": round(sweep.supply_v, 4),
        "noise_v": round(sweep.logger.noise_v, 5),
        "smoothness_pct": round(sweep.smoothness_pct, 4),
        "rough": sweep.rough,
        "dropouts": len(sweep.dropouts),
        "visible_dropouts": int(sweep.dropouts["visible"].sum()),
        "passes": len(sweep.passes),
        "pass_s": round(sweep.hand.pass_s, 2),
        "samples": len(sweep.t_s),
    }


def _joined(frames: list[pd.DataFrame]) -> pd.DataFrame:
    if not frames:
        return pd.DataFrame({"session_id": []})
    joined = pd.concat([f for f in frames if len(f)] or frames[:1], ignore_index=True)
    return joined[["session_id", *(c for c in joined.columns if c != "session_id")]]
