"""Sensors taken off because they read rough: how late the fitted curve is, with readings and without.

Taken off are, of the sensors whose passed test reads among the roughest tenth of the fleet, so many
at the first such test. What would have followed is struck from the record; sensors that later took
the place of one so taken off are left out. Tuning seeds.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.risk.score import RiskResults, fit_and_score
from tests.bench.risk_coverage import CURVE_AGES_KM, mixed_survival
from tests.models.risk.wearing_fleet import WearingFleet, simulate_wearing_fleet
from tests.models.risk.wearing_world import World

_FIRST_SEED = 60
_WORLD = World("weibull", "clear", share_in_use=0.2, share_unknown=0.0, frailty_shape=150.0)
_ROUGHEST = 0.9


def with_removals(
    fleet: WearingFleet, share: float, seed: int
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, int]:
    """Windows, sensors in service, readings, and how many were taken off."""
    tests, windows = fleet.wear_readings, fleet.windows.copy()
    rough = tests["roughness_pct"] > tests["roughness_pct"].quantile(_ROUGHEST)
    first = tests[tests["passed"] & rough].groupby("life_id")["read_km"].min()
    first = first[np.random.default_rng(seed).random(len(first)) < share]
    at = windows["life_id"].map(first)
    place = windows["life_id"].str.rsplit("-", n=1).str
    number = place[1].astype(int)
    begun = number.where(at.notna()).groupby(place[0]).transform("min")
    gone = begun.notna() & (number > begun)
    off = at.notna() & ~gone
    windows["bad_km"] = windows["bad_km"].where(~off)
    for name in ("good_km", "contact_km"):
        windows[name] = windows[name].where(~off, at)
    for name in ("heard", "road_failure"):
        windows[name] &= ~off
    kept = windows[~gone].reset_index(drop=True)
    last = tests["life_id"].map(first)
    readings = tests[tests["life_id"].isin(kept["life_id"]) & ~(tests["read_km"] > last)]
    out = windows.loc[off | gone, "life_id"]
    now = fleet.sensors_now[~fleet.sensors_now["life_id"].isin(out)]
    return kept, now.reset_index(drop=True), readings.reset_index(drop=True), int(off.sum())


def removals(bikes: int, seeds: int) -> None:
    """Print observed over predicted, and the fitted cumulative hazard over the true one."""
    ages = ", ".join(f"{age:,.0f}" for age in CURVE_AGES_KM)
    print(f"{seeds} fleets of {bikes} bikes; hazard: fitted / true cumulative hazard at {ages} km")
    for share in (0.0, 0.8):
        rows: dict[str, list[np.ndarray]] = {"without readings": [], "with readings": []}
        count = 0
        for seed in range(_FIRST_SEED, _FIRST_SEED + seeds):
            fleet = simulate_wearing_fleet(bikes, seed, _WORLD)
            windows, now, readings, off = with_removals(fleet, share, seed)
            count += off
            for name, read in (("without readings", None), ("with readings", readings)):
                results = fit_and_score(
                    windows,
                    now,
                    contact_gaps=fleet.contact_gaps,
                    wear_readings=read,
                    n_resamples=0,
                )
                rows[name].append(_row(results, fleet, now))
        for name, each in rows.items():
            total, hazard = np.sum(each, axis=0)[:4], np.mean(each, axis=0)[4:]
            print(
                f"{count} taken off, {name}: observed / predicted now {total[0] / total[1]:.3f}, "
                f"5,000 km {total[2] / total[3]:.3f}; hazard {hazard.round(3)}",
                flush=True,
            )


def _row(results: RiskResults, fleet: WearingFleet, now: pd.DataFrame) -> np.ndarray:
    curve = results.fleet_curve.query("part_no == 'all'")
    survival = np.interp(CURVE_AGES_KM, curve["age_km"], curve["survival"])
    hazard = np.log(survival) / np.log(mixed_survival(fleet, CURVE_AGES_KM))
    risk = results.defect_risk
    sums = (
        now["truly_defective"].sum(),
        risk["defect_now"].sum(),
        now["truly_within_5000"].sum(),
        risk["defect_5000_km"].sum(),
    )
    return np.array([*sums, *hazard])
