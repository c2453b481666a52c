"""Skill of ours and of rivals between a mileage-only curve and the informed ceiling.

Scored by truth on every sensor in service: whether it has the defect now, and whether it has it or
gets it within 5,000 km. skill = (LL_base - LL) / (LL_base - LL_informed), LL the log loss over all
seeds; 0 is the mileage-only curve, 1 the ceiling (``tests.bench.risk_ceiling``).
"""

from __future__ import annotations

import inspect
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
from scipy.special import xlogy

from models.risk.backtest import mileage_curve_chances, skill
from models.risk.score import fit_and_score
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import ONE, Workers
from tests.bench.risk_ceiling import informed_chances
from tests.bench.risk_rivals import EVENTS, Chances, rivals
from tests.models.risk.wearing_fleet import WearingFleet, simulate_wearing_fleet
from tests.models.risk.wearing_world import CLARITY, CURVES, SYMPTOMS, World

#: Seeds 0 to 99 are for tuning; scores are taken on these and never looked at before. Those from
#: 1,000 to 1,009 have been seen.
FIRST_SCORING_SEED = 1_100
#: Fleets of a size that are scored: small ones say little each.
SEEDS = {160: 60, 1_000: 20, 5_000: 10}
WORLDS = {
    f"{curve}, {readings} readings": World(curve, readings)
    for curve in CURVES
    for readings in CLARITY
} | {
    "half the tests follow symptoms": SYMPTOMS,
    # the informed ceiling is not told of the season
    "seasonal": World(season=0.5),
    "dated, no season": World(season=0.0),
}
INFORMED, BASE, OURS = "informed ceiling", "mileage only", "ours"
BLIND, BLIND_INFORMED = "ours, no readings", "informed, no readings"
_TRUTH = {"defect_now": "truly_defective", "defect_5000_km": "truly_within_5000"}
#: Chances are held within these in the log loss of every one, so that none is lost by one miss.
_LEAST = 1e-4


def ours(fleet: WearingFleet, *, use_readings: bool = True, n_resamples: int = 0) -> Chances:
    """``fit_and_score`` as the pipeline calls it, by default without the draws behind intervals."""
    readings = {"wear_readings": fleet.wear_readings} if use_readings else {}
    if not readings.keys() <= inspect.signature(fit_and_score).parameters.keys():
        readings = {}
    results = fit_and_score(
        fleet.windows,
        fleet.sensors_now,
        contact_gaps=fleet.contact_gaps,
        n_resamples=n_resamples,
        **readings,
    )
    return _chosen(results.defect_risk)


def mileage_only(fleet: WearingFleet) -> Chances:
    """One curve of age; a defect not yet found has come within 0.7 of a window before today.

    The 0.7 makes it come out about right in sum on tuning seeds: half a window said too little.
    """
    windows = fleet.windows
    lasts = 0.7 * float((windows["bad_km"] - windows["good_km"]).mean())
    lasts = 3_500.0 if np.isnan(lasts) else lasts
    age = fleet.sensors_now["age_now_km"].to_numpy(float)
    start = np.maximum(age - lasts, 0.0)
    table = np.linspace(0.0, age.max() + max(EVENTS.values()) + 1, 2_000)
    hazard = -np.log1p(-mileage_curve_chances(windows, np.zeros(len(table)), table))

    def until(asked: np.ndarray) -> np.ndarray:
        return np.interp(asked, table, hazard)

    return {name: -np.expm1(until(start) - until(age + k)) for name, k in EVENTS.items()}


def _chosen(frame: pd.DataFrame) -> Chances:
    return {name: frame[name].to_numpy(float) for name in EVENTS}


def _informed(fleet: WearingFleet, *, use_readings: bool = True) -> Chances:
    return _chosen(informed_chances(fleet, use_readings=use_readings))


def forecasters(*, with_rivals: bool) -> dict[str, Callable[[WearingFleet], Chances]]:
    """All that are scored, by name."""
    all_of_them = {
        INFORMED: _informed,
        BLIND_INFORMED: partial(_informed, use_readings=False),
        BASE: mileage_only,
        OURS: ours,
        BLIND: partial(ours, use_readings=False),
    }
    return all_of_them | (rivals() if with_rivals else {})


def one_seed(seed: int, *, bikes: int, world: World, with_rivals: bool) -> pd.DataFrame:
    """Chances and truth of one fleet: a row for each forecaster, event and sensor."""
    fleet = simulate_wearing_fleet(bikes, seed, world)
    parts = []
    for who, forecast in forecasters(with_rivals=with_rivals).items():
        start = time.perf_counter()
        try:
            chances = forecast(fleet)
        except Exception as error:  # a rival that fails on a fleet is told, and scored as the base
            print(f"{who} failed on seed {seed}: {type(error).__name__}: {error}", flush=True)
            chances = mileage_only(fleet)
        seconds = time.perf_counter() - start
        for event, chance in chances.items():
            truth = fleet.sensors_now[_TRUTH[event]].to_numpy(bool)
            columns = {"who": who, "event": event, "seed": seed, "seconds": seconds}
            parts.append(pd.DataFrame({"chance": chance, "truth": truth}).assign(**columns))
    return pd.concat(parts, ignore_index=True)


def scored(
    world: World,
    bikes: int,
    seeds: Sequence[int],
    *,
    with_rivals: bool,
    workers: Workers = ONE,
) -> pd.DataFrame:
    """``one_seed`` over all seeds."""
    work = partial(one_seed, bikes=bikes, world=world, with_rivals=with_rivals)
    shared = LongWork(workers, bars=True).shared
    return pd.concat(shared(f"{bikes} bikes", "fleet", work, seeds), ignore_index=True)


def table(scores: pd.DataFrame, event: str) -> pd.DataFrame:
    """One row for each forecaster.

    ``skill`` and its standard error over seeds (jackknife); ``top`` : share of the defects in the
    first tenth of each fleet's list, against the ceiling's; ``slope``, ``observed`` : calibration
    slope and observed over predicted, less the ceiling's; ``worse`` : log loss above ours, in
    standard errors over seeds, below -2 for one that beats ours.
    """
    some = scores[scores["event"] == event]
    loss = some.assign(loss=_losses(some)).pivot_table(
        index="seed", columns="who", values="loss", aggfunc="sum"
    )
    rows = [_row(who, part, loss) for who, part in some.groupby("who", sort=False)]
    result = pd.DataFrame(rows)
    of = result.set_index("who").loc[INFORMED]
    return result.assign(
        top=result["top"] / of["top"],
        slope_off=result["slope"] - of["slope"],
        observed_off=result["observed"] - of["observed"],
    )


def _losses(scores: pd.DataFrame) -> pd.Series:
    p, y = scores["chance"].clip(_LEAST, 1 - _LEAST), scores["truth"].astype(float)
    return -(xlogy(y, p) + xlogy(1 - y, 1 - p))


def _row(who: str, part: pd.DataFrame, loss: pd.DataFrame) -> dict[str, float | str]:
    one = skill(who, part["truth"], part["chance"], part["seed"].to_numpy())
    share, spread = _skill(loss, who)
    apart = loss[who] - loss[OURS]
    noise = apart.std(ddof=1) / np.sqrt(len(apart)) if len(apart) > 1 else np.nan
    return {
        "who": who,
        "skill": share,
        "se": spread,
        "top": one.top_tenth_share,
        "slope": one.slope,
        "observed": one.found_over_expected,
        "log_loss": one.log_loss,
        "worse": apart.mean() / noise if who != OURS else 0.0,
        "seconds": part.groupby("seed")["seconds"].first().mean(),
    }


def _skill(loss: pd.DataFrame, who: str) -> tuple[float, float]:
    gain, most = loss[BASE] - loss[who], loss[BASE] - loss[INFORMED]
    n = len(gain)
    without = (gain.sum() - gain) / (most.sum() - most)
    spread = np.sqrt((n - 1) / n * ((without - without.mean()) ** 2).sum()) if n > 1 else np.nan
    return float(gain.sum() / most.sum()), float(spread)


def printed(result: pd.DataFrame) -> str:
    """The table as text."""
    head = f"{'':30} skill    se    top  slope (off)      obs/pred (off)   log loss  worse    s"
    lines = [
        f"{r.who:30} {r.skill:5.3f} {r.se:5.3f}  {r.top:5.3f}  {r.slope:5.3f} ({r.slope_off:+.3f})"
        f"   {r.observed:5.3f} ({r.observed_off:+.3f})   {r.log_loss:.5f}  {r.worse:+5.1f}  {r.seconds:5.1f}"
        for r in result.itertuples()
    ]
    return "\n".join([head, *lines])


def skills(
    worlds: Iterable[str],
    sizes: Iterable[int],
    seeds: int | None,
    *,
    with_rivals: bool,
    workers: Workers,
) -> None:
    """Print the tables of each setting and size."""
    for bikes in sizes:
        for name in worlds:
            count = seeds or SEEDS.get(bikes, 10)
            chosen = range(FIRST_SCORING_SEED, FIRST_SCORING_SEED + count)
            start = time.perf_counter()
            scores = scored(WORLDS[name], bikes, chosen, with_rivals=with_rivals, workers=workers)
            taken = time.perf_counter() - start
            for event, truth in _TRUTH.items():
                share = scores.loc[scores["event"] == event, "truth"].mean()
                print(f"\n{bikes} bikes, {name}: {event}, {truth} in {share:.3f}; {count} fleets")
                print(printed(table(scores, event)), flush=True)
            print(f"({taken:.0f} s)", flush=True)


def symptoms(bikes: int, seeds: int, *, workers: Workers) -> None:
    """What half the tests following symptoms does to the bias: with such tests, and without."""
    chosen = range(FIRST_SCORING_SEED, FIRST_SCORING_SEED + seeds)
    print(f"Observed / predicted, {seeds} fleets of {bikes} bikes")
    unfelt = replace(SYMPTOMS, wear_complaints_km=np.inf)
    settings = {
        "few tests follow symptoms": World(),
        "half follow symptoms, of the defect or of another cause": replace(
            unfelt, other_km=15_000.0
        ),
        "half follow symptoms, of roughness too": SYMPTOMS,
    }
    for name, world in settings.items():
        fleets = [simulate_wearing_fleet(bikes, seed, world) for seed in chosen[:3]]
        share = np.mean([fleet.wear_readings["prompted"].mean() for fleet in fleets])
        scores = scored(world, bikes, chosen, with_rivals=False, workers=workers)
        print(f"\n{name} ({share:.2f} of the tests)")
        for event in EVENTS:
            print(f"{event}\n{printed(table(scores, event))}", flush=True)
