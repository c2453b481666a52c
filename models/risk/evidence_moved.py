"""Whether the records have moved far enough since a fit that the models are to be fitted anew.

Fitting 25,000 lives takes a minute, scoring with a fit at hand far less, and a day's work adds a
few defects to thousands. So a fit is kept while what has come since could not have moved it by more
than a small part of its own uncertainty; the sensors are scored anew with it at every build.

With n defects in k km the logarithm of the hazard is known within 1 / sqrt(n). A defect more or
less moves it by 1 / n, a km by 1 / k; both together by less than max(m / n, j / k) where m defects
and j km are new, changed or taken back. The fit stands while that is below `PART` of 1 / sqrt(n):
with 3,000 defects, while fewer than 14 and less than 0.46 % of the km have moved. The road
failures, of which the delay is learned, are held to the same by themselves; so is each part number,
at one standard error of its own, so that a bad batch does not wait for the whole fleet. The course
of readings rests on so many tests that a share of them is what counts (`MOST_TESTS`).

A record of few lives (`FEW_LIVES`) is fitted anew at any change: that takes seconds there, and each
life counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

#: Of fewer lives than this, any change leads to a new fit.
FEW_LIVES = 2_000
#: Part of its standard error by which the common hazard may have moved, at most.
PART = 0.25
#: The same for a part number by itself, and the least defects that count as a move of it.
PART_OF_GROUP, FEWEST_OF_GROUP = 1.0, 3
#: Growth of the tests that carry readings, as a share of those at the fit.
MOST_TESTS = 0.02
#: Days after which anything new leads to a new fit.
MOST_DAYS = 30
#: Km by which an age may differ and still be the same.
_SAME_KM = 0.5
#: What a life is, apart from how far it has been followed: a change makes it another life.
_OF_LIFE = ("part_no", "duty", "repaired", "age_known")
#: What is kept of each life that a fit rested on.
RESTED_ON = ("life_id", *_OF_LIFE, "entry_km", "good_km", "bad_km", "road_failure")


@dataclass(frozen=True)
class Evidence:
    """A record that a fit rests on, or may: its day, its lives and how many tests it holds.

    ``data`` is a digest of all of it; ``lives`` has at least the columns ``RESTED_ON``.
    """

    data: str
    day: date
    lives: pd.DataFrame
    n_tests: int


@dataclass(frozen=True)
class Moved:
    """What is new, changed or taken back since a fit.

    Defects, road failures and km count once each, however they moved; ``defects_by_part`` is
    indexed by part number.
    """

    defects: int
    road_failures: int
    km: float
    defects_by_part: pd.Series


def moved(then: pd.DataFrame, now: pd.DataFrame) -> Moved:
    """Hold the lives of two records against each other.

    A life of which one of ``part_no``, ``duty``, ``repaired``, ``age_known`` or ``entry_km`` has
    changed is taken for one taken back and one new.

    Parameters
    ----------
    then, now : frames
        Columns ``RESTED_ON``, one life a row.
    """
    pair = _columns(then).merge(_columns(now), on="life_id", how="outer", suffixes=("", "_now"))
    other = ~_same_life(pair)
    was, stands = pair["there"].notna().to_numpy(), pair["there_now"].notna().to_numpy()
    defect, defect_now = (_found(pair, end) for end in ("", "_now"))
    near = np.abs(pair["bad_km"] - pair["bad_km_now"]).to_numpy() <= _SAME_KM
    kept = ~other & (~(defect | defect_now) | (defect & defect_now & near))
    of_defect = np.where(kept, 0, np.where(other, defect.astype(int) + defect_now, 1))
    road, road_now = (_road(pair, end) for end in ("", "_now"))
    either = np.where(other, road.astype(int) + road_now, road | road_now)
    of_road = np.where(kept & (road == road_now), 0, either)
    km, km_now = (_km(pair, end) for end in ("", "_now"))
    of_km = np.where(was & stands & ~other, np.abs(km_now - km), km + km_now)
    part = pair["part_no_now"].where(stands, pair["part_no"])
    by_part = pd.Series(of_defect).groupby(part.to_numpy()).sum()
    return Moved(int(of_defect.sum()), int(of_road.sum()), float(of_km.sum()), by_part)


def why_refit(then: Evidence, now: Evidence) -> str:
    """Why the models are to be fitted anew, as a sentence without a full stop; empty if they stand.

    Parameters
    ----------
    then, now : Evidence
        What the fit rested on, and the record as it stands.
    """
    if then.data == now.data:
        return ""
    if min(len(then.lives), len(now.lives)) < FEW_LIVES:
        return f"the records have changed, and of fewer than {FEW_LIVES:,} sensor lives each counts"
    if now.day < then.day:
        return f"the fit was made as of {then.day}, a later day"
    age = (now.day - then.day).days
    if age > MOST_DAYS:
        return f"the fit is {age} days old, more than {MOST_DAYS}"
    if now.n_tests - then.n_tests > MOST_TESTS * then.n_tests:
        return (
            f"{now.n_tests - then.n_tests:,} tests have come to {then.n_tests:,}, more than "
            f"{100 * MOST_TESTS:g} in 100"
        )
    return _far_enough(then.lives, moved(then.lives, now.lives))


def most_defects(defects: int) -> int:
    """Defects new, changed or taken back, from which a fit to so many is made anew."""
    return max(1, int(np.ceil(PART * np.sqrt(defects))))


def _far_enough(lives: pd.DataFrame, found: Moved) -> str:
    defect, road = _found(lives, ""), _road(lives, "")
    for name, count, known in (
        ("defects", found.defects, int(defect.sum())),
        ("road failures", found.road_failures, int(road.sum())),
    ):
        if count >= most_defects(known):
            return f"{count:,} {name} are new, changed or taken back beside {known:,}"
    km, most = _km(lives, "").sum(), PART / np.sqrt(max(int(defect.sum()), 1))
    if found.km > most * km:
        return (
            f"{100 * found.km / max(km, 1.0):.2g} % of the km followed are new, changed or taken "
            f"back, more than {100 * most:.2g} %"
        )
    return _part_far_enough(lives, found.defects_by_part)


def _part_far_enough(lives: pd.DataFrame, by_part: pd.Series) -> str:
    known = pd.Series(_found(lives, "")).groupby(lives["part_no"].to_numpy()).sum()
    for part_no, count in by_part[by_part >= FEWEST_OF_GROUP].items():
        before = int(known.get(part_no, 0))
        if count >= PART_OF_GROUP * np.sqrt(before):
            return (
                f"{int(count):,} defects of part {part_no} are new, changed or taken back beside "
                f"{before:,}"
            )
    return ""


def _columns(lives: pd.DataFrame) -> pd.DataFrame:
    return lives[list(RESTED_ON)].assign(there=True)


def _same_life(pair: pd.DataFrame) -> np.ndarray:
    same = (np.abs(pair["entry_km"] - pair["entry_km_now"]) <= _SAME_KM).to_numpy()
    for name in _OF_LIFE:
        one, other = (
            pair[column].astype("object").where(pair[column].notna(), "").to_numpy()
            for column in (name, f"{name}_now")
        )
        same = same & (one == other).astype(bool)
    return same


def _found(lives: pd.DataFrame, end: str) -> np.ndarray:
    return lives[f"bad_km{end}"].notna().to_numpy()


def _road(lives: pd.DataFrame, end: str) -> np.ndarray:
    return lives[f"road_failure{end}"].astype("boolean").fillna(False).to_numpy(dtype=bool)


def _km(lives: pd.DataFrame, end: str) -> np.ndarray:
    """Km followed, up to the finding or the last good test; nought where the life is not there."""
    until = lives[f"bad_km{end}"].fillna(lives[f"good_km{end}"])
    return (until - lives[f"entry_km{end}"]).fillna(0.0).clip(lower=0.0).to_numpy(float)
