"""The models of the risk: kept from the last build where nothing changed, else fitted anew."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import duckdb

from models.risk.assumed import TEST_SENSITIVITY, BetaPrior
from models.risk.fit import FittedRisk, fit_risk
from models.risk.hazard import DefectHazard
from models.risk.sensitivity import TEST_HISTORY, LearnedSensitivity, learned_sensitivity
from pipeline.statements import run
from pipeline.warehouse.kept_models import (
    Refusal,
    code_version,
    data_version,
    keep_model,
    kept_model,
)
from pipeline.warehouse.lives import MARTS, RiskFrames

#: Raise when the frames come to mean something else under the same names.
_SCHEMA = "1"


def believed_sensitivity(
    connection: duckdb.DuckDBPyConnection,
    folder: Path,
    frames: RiskFrames,
    say: Callable[[str], None],
) -> LearnedSensitivity:
    """Share of defective sensors that a test finds: assumed, moved by what came soon after passes.

    Learned by a hazard fitted to tests taken at their word.
    """
    run(connection, f"{MARTS}/test_history")
    tests = TEST_HISTORY.check(connection.execute("from marts.test_history order by all").df())
    tags = _tags(frames, TEST_SENSITIVITY)
    first = _kept(folder, "first_hazard", tags, say)
    if first is None:
        first = fit_risk(**_records(frames, readings=False)).model
        _keep(folder, {"first_hazard": first}, tags, say)
    return learned_sensitivity(tests, frames.windows, first)


def fitted_risk(
    folder: Path, frames: RiskFrames, sensitivity: BetaPrior, say: Callable[[str], None]
) -> FittedRisk:
    """All models of the risk, kept or fitted anew and then kept.

    Parameters
    ----------
    folder : Path
        Where models are kept.
    frames : RiskFrames
        The record.
    sensitivity : BetaPrior
        Share of defective sensors in which a test finds the defect.
    say : callable
        Told why a kept model is refused, save that the records have changed.
    """
    tags = _tags(frames, sensitivity)
    hazard, growth = _kept(folder, "hazard", tags, say), _kept(folder, "growth", tags, say)
    silent = _kept(folder, "silent_hazard", tags, say)
    if hazard is not None and growth is not None and (silent is not None or hazard.delay_ is None):
        return FittedRisk(hazard, silent, growth)
    fitted = fit_risk(**_records(frames, readings=True), sensitivity=sensitivity)
    models = {
        "hazard": fitted.model,
        "silent_hazard": fitted.silent_model,
        "growth": fitted.growth,
    }
    _keep(folder, models, tags, say)
    return fitted


def _records(frames: RiskFrames, *, readings: bool) -> dict[str, Any]:
    return {
        "windows": frames.windows,
        "sensors_now": frames.sensors_now,
        "followed_up": frames.followed_up,
        "contact_gaps": frames.contact_gaps,
        "wear_readings": frames.wear_readings if readings else None,
    }


def _tags(frames: RiskFrames, sensitivity: BetaPrior) -> dict[str, str]:
    settings = {**DefectHazard().get_params(), "sensitivity": sensitivity}
    return {
        "data": data_version(_records(frames, readings=True)),
        "code": code_version(),
        "schema": _SCHEMA,
        "settings": repr(settings),
    }


def _kept(folder: Path, name: str, tags: dict[str, str], say: Callable[[str], None]) -> Any:
    found = kept_model(folder, name, tags)
    if not isinstance(found, Refusal):
        return found
    if found.kind not in ("absent", "outdated"):
        say(f"{found.reason} It is fitted anew")
    return None


def _keep(
    folder: Path, models: Mapping[str, object], tags: dict[str, str], say: Callable[[str], None]
) -> None:
    for name, model in models.items():
        if model is None:
            continue
        try:
            kept = keep_model(folder, name, model, tags)
        except OSError as error:  # it saves time and is never needed
            say(f"The model {name} could not be kept: {error.strerror}")
            continue
        if isinstance(kept, Refusal):
            say(kept.reason)
