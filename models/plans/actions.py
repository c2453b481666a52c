"""The advised action of many sensors at once, without its words: for trying out other settings."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.plans.advice import sweep_of, verdict_of
from models.plans.decisions import Case, decide
from models.plans.schemas import CHEAPEST, EVIDENCE
from models.plans.settings import PlanSettings

_FLAGS = {
    "elsewhere": "elsewhere",
    "repaired": "repaired_since_test",
    "waiting": "waiting",
    "unanswered": "unanswered",
}
#: What verdict and sweep are read from: by its words, or by whether it is there at all.
_WORDS = ["last_verdict", "last_conclusion", "last_fault_nature", "kind"]
_TRACES = ["last_session_id", "last_tested_on"]
_SEEN = [*_TRACES, *_WORDS]


def settled_cases(evidence: pd.DataFrame) -> pd.DataFrame:
    """What of each sensor's case no setting moves, with the numbers that the others are read from.

    Parameters
    ----------
    evidence : frame of shape (n, ...)
        EVIDENCE.
    """
    seen = EVIDENCE.check(evidence)[_SEEN]
    traces = seen[_TRACES].notna()
    kinds = traces.assign(**seen[_WORDS]).groupby([*_TRACES, *_WORDS], dropna=False)
    _, first, place = np.unique(kinds.ngroup().to_numpy(), return_index=True, return_inverse=True)
    rows = seen.iloc[first].to_dict("records")
    verdicts, sweeps = (
        np.array([read(row) for row in rows], dtype=object)[place]
        for read in (verdict_of, sweep_of)
    )
    told = {name: evidence[column].fillna("").ne("") for name, column in _FLAGS.items()}
    numbers = ["sensor_id", "defect_now", "defect_now_high", "defect_5000_km"]
    return evidence[[*numbers, "odometer_age_days", "km_since_test"]].assign(
        verdict=verdicts, sweep=sweeps, **told
    )


def advised_actions(
    cases: pd.DataFrame,
    costs: pd.DataFrame,
    settings: PlanSettings,
    by_lot: frozenset[str] = frozenset(),
) -> pd.Series:
    """The action that ``advise`` would give, indexed by sensor, in the order of ``cases``.

    Parameters
    ----------
    cases : frame of shape (n, ...)
        From ``settled_cases``.
    costs : frame
        CHEAPEST.
    settings : PlanSettings
        Levels and costs.
    by_lot : set of str
        Sensors drawn to be tested though they may be left.
    """
    told = CHEAPEST.check(costs).set_index("sensor_id")["cheapest"]
    cheapest = told.reindex(cases["sensor_id"]).fillna("unknown").to_numpy()
    whole = cases[["verdict", "sweep", *_FLAGS]].assign(
        risk=_risk(cases, settings, cheapest != "unknown"),
        odometer=_odometer(cases, settings),
        run=_run(cases, settings),
        cheapest=cheapest,
        by_lot=cases["sensor_id"].isin(by_lot),
    )
    number = whole.groupby(list(whole.columns)).ngroup().to_numpy()
    kinds, first, place = np.unique(number, return_index=True, return_inverse=True)
    actions = np.empty(len(kinds), dtype=object)
    actions[:] = [decide(Case(**row)).action for row in whole.iloc[first].to_dict("records")]
    return pd.Series(actions[place], index=cases["sensor_id"])


def _risk(cases: pd.DataFrame, settings: PlanSettings, priced: np.ndarray) -> np.ndarray:
    """As ``models.plans.advice.risk_level``; a blank is nowhere at or above a level."""
    now = cases["defect_now"].to_numpy(float)
    ahead = ~priced & (cases["defect_5000_km"].to_numpy(float) >= settings.test_above_5000_km)
    levels = [
        (np.isnan(now), "unknown"),
        (now >= settings.replace_above, "high"),
        ((now >= settings.test_above) | ahead, "raised"),
        (cases["defect_now_high"].to_numpy(float) >= settings.unsure_above, "unsure"),
    ]
    return np.select([fits for fits, _ in levels], [word for _, word in levels], "low")


def _odometer(cases: pd.DataFrame, settings: PlanSettings) -> np.ndarray:
    age = cases["odometer_age_days"].to_numpy(float)
    old = age > settings.odometer_stale_after_days
    return np.select([np.isnan(age), old], ["missing", "old"], "current")


def _run(cases: pd.DataFrame, settings: PlanSettings) -> np.ndarray:
    run = cases["km_since_test"].to_numpy(float)
    long = run > settings.test_stale_after_km
    return np.select([np.isnan(run), long], ["unknown", "long"], "short")
