"""How often a bench test finds a defect that is there: assumed, and moved by independent evidence.

Only failed tests are followed up, so what tests and repairs say does not tell a test that misses
from a defect that came later. Evidence from outside the test does, where it comes soon after a
pass: a road failure or a complaint, a retest that found a defect since confirmed, a part found
defective when it was opened. The defect may still have come after the pass; by the curve and the
delay of ``models.risk.delay`` the chance that it was there already is

    c = (1-s) B e^(-r x) / ((1-s) B e^(-r x) + A),

x the km since the pass, r the rate per km of being heard of, B the chance that a defect came before
the pass and stayed silent until then (each earlier pass that it lay behind a further factor 1-s),
and A that it came after and stayed silent until found. Each such pass counts as c of a miss.

A test that found a defect, since confirmed, is a hit, but all hits come to light and few misses do.
So a hit counts only as the chance L that a miss in its place would have come to light in the same
km, by being heard of or by a retest, on a bike still followed (correction for verification bias,
Begg & Greenes, Biometrics 39 (1983) 207, from memory). Tests prompted by a complaint are left out:
whether such a miss comes to light cannot be told.

The posterior is the prior times s^(L hits) times, for each pass, the sum of both ways in which its
defect may have come, averaged over the delay and given as the Beta distribution of the
same mean and variance. The fractions c, at that posterior, are what each pass counts for; taken as
plain counts they would make it too narrow, since which pass missed is not seen (Louis, JRSS B 44
(1982) 226, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.stats import beta

from models.frames import Column, FrameSchema
from models.risk.assumed import TEST_SENSITIVITY, BetaPrior
from models.risk.delay import assumed_delay, log_prior, silent_chance
from models.risk.hazard import DefectHazard
from models.risk.schemas import LIFE_WINDOWS

#: Km after a pass within which evidence speaks of it, assumed: well below the usual test spacing.
WITHIN_KM = 2_000.0
#: Earlier passes behind which a defect may have lain.
_PASSES_BACK = 3
#: Rates per km, and how many, among which a learned delay may lie: means of 500 to 100,000 km.
_RATES, _N_RATES = (1e-5, 2e-3), 25
_TURNS = 50
_GRID = (np.arange(500) + 0.5) / 500
#: Points of the Gauss-Hermite rule over the delay's spread.
_NODES = 5
_TINY = 1e-300
#: Lives, or their passes, held against the whole grid at a time, for the memory.
_LIVES_AT_ONCE = 2_000
#: That of an even spread over one step of the grid.
_LEAST_VARIANCE = 1 / 12 / len(_GRID) ** 2

TEST_HISTORY = FrameSchema(
    "test_history",
    "one accepted bench test of one life, of a part with a track",
    (
        Column("life_id", "text", "the life"),
        Column("session_id", "text", "the test"),
        Column("test_km", "number", "age of the sensor at the test", "km"),
        Column(
            "found",
            "flag",
            "it found the defect (yes) or found the sensor without (no); blank where unclear",
            blank=True,
        ),
        Column("prompted", "flag", "a complaint or a road failure led to it"),
    ),
)

SENSITIVITY_EVIDENCE = FrameSchema(
    "sensitivity_evidence",
    "one test of which something outside it says whether the defect was there",
    (
        Column("session_id", "text", "the test"),
        Column("life_id", "text", "the life"),
        Column(
            "kind",
            "text",
            "after a pass: road_failure, complaint, retest (one that was due) or opened (confirmed "
            "at a repair that no complaint led to); or found, by this test itself",
        ),
        Column("km_since_test", "number", "from the test to the evidence", "km"),
        Column("chance_defect_was_there", "number", "at the test, 0 to 1"),
        Column("hits", "number", "counts as so many tests that found the defect"),
        Column("misses", "number", "counts as so many that missed it"),
    ),
)


class Followed(NamedTuple):
    """Shares of passes still followed some km on, of these retested in them; chance to be heard."""

    known: float
    retested: float
    heard: float

    def comes_to_light(self, s: float) -> float:
        """Chance that a defect missed is heard of, or found by a retest."""
        return self.known * (1 - (1 - self.heard) * (1 - self.retested * s))


class LearnedSensitivity(NamedTuple):
    """Sensitivity after the evidence, and the evidence in ``SENSITIVITY_EVIDENCE``."""

    posterior: BetaPrior
    evidence: pd.DataFrame


def learned_sensitivity(
    tests: pd.DataFrame,
    windows: pd.DataFrame,
    model: DefectHazard | None,
    *,
    prior: BetaPrior = TEST_SENSITIVITY,
    within_km: float = WITHIN_KM,
) -> LearnedSensitivity:
    """Sensitivity of a bench test, the assumed one moved by what came to light soon after tests.

    Parameters
    ----------
    tests : frame of shape (tests, ...)
        Columns of ``TEST_HISTORY``.
    windows : frame of shape (lives, ...)
        Columns of ``LIFE_WINDOWS``; tests of other lives are left out.
    model : DefectHazard or None
        Fitted to ``windows``; None where no life was observed, which leaves the prior.
    prior : BetaPrior
        The sensitivity as assumed.
    within_km : float
        Km after a test within which evidence speaks of it.

    Raises
    ------
    FrameError
        A frame does not fit its schema.

    Notes
    -----
    On simulated fleets with mean delays of 2,500, 5,000 and 9,000 km the posterior mean came, at
    400 bikes, to 0.78-0.82 where tests find 0.6 of the defects, 0.84-0.90 where 0.8 and 0.89-0.93
    where 0.95; at 2,000 bikes to 0.60-0.61, 0.76-0.77 and 0.88-0.92.
    """
    tests, lives = TEST_HISTORY.check(tests), LIFE_WINDOWS.check(windows)
    tests = tests[~tests["prompted"].astype(bool)]
    if model is None or tests.empty or lives.empty:
        return LearnedSensitivity(prior, SENSITIVITY_EVIDENCE.empty())
    passes = _passes(tests, lives)
    missed, found = _soon_after(passes, tests, within_km), _found(tests, lives)
    if missed.empty and (passes.empty or found.empty):
        return LearnedSensitivity(prior, SENSITIVITY_EVIDENCE.empty())
    hazard = _hazard_at(model, lives, missed)
    rates, weight = _rates(model, lives, passes)
    densities, counted = [], []
    for rate in rates:
        came = _chances_of_coming(hazard, _ages(missed), rate)
        followed = _followed(passes, within_km, rate)
        density, *counts = _posterior(came, missed, len(found), followed, rate, prior)
        densities.append(density)
        counted.append(counts)
    posterior = (weight * np.array(densities)).sum(axis=0)
    posterior /= posterior.sum()
    share = weight @ posterior
    chance, light = (
        np.tensordot(share, np.array(part), axes=1) for part in zip(*counted, strict=True)
    )
    chance = np.minimum(chance, 1.0)
    rows = [
        missed.assign(chance_defect_was_there=chance, hits=0.0, misses=chance),
        found.assign(chance_defect_was_there=1.0, hits=float(light), misses=0.0),
    ]
    evidence = pd.concat([row for row in rows if len(row)]).reset_index(drop=True)
    evidence = evidence[evidence["kind"].ne("found") | (evidence["hits"] > 0)]
    if evidence.empty:
        return LearnedSensitivity(prior, SENSITIVITY_EVIDENCE.empty())
    return LearnedSensitivity(_matched(posterior), SENSITIVITY_EVIDENCE.check(evidence))


def _passes(tests: pd.DataFrame, lives: pd.DataFrame) -> pd.DataFrame:
    """Passes with their life's end and the next test, in order of age."""
    columns = ["life_id", "entry_km", "good_km", "bad_km", "road_failure", "heard", "contact_km"]
    judged = tests[tests["found"].notna()].sort_values(["life_id", "test_km", "session_id"])
    judged["next_km"] = judged.groupby("life_id")["test_km"].shift(-1)
    found = judged[~judged["found"].astype(bool)].merge(lives[columns], on="life_id")
    before = found["bad_km"].isna() | (found["test_km"] <= found["bad_km"])
    passes = found[before & (found["test_km"] >= found["entry_km"])].reset_index(drop=True)
    for k in range(1, _PASSES_BACK + 1):
        earlier = passes.groupby("life_id")["test_km"].shift(k)
        passes[f"before_{k}"] = earlier.fillna(passes["entry_km"])
    return passes


def _soon_after(passes: pd.DataFrame, tests: pd.DataFrame, within_km: float) -> pd.DataFrame:
    """Last passes of lives whose defect came to light soon after, with the kind of evidence."""
    last = passes[~passes["life_id"].duplicated(keep="last")]
    since = last["bad_km"] - last["test_km"]
    soon = last[since <= within_km].copy()
    retested = soon["life_id"].isin(tests.loc[tests["found"].fillna(False), "life_id"])
    soon["kind"] = np.where(retested, "retest", "opened")
    for flag, kind in (("heard", "complaint"), ("road_failure", "road_failure")):
        soon.loc[soon[flag].astype("boolean").fillna(False).astype(bool), "kind"] = kind
    soon["km_since_test"] = since[soon.index]
    return soon.reset_index(drop=True)


def _found(tests: pd.DataFrame, lives: pd.DataFrame) -> pd.DataFrame:
    """Tests that found a defect since confirmed: the first of each life."""
    confirmed = lives.loc[lives["bad_km"].notna(), "life_id"]
    hit = tests["found"].fillna(False).astype(bool) & tests["life_id"].isin(confirmed)
    first = tests[hit].sort_values(["life_id", "test_km"]).drop_duplicates("life_id")
    return first.assign(kind="found", km_since_test=0.0).reset_index(drop=True)


def _hazard_at(model: DefectHazard, lives: pd.DataFrame, missed: pd.DataFrame) -> np.ndarray:
    """Cumulative hazard when found, at the pass and at those before it, shape (n, 2 + back)."""
    if missed.empty:
        return np.zeros((0, 2 + _PASSES_BACK))
    life = lives.set_index("life_id").loc[missed["life_id"]].reset_index()
    # ages of a sensor of unknown age count from first sight
    shift = np.where(life["age_known"].astype(bool), 0.0, np.median(model.entry_ages_))
    return model.predict_cumulative_hazard(life, _ages(missed) + shift[:, None])


def _ages(missed: pd.DataFrame) -> np.ndarray:
    back = [f"before_{k}" for k in range(1, _PASSES_BACK + 1)]
    return missed[["bad_km", "test_km", *back]].to_numpy(float)


def _rates(
    model: DefectHazard, lives: pd.DataFrame, passes: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray]:
    """Rates of being heard of, and how likely each is at each sensitivity of the grid.

    A learned delay takes tests at their word, and comes out short where they miss: a defect that
    they passed is then thought to have come later. So it is learned anew at each sensitivity, from
    how lives ended; what those ends say of the sensitivity itself is cut off.
    """
    delay = model.delay_ or assumed_delay()
    node, weight = np.polynomial.hermite_e.hermegauss(_NODES)
    if not delay.learned:
        rates = delay.rate_per_km * np.exp(delay.log_sd * node)
        return rates, np.tile((weight / weight.sum())[:, None], len(_GRID))
    ended = _ended(lives, passes)
    hazard = _hazard_at(model, lives, ended)
    power = (1 - _GRID) ** np.arange(_PASSES_BACK + 1)[:, None]
    sound = np.exp(hazard[:, 1] - hazard[:, 0]) * ~ended["defect"].to_numpy()
    heard = float(ended["by_ear"].sum())
    rates = np.geomspace(*_RATES, _N_RATES)
    fits = np.empty((len(rates), len(_GRID)))
    for j, rate in enumerate(rates):
        came = _chances_of_coming(hazard, _ages(ended), rate)
        fits[j] = sum(
            np.log(np.maximum(came[some] @ power + sound[some, None], _TINY)).sum(axis=0)
            for some in _parts(len(came))
        )
        fits[j] += heard * np.log(rate) + log_prior(model.delay_prior, rate)
    weight = np.exp(fits - fits.max(axis=0))
    return rates, weight / weight.sum(axis=0)


def _ended(lives: pd.DataFrame, passes: pd.DataFrame) -> pd.DataFrame:
    """Lives followed beyond their last pass, and how they ended; ``bad_km`` is the end."""
    columns = ["test_km", *(f"before_{k}" for k in range(1, _PASSES_BACK + 1))]
    last = passes[~passes["life_id"].duplicated(keep="last")].set_index("life_id")[columns]
    table = lives.join(last, on="life_id")
    for name in columns:
        table[name] = table[name].fillna(table["entry_km"])
    flags = table[["heard", "road_failure"]].astype("boolean").fillna(False).any(axis=1)
    defect = table["bad_km"].notna()
    table = table.assign(
        bad_km=table["bad_km"].fillna(table["contact_km"]),
        defect=defect,
        by_ear=defect & flags.astype(bool),
    )
    return table[table["bad_km"] > table["test_km"]].reset_index(drop=True)


def _chances_of_coming(hazard: np.ndarray, ages: np.ndarray, rate: float) -> np.ndarray:
    """Chance of coming and staying silent until found, by stretch, shape (n, 1 + passes back).

    The stretch after the pass, then those before it, the nearest first.
    """
    coming = np.exp(hazard[:, [1]] - hazard[:, 1:]) * -np.expm1(hazard[:, 1:] - hazard[:, :-1])
    return coming * silent_chance(ages[:, :1] - ages[:, :-1], ages[:, :1] - ages[:, 1:], rate)


def _posterior(
    came: np.ndarray,
    missed: pd.DataFrame,
    n_found: int,
    followed: Followed,
    rate: float,
    prior: BetaPrior,
) -> tuple[np.ndarray, np.ndarray, float]:
    """Posterior over the grid at one rate; chance that each pass missed, and weight of a hit."""
    at_once = (missed["km_since_test"] <= 0).to_numpy()
    log_miss = np.zeros(len(_GRID))
    for some in _parts(len(came)):
        # a defect found where the pass was made was there for certain
        either = np.where(at_once[some, None], 1 - _GRID, _before(came[some]) + came[some, :1])
        log_miss += np.log(np.maximum(either, _TINY)).sum(axis=0)
    mean = prior.mean
    for _ in range(_TURNS):
        light = followed.comes_to_light(mean)
        density = beta(prior.hits + light * n_found, prior.misses).logpdf(_GRID) + log_miss
        density = np.exp(density - density.max())
        density /= density.sum()
        last, mean = mean, float(density @ _GRID)
        if abs(mean - last) < 1e-7:
            break
    missed_it = np.empty(len(came))
    for some in _parts(len(came)):
        before = _before(came[some])
        missed_it[some] = (before / np.maximum(before + came[some, :1], _TINY)) @ density
    return density, np.where(at_once, 1.0, missed_it), light


def _before(came: np.ndarray) -> np.ndarray:
    """Chance that the defect came before the pass, over the grid, shape (n, grid)."""
    power = np.arange(_PASSES_BACK + 1)
    return (came * (power > 0)) @ (1 - _GRID) ** power[:, None]


def _parts(length: int) -> Iterator[slice]:
    return (slice(k, k + _LIVES_AT_ONCE) for k in range(0, length, _LIVES_AT_ONCE))


def _followed(passes: pd.DataFrame, within_km: float, rate: float) -> Followed:
    if passes.empty:
        return Followed(0.0, 0.0, 0.0)
    reach = passes["test_km"] + within_km
    end = passes[["bad_km", "contact_km", "good_km"]].max(axis=1)
    known = passes["bad_km"].le(reach) | end.ge(reach)
    retested = float(passes.loc[known, "next_km"].le(reach[known]).mean()) if known.any() else 0.0
    return Followed(float(known.mean()), retested, float(-np.expm1(-rate * within_km)))


def _matched(density: np.ndarray) -> BetaPrior:
    """Beta distribution of the same mean and variance."""
    mean = float(density @ _GRID)
    variance = float(density @ (_GRID - mean) ** 2)
    total = mean * (1 - mean) / max(variance, _LEAST_VARIANCE) - 1
    return BetaPrior(mean * total, (1 - mean) * total)
