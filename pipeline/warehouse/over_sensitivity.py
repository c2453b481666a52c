"""What the advice would be, were a bench test better or worse at finding a defect than taken.

How often a test finds a defect that is there cannot be learned well from a shop's records, since
only failed tests are followed up. So the advice is also worked out at both ends of its range.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import beta

from models.plans.actions import advised_actions, settled_cases
from models.plans.cheapest import cheapest, weigh
from models.plans.outlook import Outlook
from models.plans.settings import PlanSettings
from models.risk.assumed import BetaPrior
from models.risk.hazard import DefectHazard
from models.risk.now import HORIZONS_KM, defect_chances
from models.risk.score import RiskResults
from pipeline.jobs.progress import LongWork
from pipeline.warehouse.held_memory import give_back_freed
from pipeline.warehouse.kept_spreads import AT_ONCE

#: Ends of the range, and its middle: 5, 50 and 95 in 100 of what is believed of the sensitivity.
QUANTILES = (0.05, 0.5, 0.95)
#: Raise when this module comes to say something else of the same fit and settings.
OVER_VERSION = "2"
_CERTAIN = 1e6
_DRAWS = 60
_COLUMNS = ("sensitivity", "quantile", "action", "sensor_count", "changed_count")


def advice_over_sensitivity(
    results: RiskResults,
    sensors_now: pd.DataFrame,
    evidence: pd.DataFrame,
    outlook: Outlook,
    settings: PlanSettings,
    *,
    as_taken: pd.Series,
    by_lot: frozenset[str] = frozenset(),
    work: LongWork | None = None,
) -> pd.DataFrame:
    """Count the actions advised at each sensitivity.

    The costs are weighed anew with each; how a sound sensor wears from now on is left as it is.

    Parameters
    ----------
    results : RiskResults
        The fitted model and its settings.
    sensors_now, evidence : frames
        As handed to ``fit_and_score`` and to ``advise``.
    outlook : Outlook
        Of the same sensors.
    settings : PlanSettings
        Costs and levels.
    as_taken : series, indexed by sensor
        The action advised.
    by_lot : set of str
        As handed to ``advise``.
    work : LongWork, optional
        Who draws the chances, a sensitivity each.

    Returns
    -------
    frame of one row a sensitivity and action: ``sensitivity``, ``quantile``, ``action``,
    ``sensor_count`` and ``changed_count`` (for so many of these another action is advised now).
    """
    known = sensors_now["age_now_km"].notna()
    if results.model is None or not known.any():
        return pd.DataFrame(columns=list(_COLUMNS))
    believed: BetaPrior = results.settings["sensitivity"]

    def actions(evidence: pd.DataFrame, outlook: Outlook) -> pd.Series:
        costs = cheapest(outlook, weigh(outlook, settings, again=False), settings)
        return advised_actions(settled_cases(evidence), costs, settings, by_lot)

    shares = [float(beta(believed.hits, believed.misses).ppf(at)) for at in QUANTILES]
    drawn = _chances(results.model, results.settings, sensors_now[known], shares, work)
    tables = []
    for quantile, share in zip(QUANTILES, shares, strict=True):
        give_back_freed()
        chances = drawn[share]
        action = actions(_with(evidence, chances), _tested_so(outlook, chances, share))
        table = pd.DataFrame({"action": action, "changed": action.ne(as_taken)})
        counts = table.groupby("action")["changed"].agg(["size", "sum"]).reset_index()
        counts.columns = pd.Index(["action", "sensor_count", "changed_count"])
        tables.append(counts.assign(sensitivity=share, quantile=quantile))
    return pd.concat(tables, ignore_index=True)[list(_COLUMNS)]


def _chances(
    model: DefectHazard,
    settings: Mapping[str, Any],
    sensors: pd.DataFrame,
    shares: list[float],
    work: LongWork | None,
) -> dict[float, pd.DataFrame]:
    """Chances of a defect by sensitivity, in the columns that the advice takes."""
    parts = [sensors.iloc[at : at + AT_ONCE] for at in range(0, len(sensors), AT_ONCE)]
    tasks = [(share, part) for share in shares for part in parts]
    drawn = partial(_chances_at, model, settings)
    stage = "Drawing chances over the test's sensitivity"
    found = (work or LongWork()).shared(stage, "part", drawn, tasks)
    n = len(parts)
    return {share: pd.concat(found[i * n : i * n + n]) for i, share in enumerate(shares)}


def _chances_at(
    model: DefectHazard, settings: Mapping[str, Any], task: tuple[float, pd.DataFrame]
) -> pd.DataFrame:
    sensitivity, sensors = task
    view = settings["in_view"].reindex(sensors["sensor_id"]).to_numpy(float)
    fixed = BetaPrior(sensitivity * _CERTAIN, (1 - sensitivity) * _CERTAIN)
    other = {**settings, "sensitivity": fixed, "in_view": view}
    found = defect_chances(model, sensors, n_resamples=_DRAWS, **other)
    now, later = HORIZONS_KM.index(0.0), HORIZONS_KM.index(5_000.0)
    columns = {
        "defect_now": found.chance[:, now],
        "defect_now_low": found.low[:, now],
        "defect_now_high": found.high[:, now],
        "defect_5000_km": found.chance[:, later],
    }
    return pd.DataFrame(columns, index=np.asarray(sensors["sensor_id"]))


def _tested_so(outlook: Outlook, chances: pd.DataFrame, sensitivity: float) -> Outlook:
    """The same outlook with other chances now and another test."""
    now = chances["defect_now"].reindex(outlook.sensors["sensor_id"]).to_numpy()
    test = outlook.test._replace(sensitivity=sensitivity)
    return replace(outlook, sensors=outlook.sensors.assign(defect_now=now), test=test)


def _with(evidence: pd.DataFrame, chances: pd.DataFrame) -> pd.DataFrame:
    """The same evidence with other chances."""
    other = chances.reindex(evidence["sensor_id"])
    return evidence.assign(**{name: other[name].to_numpy() for name in other.columns})
