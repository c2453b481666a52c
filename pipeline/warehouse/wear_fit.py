"""The fit of the wear map: kept while the tests have not moved far, else made anew.

When they have moved far enough is said in ``models.wear.evidence_moved``. Kept are the models
(``kept_models``), and beside them as frames what the fit says and what it rested on; their card
``wear_fit.json`` is written last. Whatever is amiss, all is fitted anew.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from models.sweeps.measure import MEASURE_VERSION
from models.wear.concentration import Concentration
from models.wear.evidence_moved import (
    RESTED_ON,
    WearEvidence,
    moved,
    why_refit,
)
from models.wear.mapping import FittedWear, fit_wear
from models.wear.records import WearRecords
from models.wear.schemas import FAILURES, MAP_CURVES, PATTERNS
from models.wear.test_plan import LiftChance, lift_chance
from pipeline.warehouse.kept_fit import damaged_frames, keep_frames, kept_frames
from pipeline.warehouse.kept_models import (
    Refusal,
    code_version,
    data_version,
    keep_model,
    kept_model,
)
from pipeline.warehouse.wear_schemas import WEAR_FIT

#: Raise when the frames come to mean something else under the same names.
_SCHEMA = "2"
_SOURCES = ("models/frames.py", "models/wear")
_CARD = "wear_fit"
#: Names under which models are kept, and where they stand in the fit.
_MODELS = {"wear_dropouts": "dropouts", "wear_progress": "progress", "wear_sensors": "sensors"}
_PAIR = ["part_no", "duty"]


@dataclass(frozen=True)
class WearFrames:
    """What a fit is made from.

    tests : columns ``RESTED_ON``, a row a test. records : lays out all that the tests showed, for
    which only a fit has the memory. ``places`` and ``reach`` are those of ``lift_chance``.
    """

    tests: pd.DataFrame
    records: Callable[[], WearRecords]
    failures: pd.DataFrame
    places: pd.DataFrame
    reach: pd.DataFrame


@dataclass(frozen=True)
class WearFit:
    """The models by which lives are scored, and how they come to be these.

    ``version`` names the fit by its day and its records; ``why`` says in a sentence without a full
    stop why it was made at this build, and is empty where it is an earlier one that stands.
    """

    models: FittedWear
    lift: LiftChance
    evidence: WearEvidence
    why: str

    @property
    def version(self) -> str:
        """Its day, and the beginning of the digest of its records."""
        return f"{self.evidence.day.isoformat()}.{self.evidence.data[:12]}"


def wear_code() -> str:
    """Hash of the sources of the wear map and of the versions of what they rest on."""
    return code_version(_SOURCES)


def standing_wear_fit(
    folder: Path, frames: WearFrames, day: date, say: Callable[[str], None]
) -> WearFit:
    """The fit that lives are to be scored with, kept or made anew and then kept.

    Parameters
    ----------
    folder : Path
        Where models are kept.
    frames : WearFrames
        The records.
    day : date
        As of which day they are.
    say : callable
        Told why a kept fit is refused, or why a new one cannot be kept.
    """
    now, tags = _evidence(frames, day), _tags()
    found = kept_wear_fit(folder, tags)
    if isinstance(found, Refusal):
        if found.kind not in ("absent", "outdated"):
            say(f"{found.reason} It is fitted anew")
        why = "no fit by this code had been kept"
    else:
        why = why_refit(found.evidence, now)
        if not why:
            return found
    fit = WearFit(
        fit_wear(frames.records(), frames.failures),
        lift_chance(frames.places, frames.reach),
        now,
        why,
    )
    _keep(folder, fit, tags, say)
    return fit


def told_of_wear_fit(fit: WearFit, frames: WearFrames) -> pd.DataFrame:
    """One row in the columns of ``WEAR_FIT``."""
    then = fit.evidence
    since = moved(then, replace(then, tests=frames.tests, failures=frames.failures))
    row = {
        "fit_version": fit.version,
        "fitted_as_of": pd.Timestamp(then.day),
        "n_tests": len(then.tests),
        "n_lives_with_dropouts": then.n_lives_with_dropouts,
        "n_failures": len(then.failures),
        "why_fitted": fit.why or None,
        "tests_since": since.tests,
        "lives_since": since.lives_with_dropouts,
    }
    return WEAR_FIT.check(pd.DataFrame([row]))


def keep_wear_fit(folder: Path, fit: WearFit, tags: Mapping[str, str]) -> Refusal | None:
    """Keep a fit; an older one goes.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    for name, attribute in _MODELS.items():
        model = getattr(fit.models, attribute)
        kept = keep_model(folder, name, model, {**tags, "data": fit.evidence.data})
        if isinstance(kept, Refusal):
            return kept
    keep_frames(folder, _CARD, _frames(fit), _rests_on(tags))
    return None


def kept_wear_fit(folder: Path, tags: Mapping[str, str]) -> WearFit | Refusal:
    """The fit kept, if it is whole, ours and made with the same tags."""
    frames = kept_frames(folder, _CARD, _rests_on(tags))
    if frames is None:
        return _why_none(folder)
    try:
        about = frames["about"].iloc[0]
        evidence = WearEvidence(
            str(about["data"]),
            date.fromisoformat(about["day"]),
            frames["tests"][list(RESTED_ON)],
            FAILURES.check(frames["failures"]),
        )
        said = _said(frames)
        lift = LiftChance(
            frames["lift"]["chance"].to_numpy(),
            frames["lift"]["weight"].to_numpy(),
            int(about["n_shown"]),
            int(about["n_passes"]),
        )
    except (ValueError, KeyError, TypeError, IndexError) as error:
        return Refusal("damaged", f"The kept fit of the wear map is damaged ({error}).")
    models: dict[str, Any] = {}
    for name, attribute in _MODELS.items():
        models[attribute] = kept_model(folder, name, {**tags, "data": evidence.data})
        if isinstance(models[attribute], Refusal):
            return models[attribute]
    return WearFit(FittedWear(**models, **said), lift, evidence, "")


def _why_none(folder: Path) -> Refusal:
    card = f"{_CARD}.json"
    if not (folder / card).exists():
        return Refusal("absent", "No fit of the wear map has been kept.")
    if card in damaged_frames(folder):
        reason = f"The kept fit of the wear map is damaged: {card} or a frame of it."
        return Refusal("damaged", reason)
    return Refusal("outdated", "The kept fit of the wear map was made with other code.")


def _keep(folder: Path, fit: WearFit, tags: Mapping[str, str], say: Callable[[str], None]) -> None:
    try:
        refused = keep_wear_fit(folder, fit, tags)
    except OSError as error:  # it saves time and is never needed
        say(f"The fit of the wear map could not be kept: {error.strerror}")
        return
    if refused is not None:
        say(refused.reason)


def _evidence(frames: WearFrames, day: date) -> WearEvidence:
    # the key tells all else of a test
    rested = {"tests": frames.tests[["key"]], "failures": frames.failures}
    rested |= {"places": frames.places, "reach": frames.reach}
    return WearEvidence(data_version(rested), day, frames.tests, frames.failures)


def _tags() -> dict[str, str]:
    return {"code": wear_code(), "schema": _SCHEMA, "measured": MEASURE_VERSION}


def _rests_on(tags: Mapping[str, str]) -> str:
    return json.dumps(dict(tags), sort_keys=True)


def _frames(fit: WearFit) -> dict[str, pd.DataFrame]:
    gathered = [
        dict(zip(_PAIR, pair, strict=True)) | asdict(answer)
        for pair, answer in fit.models.gathered.items()
    ]
    about = {
        "data": fit.evidence.data,
        "day": fit.evidence.day.isoformat(),
        "n_shown": fit.lift.n_shown,
        "n_passes": fit.lift.n_passes,
    }
    return {
        "tests": fit.evidence.tests,
        "failures": fit.evidence.failures,
        "curves": fit.models.curves,
        "patterns": fit.models.patterns,
        "gathered": pd.DataFrame(gathered),
        "lift": pd.DataFrame({"chance": fit.lift.chances, "weight": fit.lift.weights}),
        "about": pd.DataFrame([about]),
    }


def _said(frames: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    """What the fit says that is kept as frames."""
    rows = frames["gathered"].to_dict("records")
    return {
        "curves": MAP_CURVES.check(frames["curves"]),
        "patterns": PATTERNS.check(frames["patterns"]),
        "gathered": {tuple(row.pop(name) for name in _PAIR): Concentration(**row) for row in rows},
    }
