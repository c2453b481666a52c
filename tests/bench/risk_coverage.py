"""How often 90 % intervals hold the truth, over many small simulated fleets."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.risk.assumed import (
    CURVE_SCALE_KM,
    CURVE_SHAPE,
    GROUP_SD,
    LEVEL_SD,
    SLOPE_SD,
    BetaPrior,
)
from models.risk.hazard import DefectHazard
from models.risk.life_quantiles import SHARES, crossing_km, life_quantiles
from models.risk.score import RiskResults, fit_and_score
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import Workers
from tests.bench.risk_ceiling import informed_chances, true_ratio
from tests.bench.risk_scores import WORLDS
from tests.models.risk.simulated_fleet import Truth, simulate, with_contact
from tests.models.risk.wearing_fleet import WearingFleet, simulate_wearing_fleet
from tests.models.risk.wearing_world import World

CURVE_AGES_KM = np.array([10_000.0, 20_000, 40_000, 60_000])
SURE = BetaPrior(1e6, 1e-3)
#: Name of the plain fleet: bikes, sensors a bike, truth, share of those seen in use of unknown age.
FLEETS = {
    "160 bikes": (160, 1, Truth(), 0.0),
    "40 bikes": (40, 1, Truth(), 0.0),
    "160 bikes, 2 sensors, frailty 0.8": (160, 2, Truth(frailty_sd=0.8), 0.0),
    "160 bikes, steep wear (shape 3.5)": (160, 1, Truth(shape=3.5, scale_km=50_000.0), 0.0),
    "160 bikes, no wear (shape 1)": (160, 1, Truth(shape=1.0, scale_km=80_000.0), 0.0),
    "160 bikes, 60 % of unknown age": (160, 1, Truth(), 0.6),
    "60 bikes, hardly a defect": (60, 1, Truth(scale_km=200_000.0), 0.0),
}
#: Bikes of plain fleets whose truths are drawn, each fleet's its own: what an interval of 90 % is
#: about. About one truth, such as that of the fleets above, it may hold more or less often.
DRAWN = {"160 bikes, truths drawn": 160, "40 bikes, truths drawn": 40}
MIDDLE_KM, LEAST_SHAPE, LEAST_SOUND = 30_000.0, 0.5, 0.02
#: Name of the roughening fleet: bikes, setting. All errors of the records are in these.
WEARING = {
    f"{bikes} bikes, {name}": (bikes, WORLDS[name])
    for bikes in (160, 40)
    for name in ("weibull, clear readings", "early, weak readings", "bathtub, weak readings")
}


class Held(NamedTuple):
    """Whether the curve's intervals hold at each age, share of sensors' that do, defects.

    ``lives`` by B10 and B50 life: 1 where its interval holds, 0 where not, blank where the true one
    lies beyond the records.
    """

    curve: np.ndarray
    sensors: float
    defects: int
    lives: np.ndarray


def _interval_holds(results: RiskResults, true: np.ndarray) -> np.ndarray:
    curve = results.fleet_curve.query("part_no == 'all'")
    low, high = (
        np.interp(CURVE_AGES_KM, curve["age_km"], curve[f"survival_{end}"])
        for end in ("low", "high")
    )
    return (low <= true) & (true <= high)


def _lives_held(results: RiskResults, windows: pd.DataFrame, ages_km: np.ndarray) -> np.ndarray:
    """Of the true B10 and B50 life, each held or not, blank where beyond the oldest watched."""
    assert results.model is not None
    found = life_quantiles(results.model, windows).query("grouped_by == 'all'")
    low, high, oldest = (
        found[name].to_numpy(float) for name in ("life_low_km", "life_high_km", "oldest_km")
    )
    held = (low <= ages_km) & ~(high < ages_km)  # a blank upper end lies beyond the records
    return np.where(ages_km <= oldest, held, np.nan)


def _true_lives(survival: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    ages = np.linspace(0.0, 200_000.0, 2_001)
    fallen = survival(ages)[None]
    return np.array([crossing_km(ages, fallen, share)[0] for share in SHARES])


def population_survival(truth: Truth, age_km: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """Survival of the fleet's mix, bike frailty integrated out (Gauss-Hermite)."""
    node, weight = np.polynomial.hermite_e.hermegauss(31)
    frail = np.exp(-(truth.frailty_sd**2) / 2 + truth.frailty_sd * node)
    each = [truth.survival(age_km[:, None], f * ratio).mean(axis=1) for f in frail]
    return np.average(each, axis=0, weights=weight)


def one_plain(seed: int, fleet: tuple[int, int, Truth, float]) -> Held:
    """Interval of the curve and of each sensor's true chance, in a fleet without wear readings."""
    bikes, each, truth, unknown = fleet
    windows, now = simulate(bikes, seed, truth, sensors_per_bike=each, share_unknown=unknown)
    results = fit_and_score(windows, now, sensitivity=SURE, seed=seed)
    survival = partial(population_survival, truth, ratio=windows["ratio"].to_numpy())
    lives = _lives_held(results, windows, _true_lives(survival))
    known = now["age_known"].to_numpy()
    sensors, risk = now[known], results.defect_risk[known]
    ahead = truth.survival(sensors["true_age_km"] + 5_000, sensors["ratio"])
    chance = 1 - ahead / truth.survival(sensors["good_km"], sensors["ratio"])
    held = (risk["defect_5000_km_low"] <= chance) & (chance <= risk["defect_5000_km_high"])
    # a sensor's own chance under frailty depends on a frailty no record shows
    share = np.nan if truth.frailty_sd else float(held.mean())
    held_by_age = _interval_holds(results, survival(CURVE_AGES_KM))
    return Held(held_by_age, share, results.summary["n_defects"], lives)


def drawn_truth(seed: int) -> Truth:
    """A truth as the model assumes them before any record: level, slope and groups by its priors.

    Drawn again where hazard would fall with age by more than its root, or where next to no sensor
    would still be sound at the oldest age at which fleets are first seen: none could be met.
    """
    rng = np.random.default_rng([seed, 11])
    hazard = CURVE_SHAPE / CURVE_SCALE_KM * (MIDDLE_KM / CURVE_SCALE_KM) ** (CURVE_SHAPE - 1)
    while True:
        shape = CURVE_SHAPE + SLOPE_SD * rng.standard_normal()
        at_middle = hazard * np.exp(LEVEL_SD * rng.standard_normal())
        parts, duties = (tuple(np.exp(GROUP_SD * rng.standard_normal(n))) for n in (3, 2))
        if shape < LEAST_SHAPE:
            continue
        scale = float((shape * MIDDLE_KM ** (shape - 1) / at_middle) ** (1 / shape))
        truth = Truth(shape=shape, scale_km=scale, parts=parts, duties=duties)
        if truth.survival(np.array([50_000.0]), max(parts) * max(duties))[0] > LEAST_SOUND:
            return truth


def one_drawn(seed: int, bikes: int) -> Held:
    """As ``one_plain``, each fleet with a truth of its own."""
    return one_plain(seed, (bikes, 1, drawn_truth(seed), 0.0))


def mixed_survival(fleet: WearingFleet, age_km: np.ndarray) -> np.ndarray:
    """Survival by age over the parts, duties and riding of all lives, gamma frailty integrated out."""
    wear, ratio = fleet.wear, true_ratio(fleet)
    hazard = wear.cumulative(age_km)[:, None] * ratio
    worn = (1 + hazard / wear.frailty_shape) ** -wear.frailty_shape
    early = wear.early_share * wear.early_survival(age_km)
    return (1 - wear.early_share) * worn.mean(axis=1) + early


def one_wearing(seed: int, setting: tuple[int, World]) -> Held:
    """The same in a fleet that roughens; a sensor's true chance is the informed ceiling's."""
    fleet = simulate_wearing_fleet(setting[0], seed, setting[1])
    results = fit_and_score(
        fleet.windows,
        fleet.sensors_now,
        wear_readings=fleet.wear_readings,
        contact_gaps=fleet.contact_gaps,
        seed=seed,
    )
    risk, chance = results.defect_risk, informed_chances(fleet)["defect_5000_km"].to_numpy()
    held = (risk["defect_5000_km_low"] <= chance) & (chance <= risk["defect_5000_km_high"])
    survival = partial(mixed_survival, fleet)
    lives = _lives_held(results, fleet.windows, _true_lives(survival))
    held_by_age = _interval_holds(results, survival(CURVE_AGES_KM))
    return Held(held_by_age, float(held.mean()), results.summary["n_defects"], lives)


def _covered(work: Callable[[int], Held], name: str, seeds: range, workers: Workers) -> None:
    start = time.perf_counter()
    found = LongWork(workers, bars=True).shared(name, "fleet", work, seeds)
    taken = (time.perf_counter() - start) / len(seeds)
    shares = np.mean([f.curve for f in found], axis=0)
    curve = " ".join(f"{share:.3f}" for share in shares)
    sensors = np.mean([f.sensors for f in found])
    defects = np.mean([f.defects for f in found])
    lives = np.array([f.lives for f in found])
    held, told = np.nansum(lives, axis=0), np.isfinite(lives).sum(axis=0)
    of_lives = ", ".join(f"{h / max(n, 1):.3f} of {n}" for h, n in zip(held, told, strict=True))
    print(
        f"{curve} | {sensors:.3f} | {of_lives} | {name} "
        f"({defects:.0f} defects; {taken:.2f} s a fleet)",
        flush=True,
    )


def coverage(fleets: int, first_seed: int, *, workers: Workers, which: str, only: str) -> None:
    """Print the shares, for each kind of fleet whose name holds the text ``only``."""
    noise = np.sqrt(0.9 * 0.1 / fleets)
    print(f"Share of {fleets} fleets in which the 90 % interval holds the truth (± {noise:.3f})")
    print(
        "curve at "
        + ", ".join(f"{a:,.0f}" for a in CURVE_AGES_KM)
        + " km | sensors, 5,000 km | B10, B50 life"
    )
    seeds = range(first_seed, first_seed + fleets)
    kinds = {name: partial(one_plain, fleet=fleet) for name, fleet in FLEETS.items()}
    kinds |= {name: partial(one_drawn, bikes=bikes) for name, bikes in DRAWN.items()}
    wearing = {name: partial(one_wearing, setting=fleet) for name, fleet in WEARING.items()}
    kinds = {"plain": kinds, "wearing": wearing, "all": kinds | wearing}[which]
    for name, work in kinds.items():
        if only in name:
            _covered(work, name, seeds, workers)


def contact(fleets: int, first_seed: int) -> None:
    """The delay left as assumed below 30 road failures, and learned always."""
    for fewest in (30, 0):
        print(f"delay learned from {fewest} road failures on: ", end="", flush=True)
        _one_contact(fleets, first_seed, DefectHazard(fewest_road_failures=fewest))


def _one_contact(fleets: int, first_seed: int, model: DefectHazard) -> None:
    """Fleets read to this day, defects heard of late: the curve's coverage, expected and true."""
    held, sums = [], []
    true = np.exp(-((CURVE_AGES_KM / 60_000) ** 2))
    for seed in range(first_seed, first_seed + fleets):
        windows, now = with_contact(160, seed)
        results = fit_and_score(windows, now, sensitivity=SURE, seed=seed, model=model)
        risk = results.defect_risk
        held.append(_interval_holds(results, true))
        silent = risk["defect_now_if_silent"].sum()
        sums.append((now["truly_defective"].sum(), risk["defect_now"].sum(), silent))
    shares = " ".join(f"{share:.3f}" for share in np.mean(held, axis=0))
    seen, expected, silent = np.sum(sums, axis=0)
    print(f"curve {shares} | defects now: observed / predicted {seen / expected:.3f}, ", end="")
    print(f"were they silent {seen / silent:.3f}")
