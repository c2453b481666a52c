"""Whether the tests have moved far enough since a fit that the wear map is to be fitted anew.

Fitting 10,000 swept tests takes some ten seconds, scoring the lives that were tested since next to
nothing. So a fit is kept while what has come could not have moved it by more than a small part of
its own uncertainty; counts, and the scores of each life with news, follow at every build.

What the map is least sure of is where and how strongly tracks wear, and of that only lives with
drop-outs tell: with n of them the logarithm of the common intensity is known within 1 / sqrt(n),
since the drop-outs of one life are sights of a place or two. Where m of them are new, changed or
gone it moves by m / n at most; the fit stands while that is below `PART` of 1 / sqrt(n): with 1,000
such lives, while fewer than 8 have moved. Failures, of which the level at failure is learned, are
held to the same by themselves. Roughness rests on every test, so that a share of the tests is what
counts for it (`MOST_TESTS`).

A part and duty that come together for the first time, or no more, lead to a new fit: the map has no
curve of theirs, or one too many. Of few tests (`FEW_TESTS`) any change does: that takes a second or
two there, and each counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from models.wear.groups import text
from models.wear.map_cells import pairs_of

#: Of fewer tests than this, any change leads to a new fit.
FEW_TESTS = 2_000
#: Part of its standard error by which the common intensity may have moved, at most.
PART = 0.25
#: Tests new, changed or gone, as a share of those at the fit.
MOST_TESTS = 0.02
#: Days after which anything new leads to a new fit.
MOST_DAYS = 30
#: Km by which the age at a failure may differ and still be the same.
_SAME_KM = 0.5
#: What is kept of each test that a fit rested on: ``key`` is a digest of its name and of all that
#: the map takes from it.
RESTED_ON = ("session_id", "life_id", "part_no", "duty", "has_dropouts", "key")


@dataclass(frozen=True)
class WearEvidence:
    """Records that a fit rests on, or may.

    data : digest of all of it. day : as of which they are. tests : columns ``RESTED_ON``, a row
    a test. failures : frame of ``FAILURES``.
    """

    data: str
    day: date
    tests: pd.DataFrame
    failures: pd.DataFrame

    @property
    def n_lives_with_dropouts(self) -> int:
        """Lives in any of whose tests a drop-out was seen."""
        return self.tests.loc[self.tests["has_dropouts"], "life_id"].nunique()


@dataclass(frozen=True)
class WearMoved:
    """New, changed or gone since a fit: tests, lives with drop-outs among them, and failures."""

    tests: int
    lives_with_dropouts: int
    failures: int


def tests_rested_on(
    tests: pd.DataFrame, has_dropouts: np.ndarray, keys: pd.Series | np.ndarray
) -> pd.DataFrame:
    """Columns ``RESTED_ON`` of a frame of ``WEAR_TESTS``."""
    out = tests[["session_id", "life_id", "part_no", "duty"]].copy()
    return out.assign(has_dropouts=has_dropouts, key=keys)


def moved(then: WearEvidence, now: WearEvidence) -> WearMoved:
    """Hold two records against each other; a test that has come to another life counts for both."""
    number, different = pd.factorize(pd.concat([then.tests["key"], now.tests["key"]]))
    ends = np.split(number, [len(then.tests)])
    there = [np.bincount(own, minlength=len(different)) > 0 for own in ends]
    same = there[0] & there[1]
    others = [end.tests[~same[own]] for end, own in zip((then, now), ends, strict=True)]
    tests = pd.concat(others)
    lives = tests.loc[tests["has_dropouts"].to_numpy(bool), "life_id"]
    failed = then.failures.merge(now.failures, on="life_id", how="outer", suffixes=("", "_now"))
    apart = np.abs(failed["failed_age_km"] - failed["failed_age_km_now"]).to_numpy()
    failures = int((~(apart <= _SAME_KM)).sum())
    return WearMoved(tests["session_id"].nunique(), lives.nunique(), failures)


def why_refit(then: WearEvidence, now: WearEvidence) -> str:
    """Why the map is to be fitted anew, as a sentence without a full stop; empty if the fit stands.

    Parameters
    ----------
    then, now : WearEvidence
        What the fit rested on, and the records as they stand.
    """
    if then.data == now.data:
        return ""
    if min(len(then.tests), len(now.tests)) < FEW_TESTS:
        return f"the records have changed, and of fewer than {FEW_TESTS:,} tests each counts"
    if now.day < then.day:
        return f"the fit was made as of {then.day}, a later day"
    age = (now.day - then.day).days
    if age > MOST_DAYS:
        return f"the fit is {age} days old, more than {MOST_DAYS}"
    for one, rest, how in ((now, then, "for the first time"), (then, now, "no more")):
        others = _pairs(one) - _pairs(rest)
        if others:
            part_no, duty = min(others)
            return f"part {part_no} has been tested on duty {duty or 'unknown'} {how}"
    return _far_enough(then, moved(then, now))


def most_moved(lives: int) -> int:
    """Lives new, changed or gone, from which a fit to so many is made anew."""
    return max(1, int(np.ceil(PART * np.sqrt(lives))))


def _far_enough(then: WearEvidence, found: WearMoved) -> str:
    if found.tests > MOST_TESTS * len(then.tests):
        return (
            f"{found.tests:,} tests are new, changed or gone beside {len(then.tests):,}, more than "
            f"{100 * MOST_TESTS:g} in 100"
        )
    for name, count, known in (
        ("sensor lives with drop-outs", found.lives_with_dropouts, then.n_lives_with_dropouts),
        ("failures", found.failures, len(then.failures)),
    ):
        if count >= most_moved(known):
            return f"{count:,} {name} are new, changed or gone beside {known:,}"
    return ""


def _pairs(evidence: WearEvidence) -> set[tuple[str, str]]:
    pairs = pairs_of(evidence.tests)
    return set(zip(pairs["part_no"], text(pairs["duty"]), strict=True))
