"""What a fit says of each life: its worn bands, how they went on, how strongly and where it wears.

A life's scores hang on its own tests and the fit alone, to the last digit (``by_row``), so that
those of a life without news may be remembered.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
import pandas as pd

from models.wear.progress import BandProgress
from models.wear.records import WearRecords
from models.wear.schemas import BANDS, OWN_WEAR, PROGRESS
from models.wear.seen import lives_by_parts
from models.wear.sensor import SensorIntensity
from models.wear.surface import WearSurface


@dataclass(frozen=True)
class LifeScores:
    """Frames of ``BANDS``, ``PROGRESS`` and ``OWN_WEAR``, each with rows of some lives."""

    bands: pd.DataFrame
    progress: pd.DataFrame
    own: pd.DataFrame

    @property
    def frames(self) -> dict[str, pd.DataFrame]:
        """The frames by name."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    def of(self, lives: pd.Index) -> LifeScores:
        """Those of some lives."""
        return LifeScores(*(of_lives(frame, lives) for frame in self.frames.values()))

    @staticmethod
    def together(scores: Sequence[LifeScores]) -> LifeScores:
        """All of one or more."""
        frames = zip(*(own.frames.values() for own in scores), strict=True)
        return LifeScores(*(pd.concat(parts, ignore_index=True) for parts in frames))

    def in_order(self, lives: pd.Index) -> LifeScores:
        """Rows in the order of their lives, those of a life as they stand."""
        schemas = (BANDS, PROGRESS, OWN_WEAR)
        frames = zip(schemas, self.frames.values(), strict=True)
        return LifeScores(*(ordered(schema.check(frame), lives) for schema, frame in frames))


#: Gives the scores of lives by their keys, a series with the index life_id; the callable scores
#: the lives that are not remembered.
Remember = Callable[[pd.Series, Callable[[pd.Index], LifeScores]], LifeScores]


def forgetful(keys: pd.Series, score: Callable[[pd.Index], LifeScores]) -> LifeScores:
    """A ``Remember`` that remembers nothing."""
    return score(keys.index)


def score_lives(
    keys: pd.Series,
    records_of: Callable[[pd.Index], Iterable[WearRecords]],
    dropouts: WearSurface,
    progress: BandProgress,
    sensors: SensorIntensity,
    remember: Remember = forgetful,
) -> LifeScores:
    """Scores of every life, in the order of their keys.

    Parameters
    ----------
    keys : series
        ``life_keys`` of all lives.
    records_of : callable
        Gives the tests of some lives, in parts of whole lives.
    dropouts, progress, sensors
        Fitted models.
    remember : callable
        See ``Remember``.
    """

    def score(lives: pd.Index) -> LifeScores:
        scores = [
            score_some(whole.take(rows))
            for whole in records_of(lives)
            for rows in lives_by_parts(whole)
        ]
        return LifeScores.together(scores)

    def score_some(own: WearRecords) -> LifeScores:
        pooled = dropouts.predict_wear(own.tests)
        bands = progress.bands.predict(own, pooled)
        return LifeScores(bands, progress.predict(own, pooled, bands), sensors.own(own, pooled))

    return remember(keys, score).in_order(keys.index)


def life_keys(lives: pd.Series, keys: np.ndarray) -> pd.Series:
    """Digest of all tests of each life, index life_id, in the order in which lives come.

    ``lives`` : the life of each test. ``keys`` : a digest of all that a map takes from it.
    """
    number, names = pd.factorize(lives)
    by_life = keys[np.argsort(number, kind="stable")].tolist()
    ends = np.cumsum(np.bincount(number)).tolist()
    own = ["".join(by_life[begin:end]).encode() for begin, end in pairwise([0, *ends])]
    digests = [hashlib.blake2b(told, digest_size=16).hexdigest() for told in own]
    return pd.Series(digests, pd.Index(names, name="life_id"), dtype="str")


def of_lives(frame: pd.DataFrame, lives: pd.Index) -> pd.DataFrame:
    """Rows of some lives."""
    return frame[lives.get_indexer(frame["life_id"]) >= 0]


def ordered(frame: pd.DataFrame, lives: pd.Index) -> pd.DataFrame:
    """Rows in the order of their lives; the frame itself where they are so already."""
    place = lives.get_indexer(frame["life_id"])
    if (np.diff(place) >= 0).all():
        return frame.reset_index(drop=True)
    return frame.iloc[np.argsort(place, kind="stable")].reset_index(drop=True)
