"""What was worked out of each life and each sweep for the wear map, remembered between builds."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from models.wear.life_scores import LifeScores, Remember, of_lives, ordered
from pipeline.warehouse.kept_fit import keep_frames, kept_frames
from pipeline.warehouse.wear_fit import wear_code

_LIVES, _SWEEPS = "wear_lives", "wear_sweeps"
_KEYS, _CHANCES = "keys", "chances"


def remembered_lives(folder: Path, version: str, say: Callable[[str], None]) -> Remember:
    """Remember the scores of lives by a fit, as long as their tests stay what they were.

    Parameters
    ----------
    folder : Path
        Of kept models.
    version : str
        Of the fit; what rests on another or on other code is of no use.
    say : callable
        Told where scores cannot be kept.
    """
    rests_on = f"{version}/{wear_code()}"

    def remember(keys: pd.Series, score: Callable[[pd.Index], LifeScores]) -> LifeScores:
        held = kept_frames(folder, _LIVES, rests_on)
        if held is None:
            scores = score(keys.index)
        else:
            there = held.pop(_KEYS).set_index("life_id")["key"]
            same = there.reindex(keys.index).eq(keys).fillna(False).to_numpy(bool)
            if same.all() and len(there) == len(keys):
                return LifeScores(**held)
            news = score(keys.index[~same]) if not same.all() else None
            scores = _together(held, news, keys.index, same)
        told = keys.rename("key").rename_axis("life_id").reset_index()
        _keep(folder, _LIVES, {_KEYS: told, **scores.frames}, rests_on, say)
        return scores

    return remember


def _together(
    held: dict[str, pd.DataFrame], news: LifeScores | None, lives: pd.Index, same: np.ndarray
) -> LifeScores:
    """Scores held of the lives that are the same, with the news; one frame twice in memory."""
    made = {}
    for name in list(held):
        parts = [of_lives(held.pop(name), lives[same]), *([news.frames[name]] if news else [])]
        made[name] = ordered(pd.concat(parts, ignore_index=True), lives)
    return LifeScores(**made)


def remembered_sweeps(
    folder: Path,
    keys: pd.Series,
    judge: Callable[[pd.Series], np.ndarray],
    say: Callable[[str], None],
) -> np.ndarray:
    """Chance of a worn band by each sweep alone; only those not remembered are judged.

    Parameters
    ----------
    folder : Path
        Of kept models.
    keys : series
        Key that each sweep's measures are kept under, index session_id.
    judge : callable
        Gives the chances of some of them, which it is handed.
    say : callable
        Told where chances cannot be kept.
    """
    rests_on = wear_code()
    held = kept_frames(folder, _SWEEPS, rests_on)
    chances, missing = pd.Series(np.nan, keys.index), np.ones(len(keys), bool)
    if held is not None:
        at = pd.Index(held[_CHANCES]["measure_key"]).get_indexer(keys)
        missing = at < 0
        chances[~missing] = held[_CHANCES]["band_chance"].to_numpy(float)[at[~missing]]
    if missing.any():
        chances[missing] = judge(keys[missing])
    if held is None or missing.any():
        told = pd.DataFrame({"measure_key": keys.to_numpy(), "band_chance": chances.to_numpy()})
        _keep(folder, _SWEEPS, {_CHANCES: told}, rests_on, say)
    return chances.to_numpy()


def _keep(
    folder: Path,
    name: str,
    frames: dict[str, pd.DataFrame],
    rests_on: str,
    say: Callable[[str], None],
) -> None:
    try:
        keep_frames(folder, name, frames, rests_on)
    except OSError as error:  # it saves time and is never needed
        say(f"What was worked out for the wear map could not be kept: {error.strerror}")
