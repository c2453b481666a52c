"""The fit of the risk models kept between builds, and what it rested on.

Beside the models themselves (``kept_models``) a card ``fit.json`` names the fit's version, its day
and its records, and frames in Parquet hold the lives it rested on, the evidence on how often a test
finds a defect, and what looking back with it showed. The card is written last and says what each
frame must hash to; whatever is amiss, the models are fitted anew.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from models.risk.assumed import BetaPrior
from models.risk.evidence_moved import RESTED_ON, Evidence
from models.risk.fit import FittedRisk
from models.risk.sensitivity import SENSITIVITY_EVIDENCE, LearnedSensitivity
from pipeline.home import write_new
from pipeline.warehouse.kept_models import Refusal, keep_model, kept_model

#: Raise when the card or a frame means something else than before.
LAYOUT = 1
_CARD = "fit.json"
_LIVES, _SENSITIVITY = "fit_rested_on", "fit_sensitivity"
_MODELS = ("hazard", "silent_hazard", "growth")


@dataclass(frozen=True)
class KeptFit:
    """A fit with what it rested on. ``version`` names it: the day, and a digest of its records."""

    models: FittedRisk
    believed: LearnedSensitivity
    evidence: Evidence
    version: str


def fit_version(evidence: Evidence) -> str:
    """How a fit to this record is named: its day, and the beginning of the records' digest."""
    return f"{evidence.day.isoformat()}.{evidence.data[:12]}"


def keep_fit(folder: Path, fit: KeptFit, tags: Mapping[str, str]) -> Refusal | None:
    """Keep a fit; an older one goes.

    Parameters
    ----------
    folder : Path
        Of kept models; made where it is not there.
    fit : KeptFit
        The fit.
    tags : mapping of str to str
        Code, schema and settings that it was made with.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / _CARD).unlink(missing_ok=True)
    there = []
    for name, model in zip(_MODELS, _models(fit.models), strict=True):
        if model is None:
            continue
        kept = keep_model(folder, name, model, {**tags, "data": fit.evidence.data})
        if isinstance(kept, Refusal):
            return kept
        there.append(name)
    _drop_others(folder, there)
    frames = {
        _LIVES: fit.evidence.lives[list(RESTED_ON)],
        _SENSITIVITY: fit.believed.evidence,
    }
    believed = fit.believed.posterior
    card = {
        "layout": LAYOUT,
        "tags": dict(tags),
        "models": there,
        "data": fit.evidence.data,
        "day": fit.evidence.day.isoformat(),
        "n_tests": fit.evidence.n_tests,
        "sensitivity": [believed.hits, believed.misses],
        "frames": {name: _keep_frame(folder, name, frame) for name, frame in frames.items()},
    }
    write_new(folder / _CARD, json.dumps(card, indent=2, sort_keys=True) + "\n")
    return None


def kept_fit(folder: Path, tags: Mapping[str, str]) -> KeptFit | Refusal:
    """The fit kept, if it is whole, ours and made with the same tags."""
    try:
        card = json.loads((folder / _CARD).read_text(encoding="utf-8"))
        if card["layout"] != LAYOUT or card["tags"] != dict(tags):
            return Refusal("outdated", "The kept fit was made with other code or settings.")
        evidence = Evidence(
            str(card["data"]),
            date.fromisoformat(card["day"]),
            _kept_frame(folder, _LIVES, card["frames"][_LIVES]),
            int(card["n_tests"]),
        )
        told = _kept_frame(folder, _SENSITIVITY, card["frames"][_SENSITIVITY])
        hits, misses = map(float, card["sensitivity"])
        names = set(card["models"])
        believed = LearnedSensitivity(BetaPrior(hits, misses), SENSITIVITY_EVIDENCE.check(told))
    except FileNotFoundError as error:
        if error.filename is not None and Path(error.filename).name == _CARD:
            return Refusal("absent", "No fit has been kept.")
        return Refusal("damaged", f"The kept fit is damaged: {error}.")
    except (OSError, ValueError, KeyError, TypeError) as error:
        return Refusal("damaged", f"The kept fit is damaged: {_CARD} or a frame of it ({error}).")
    models: dict[str, Any] = dict.fromkeys(_MODELS)
    for name in sorted(names & set(_MODELS)):
        models[name] = kept_model(folder, name, {**tags, "data": evidence.data})
        if isinstance(models[name], Refusal):
            return models[name]
    fitted = FittedRisk(models["hazard"], models["silent_hazard"], models["growth"])
    return KeptFit(fitted, believed, evidence, fit_version(evidence))


def made_once(
    folder: Path,
    name: str,
    rests_on: str,
    make: Callable[[], Mapping[str, pd.DataFrame]],
    say: Callable[[str], None],
) -> dict[str, pd.DataFrame]:
    """Frames that hang on the fit alone: made once, and kept beside it under a card of their own.

    Parameters
    ----------
    folder : Path
        Of kept models.
    name : str
        What they are kept under.
    rests_on : str
        What they are made from: the fit's version, and whatever else they hang on.
    make : callable
        Makes them, where none are kept that rest on the same.
    say : callable
        Told where they cannot be kept.
    """
    found = kept_frames(folder, name, rests_on)
    if found is not None:
        return found
    made = dict(make())
    try:
        keep_frames(folder, name, made, rests_on)
    except OSError as error:  # it saves time and is never needed
        say(f"What was worked out with the fit could not be kept: {error.strerror}")
    # read back, so that a table holds the same whether it was made now or before
    return kept_frames(folder, name, rests_on) or made


def keep_frames(folder: Path, name: str, frames: Mapping[str, pd.DataFrame], rests_on: str) -> None:
    """Keep frames that were made from what ``rests_on`` says, under a card of their own.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    with keep_card(folder, name, rests_on) as digests:
        for key, frame in frames.items():
            digests[key] = _keep_frame(folder, f"{name}_{key}", frame)


@contextmanager
def keep_card(folder: Path, name: str, rests_on: str) -> Iterator[dict[str, str]]:
    """Write files and then a card that says what they rest on, and what each must hash to.

    No card stands while they are written. Their digests go into what is given, by key.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    card = folder / f"{name}.json"
    card.unlink(missing_ok=True)
    digests: dict[str, str] = {}
    yield digests
    write_new(card, json.dumps({"rests_on": rests_on, "frames": digests}, sort_keys=True) + "\n")


def kept_card(folder: Path, name: str, rests_on: str) -> dict[str, str] | None:
    """What the files of a card must hash to, by key; None where they rest on something else.

    Raises
    ------
    OSError, ValueError, KeyError, TypeError, AttributeError
        There is no whole card.
    """
    card = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    return dict(card["frames"].items()) if card["rests_on"] == rests_on else None


def kept_frames(folder: Path, name: str, rests_on: str) -> dict[str, pd.DataFrame] | None:
    """The frames kept under a name, if they are whole and were made from the same; else None."""
    try:
        digests = kept_card(folder, name, rests_on)
        if digests is None:
            return None
        return {
            key: _kept_frame(folder, f"{name}_{key}", digest) for key, digest in digests.items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def file_digest(path: Path) -> str:
    """SHA-256 of a file's bytes, which are never held whole."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def damaged_frames(folder: Path) -> list[str]:
    """Names of cards in the folder that speak of a frame which is not as it was written."""
    found = []
    for path in sorted(folder.glob("*.json")):
        try:
            card = json.loads(path.read_text(encoding="utf-8"))
            digests = dict(card.get("frames", {}))
        except (OSError, ValueError, TypeError, AttributeError):
            if not path.with_suffix(".skops").exists():
                found.append(path.name)
            continue
        front = "" if path.name == _CARD else f"{path.stem}_"
        for key, digest in digests.items():
            try:
                _kept_frame(folder, f"{front}{key}", digest)
            except (OSError, ValueError):
                found.append(path.name)
                break
    return found


def _models(fitted: FittedRisk) -> tuple[object, ...]:
    return fitted.model, fitted.silent_model, fitted.growth


def _drop_others(folder: Path, names: list[str]) -> None:
    """Take away models of an earlier fit that this one has none of."""
    for name in set(_MODELS) - set(names):
        for kind in ("skops", "json"):
            (folder / f"{name}.{kind}").unlink(missing_ok=True)


def _keep_frame(folder: Path, name: str, frame: pd.DataFrame) -> str:
    draft = folder / f".{name}.draft"
    frame.to_parquet(draft, index=False)
    digest = file_digest(draft)
    draft.replace(folder / f"{name}.parquet")
    return digest


def _kept_frame(folder: Path, name: str, digest: str) -> pd.DataFrame:
    """Raise ValueError for a frame that is not as it was written."""
    path = folder / f"{name}.parquet"
    if file_digest(path) != digest:
        raise ValueError(f"{path.name} is not as it was written")
    return pd.read_parquet(path)
