"""Rows worked out near a sensor's state, remembered from build to build beside their fit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from models.risk.spreads import Remember
from pipeline.jobs.progress import LongWork
from pipeline.warehouse.kept_fit import keep_frames, kept_frames
from pipeline.warehouse.kept_models import code_version

_FRAME = "rows"
_KEY = ["key", "other_key"]
#: Sensors worked out together, whoever does it: each is a matter of its own, and more at a time
#: only take more memory.
AT_ONCE = 500
_STAGES = {
    "spreads": "Drawing how wide chances range",
    "explained": "Drawing what chances rest on",
    "fits": "Drawing chances ahead",
}


def remembered(folder: Path, version: str, work: LongWork) -> Remember:
    """Remember what hangs on one fit and a sensor's state, in the folder of kept models.

    Only what was asked for last is kept; what rests on another fit or other code is of no use.
    What is missing is worked out by ``work``, so many sensors at a time.
    """
    rests_on = f"{version}/{code_version()}"

    def remember(
        name: str, keys: np.ndarray, make: Callable[[np.ndarray], np.ndarray]
    ) -> np.ndarray:
        held = (kept_frames(folder, name, rests_on) or {}).get(_FRAME)
        place = np.full(len(keys), -1) if held is None else _places(held, keys)
        places = np.flatnonzero(place < 0)
        if held is not None and not len(places):
            return _values(held)[place]
        made = _made(make, places, _STAGES.get(name, name), work)
        result = np.full((len(keys), made.shape[1]), np.nan)
        result[places] = made
        if held is not None:
            known = place >= 0
            result[known] = _values(held)[place[known]]
        try:
            keep_frames(folder, name, {_FRAME: _frame(keys, result)}, rests_on)
        except OSError as error:  # it saves time and is never needed
            work.say(f"What was worked out of sensors could not be kept: {error.strerror}")
        return result

    return remember


def _made(
    make: Callable[[np.ndarray], np.ndarray], places: np.ndarray, stage: str, work: LongWork
) -> np.ndarray:
    parts = np.split(places, range(AT_ONCE, len(places), AT_ONCE))
    if len(parts) == 1:
        return make(places)
    return np.vstack(work.shared(stage, "part", make, parts))


def _places(held: pd.DataFrame, keys: np.ndarray) -> np.ndarray:
    """Place of each key among those held, -1 where it is not there."""
    there = pd.MultiIndex.from_arrays([held[name].to_numpy() for name in _KEY])
    return there.get_indexer(pd.MultiIndex.from_arrays([keys[:, 0], keys[:, 1]]))


def _frame(keys: np.ndarray, values: np.ndarray) -> pd.DataFrame:
    names = [f"value_{k}" for k in range(values.shape[1])]
    frame = pd.DataFrame(values, columns=names)
    for column, name in enumerate(_KEY):
        frame.insert(column, name, keys[:, column])
    return frame.drop_duplicates(_KEY)


def _values(held: pd.DataFrame) -> np.ndarray:
    return held.drop(columns=_KEY).to_numpy(float)
