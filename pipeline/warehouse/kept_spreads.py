"""Rows worked out at or about a sensor's state, remembered from build to build beside their fit."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from models.risk.spreads import Remember
from pipeline.jobs.progress import LongWork
from pipeline.warehouse.kept_models import code_version
from pipeline.warehouse.kept_states import keep_states, kept_states

#: Sensors worked out together, whoever does it: each is a matter of its own, and more at a time
#: only take more memory.
AT_ONCE = 500
_STAGES = {
    "spreads": "Drawing how wide chances range",
    "explained": "Drawing what chances rest on",
    "explained_unsigned": "Drawing what chances rest on",
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
        held = kept_states(folder, name, rests_on)
        place = np.full(len(keys), -1) if held is None else held.places(keys)
        places = np.flatnonzero(place < 0)
        if held is None or len(places):
            parts = _made(make, places, _STAGES.get(name, name), work)
            result = _laid_out(parts, places, len(keys))
            del parts
        else:
            result = np.empty((len(keys), held.width), np.float32)
        if held is not None:
            held.fill(result, place)
            held.close()
            if not len(places):
                return result
        try:
            keep_states(folder, name, keys, result, rests_on)
        except OSError as error:  # it saves time and is never needed
            work.say(f"What was worked out of sensors could not be kept: {error.strerror}")
        return result

    return remember


def _made(
    make: Callable[[np.ndarray], np.ndarray], places: np.ndarray, stage: str, work: LongWork
) -> list[np.ndarray]:
    """Rows of places, ``AT_ONCE`` of them in each array, in the precision that they are kept in."""
    parts, single = np.split(places, range(AT_ONCE, len(places), AT_ONCE)), partial(_single, make)
    if len(parts) == 1:
        return [single(places)]
    return work.shared(stage, "part", single, parts)


def _single(make: Callable[[np.ndarray], np.ndarray], places: np.ndarray) -> np.ndarray:
    return make(places).astype(np.float32)


def _laid_out(parts: list[np.ndarray], places: np.ndarray, count: int) -> np.ndarray:
    """The rows at their places among ``count``; what has been laid out is let go."""
    result = np.full((count, parts[0].shape[1]), np.nan, np.float32)
    begin = 0
    for turn, part in enumerate(parts):
        result[places[begin : begin + len(part)]] = part
        begin += len(part)
        parts[turn] = part[:0]
    return result
