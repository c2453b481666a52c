"""The models of the risk: kept while the evidence has not moved far, else fitted anew.

When it has moved far enough is said in ``models.risk.evidence_moved``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from models.risk.assumed import TEST_SENSITIVITY
from models.risk.evidence_moved import Evidence, why_refit
from models.risk.fit import FittedRisk, fit_risk
from models.risk.hazard import DefectHazard
from models.risk.sensitivity import TEST_HISTORY, LearnedSensitivity, learned_sensitivity
from pipeline.warehouse.kept_fit import KeptFit, fit_version, keep_fit, kept_fit
from pipeline.warehouse.kept_models import Refusal, code_version, data_version
from pipeline.warehouse.lives import RiskFrames

#: Raise when the frames come to mean something else under the same names.
_SCHEMA = "2"


@dataclass(frozen=True)
class Fit:
    """The models by which sensors are scored, and how they come to be these.

    ``version`` names the fit by its day and its records; ``why`` says in a sentence without a full
    stop why it was made at this build, and is empty where it is an earlier one that stands.
    """

    models: FittedRisk
    believed: LearnedSensitivity
    evidence: Evidence
    version: str
    why: str


def test_history(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """All accepted tests of parts with a track, for how often a test finds the defect.

    Their mart must stand.
    """
    return TEST_HISTORY.check(connection.execute("from marts.test_history order by all").df())


def standing_fit(
    folder: Path,
    frames: RiskFrames,
    tests: Callable[[], pd.DataFrame],
    day: date,
    say: Callable[[str], None],
) -> Fit:
    """The fit that the sensors are to be scored with, kept or made anew and then kept.

    Parameters
    ----------
    folder : Path
        Where models are kept.
    frames : RiskFrames
        The record.
    tests : callable
        Gives a frame in the columns of ``TEST_HISTORY``; asked where models are fitted anew.
    day : date
        As of which day the record is.
    say : callable
        Told why a kept fit is refused, or why a large record is fitted anew.
    """
    now = Evidence(data_version(_records(frames)), day, frames.windows, len(frames.wear_readings))
    tags = _tags()
    found = kept_fit(folder, tags)
    if isinstance(found, Refusal):
        if found.kind not in ("absent", "outdated"):
            say(f"{found.reason} It is fitted anew")
        why = "no fit by this code had been kept"
    else:
        why = why_refit(found.evidence, now)
        if not why:
            return Fit(found.models, found.believed, found.evidence, found.version, "")
    return _fitted(folder, frames, tests, now, why, tags, say)


def _fitted(
    folder: Path,
    frames: RiskFrames,
    tests: Callable[[], pd.DataFrame],
    now: Evidence,
    why: str,
    tags: dict[str, str],
    say: Callable[[str], None],
) -> Fit:
    records = _records(frames)
    # how often a test finds a defect is learned with a curve that takes tests at their word
    first = fit_risk(**{**records, "wear_readings": None}).model
    believed = learned_sensitivity(tests(), frames.windows, first)
    models = fit_risk(**records, sensitivity=believed.posterior)
    fit = Fit(models, believed, now, fit_version(now), why)
    _keep(folder, fit, tags, say)
    return fit


def _records(frames: RiskFrames) -> dict[str, Any]:
    return {
        "windows": frames.windows,
        "sensors_now": frames.sensors_now,
        "followed_up": frames.followed_up,
        "contact_gaps": frames.contact_gaps,
        "wear_readings": frames.wear_readings,
    }


def _tags() -> dict[str, str]:
    settings = {**DefectHazard().get_params(), "sensitivity": TEST_SENSITIVITY}
    return {"code": code_version(), "schema": _SCHEMA, "settings": repr(settings)}


def _keep(folder: Path, fit: Fit, tags: dict[str, str], say: Callable[[str], None]) -> None:
    kept = KeptFit(fit.models, fit.believed, fit.evidence, fit.version)
    try:
        refused = keep_fit(folder, kept, tags)
    except OSError as error:  # it saves time and is never needed
        say(f"The fitted models could not be kept: {error.strerror}")
        return
    if refused is not None:
        say(refused.reason)
