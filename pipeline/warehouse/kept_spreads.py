"""Widths of intervals remembered from build to build, beside the fit that they hang on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from models.risk.spreads import SPREAD_KM, Remember, Spreads
from pipeline.warehouse.kept_fit import keep_frames, kept_frames
from pipeline.warehouse.kept_models import code_version

_NAME, _FRAME = "spreads", "widths"
_KEY = ["key", "other_key"]
_BELOW = [f"below_{km:.0f}" for km in SPREAD_KM]
_ABOVE = [f"above_{km:.0f}" for km in SPREAD_KM]


def remembered_spreads(folder: Path, version: str, say: Callable[[str], None]) -> Remember:
    """Remember the spreads of one fit, in the folder of kept models.

    Only those asked for last are kept; those of another fit or other code are of no use.
    """
    rests_on = f"{version}/{code_version()}"

    def remember(keys: np.ndarray, make: Callable[[np.ndarray], Spreads]) -> Spreads:
        held = kept_frames(folder, _NAME, rests_on) or {}
        asked = pd.DataFrame(keys, columns=_KEY).astype("uint64")
        known = held.get(_FRAME, pd.DataFrame(columns=[*_KEY, *_BELOW, *_ABOVE]))
        known = known.astype(dict.fromkeys(_KEY, "uint64")).drop_duplicates(_KEY)
        place = asked.merge(known.assign(place=range(len(known))), on=_KEY, how="left")["place"]
        fresh = place.isna().to_numpy()
        result = _spreads(known, place.fillna(-1).to_numpy(int))
        if fresh.any():
            places = np.flatnonzero(fresh)
            for own, found in zip(result, make(places), strict=True):
                own[places] = found
            frame = pd.concat([asked, _frame(result)], axis=1).drop_duplicates(_KEY)
            try:
                keep_frames(folder, _NAME, {_FRAME: frame}, rests_on)
            except OSError as error:  # it saves time and is never needed
                say(f"The widths of intervals could not be kept: {error.strerror}")
        return result

    return remember


def _spreads(known: pd.DataFrame, place: np.ndarray) -> Spreads:
    """Those at places of the frame, blank for a place of -1."""
    values = np.vstack(
        [known[[*_BELOW, *_ABOVE]].to_numpy(float), np.full((1, 2 * len(SPREAD_KM)), np.nan)]
    )[place]
    return Spreads(values[:, : len(SPREAD_KM)].copy(), values[:, len(SPREAD_KM) :].copy())


def _frame(spreads: Spreads) -> pd.DataFrame:
    return pd.DataFrame(np.hstack([*spreads]), columns=[*_BELOW, *_ABOVE])
