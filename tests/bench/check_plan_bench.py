"""The check plan on simulated years, against the best plan, and its speed.

``python -m tests.bench.check_plan_bench years`` scores ways of calling bikes in on seeds from 1000
on, in a world as modelled and in two that are not; the rivals' intervals are set on seeds from 0 on
so that they take the bay hours that ours takes. Means over seeds with 90 % intervals (Student's t);
differences and ratios are paired by seed (a ratio's interval by its linear part: Cochran, Sampling
Techniques, 3rd ed. 1977, sec. 6.3, from memory). The ceiling is a policy that knows each defect the
moment it arises. ``--road`` sets the cost of a road failure beside the product's default; it is
named with the figures. ``--workers N`` or ``--cluster ADDRESS`` shares seeds out. ``exact`` takes the
search against branch and bound on random cases, ``speed`` the time for 10,000 sensors. Set
OMP_NUM_THREADS=1. Times are of the processor, not of the clock.
"""

from __future__ import annotations

import argparse
import time
from datetime import date
from functools import partial

import numpy as np
import pandas as pd
from scipy.stats import t as student

from models.check_plan.exact import best_plan
from models.check_plan.plan import CheckRecords, plan_checks
from models.check_plan.schemas import CHECK_COMING, CHECK_OWED
from models.check_plan.search import good_plan
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import Workers, add_worker_flags, chosen_workers
from tests.bench import check_plan_world as w
from tests.bench.check_plan_policies import FixedInterval, FixedReplacement, Never, Ours, Perfect
from tests.models.check_plan.random_cases import any_case

MEASURES = ("cost", "road", "complaints", "tests", "replaced", "hours")


RIVALS = {
    "test every so many days": partial(FixedInterval, by="days"),
    "test every so many km": partial(FixedInterval, by="km"),
    "replace at a set age": FixedReplacement,
}


def years(seeds: int, tuning: int, worlds: list[str], workers: Workers) -> None:
    """Each way of calling bikes in, per bike and year."""
    for name, of in ((name, w.WORLDS[name]) for name in worlds):
        tuned = [w.make_world(seed, *of) for seed in range(tuning)]
        hours = np.mean([w.run(world, Ours(world))["hours"] for world in tuned])
        every = {
            rival: _interval(make, tuned, hours, 5_000 if "days" not in rival else 20)
            for rival, make in RIVALS.items()
        }
        work = partial(_all_ways, of=of, every=every, road=w.COST["road"])
        shared = LongWork(workers, bars=True).shared
        each = shared(name, "seed", work, range(1_000, 1_000 + seeds))
        found = {way: [one[way] for one in each] for way in each[0]}
        fleet_years = seeds * w.YEARS
        costs = ", ".join(f"{what} {cost:.0f}" for what, cost in w.COST.items())
        print(
            f"\n{name}: {fleet_years} fleet-years of {w.N_BIKES} bikes, per bike-year", flush=True
        )
        print(f"  costs: {costs}; a test takes {w.TEST_HOURS} h, a replacement {w.REPLACE_HOURS} h")
        _print(found, every)


def _all_ways(seed: int, of: tuple, every: dict[str, float], road: float) -> dict[str, dict]:
    """What each way of calling bikes in comes to in the world of a seed."""
    w.COST["road"] = road  # another process does not know what was asked for
    world = w.make_world(seed, *of)
    ways = {"ours": Ours(world), "no checks": Never(), "perfect": Perfect()}
    ways |= {rival: make(every[rival]) for rival, make in RIVALS.items()}
    return {way: w.run(world, policy) for way, policy in ways.items()}


def _interval(make: object, worlds: list, hours: float, least: float) -> float:
    """The interval at which a rival takes the hours given, on the tuning seeds."""
    low, high = np.log(least), np.log(least * 200)
    for _ in range(12):
        middle = (low + high) / 2
        taken = np.mean([w.run(world, make(np.exp(middle)))["hours"] for world in worlds])
        low, high = (middle, high) if taken > hours else (low, middle)
    return float(np.exp((low + high) / 2))


def _print(found: dict, every: dict) -> None:
    frames = {way: pd.DataFrame(rows) for way, rows in found.items()}
    ours, none, ceiling = (frames[way] for way in ("ours", "no checks", "perfect"))
    for way, frame in frames.items():
        words = ", ".join(f"{m} {_mean(frame[m])}" for m in MEASURES)
        print(f"  {way}{f' ({every[way]:.0f})' if way in every else ''}: {words}")
        if way in ("no checks", "perfect"):
            continue
        near = _ratio(none["road"] - frame["road"], none["road"] - ceiling["road"])
        print(f"    spares {near} of the road failures that perfect knowledge spares")
        if way != "ours":
            cost, road = (_mean(frame[m] - ours[m]) for m in ("cost", "road"))
            fewer = _ratio(frame["road"] - ours["road"], frame["road"])
            most = _ratio(frame["road"] - ceiling["road"], frame["road"])
            print(f"    less ours: cost {cost}, road {road}")
            print(f"    ours has {fewer} fewer road failures than this, perfect knowledge {most}")
    hours = 365 / 7 * 5 * w.CHECK_HOURS_A_DAY * w.N_SHOPS / w.N_BIKES
    print(f"  ours takes {_ratio(ours['hours'], ours['hours'] * 0 + hours)} of the hours there are")


def _ratio(over: pd.Series, under: pd.Series) -> str:
    """One mean over another, in percent, with its 90 % interval."""
    ratio = over.mean() / under.mean()
    half = student.ppf(0.95, len(over) - 1) * (over - ratio * under).std(ddof=1)
    return f"{ratio:.0%} ± {half / np.sqrt(len(over)) / abs(under.mean()):.0%}"


def _mean(values: pd.Series) -> str:
    half = student.ppf(0.95, len(values) - 1) * values.std(ddof=1) / np.sqrt(len(values))
    return f"{values.mean():.3f} ± {half:.3f}"


def exact(cases: int, first: int) -> None:
    """The search against branch and bound: what it saves of the best, case by case."""
    shares, seeds, bounds, seconds = [], [], [], np.zeros(2)
    for seed in range(first, first + cases):
        case = any_case(seed)
        begin = time.process_time()
        best = best_plan(case, gap=1e-4, node_limit=1_500)
        middle = time.process_time()
        near = good_plan(case)
        seconds += middle - begin, time.process_time() - middle
        if best.value > 0 and best.at_most - best.value <= 1e-3 * best.value:
            shares.append(near.value / best.value)
            seeds.append(seed)
            bounds.append(near.at_most / best.value)
    low = np.array(shares)
    worst = ", ".join(f"{seeds[n]} ({low[n]:.4f})" for n in np.argsort(low)[:3])
    print(f"the three worst, by seed: {worst}")
    print(
        f"{len(low)} of {cases} cases proven by branch and bound: the search saves {low.mean():.4f} "
        f"of the best on average, {low.min():.4f} at worst, {(low < 0.98).sum()} below 0.98; "
        f"its own bound {np.mean(bounds):.3f}; {seconds[0]:.0f} s and {seconds[1]:.0f} s"
    )


def speed(sensors: int) -> None:
    """Time of a whole plan, few shops or many, with windows or without."""
    for shops, windows in ((40, True), (10, True), (10, False), (4, True), (1, True)):
        records = _many(sensors, shops, windows=windows)
        begin, clock = time.process_time(), time.perf_counter()
        made = plan_checks(records, date(2026, 10, 31))
        took = time.process_time() - begin, time.perf_counter() - clock
        about = made.about
        gap = about["at_most"].sum() / about["saves"].sum() - 1
        print(
            f"{sensors:,} sensors, {shops} shops, {'windows' if windows else 'any day'}: "
            f"{took[0]:.1f} s of one core ({took[1]:.1f} s by the clock), {len(made.visits):,} visits, "
            f"at most {gap:.1%} from the best"
        )


def _many(n: int, n_shops: int, *, windows: bool, seed: int = 0) -> CheckRecords:
    rng, as_of = np.random.default_rng(seed), pd.Timestamp("2026-10-31")
    n_bikes, grid = int(n / 1.15), np.array([1, 4, 8, 11, 15, 18, 22, 25, 29, 32, 36, 39, 43])
    unit = np.array([f"U-{i:05d}" for i in range(n_bikes)])
    number = rng.integers(0, n_shops, n_bikes)
    shop = np.array([f"S{s:02d}" for s in number])
    fleet = np.array([f"F-{s}-{rng.integers(0, 1 + n_bikes // n_shops // 43)}" for s in number])
    fleet = np.where(rng.random(n_bikes) < 0.7, fleet, None)
    own = np.concatenate([np.arange(n_bikes), rng.integers(0, n_bikes, n - n_bikes)])
    risky = rng.random(n) < 0.08
    level = rng.gamma(0.5, 25, n) - 4 + risky * rng.gamma(2, 60, n)
    slope = np.where(risky, rng.gamma(2, 0.4, n), rng.normal(0, 0.12, n))
    part, g = np.array(["P1", "P2", "P3", "P4"])[rng.integers(0, 4, n)], len(grid)
    replace = risky & (rng.random(n) < 0.5)
    costs = pd.DataFrame(
        {
            "sensor_id": np.repeat([f"S-{i}" for i in range(n)], g),
            "unit_id": np.repeat(unit[own], g),
            "shop_id": np.repeat(shop[own], g),
            "fleet_id": np.repeat(fleet[own], g),
            "part_no": np.repeat(part, g),
            "action": np.repeat(np.where(replace, "replace", "test"), g),
            "day": np.tile(grid, n),
            "cost": (100 - np.minimum(level, 0)[:, None] + slope[:, None] * grid).ravel(),
            "cost_without": np.repeat(100 + np.maximum(level, 0), g),
            "part_needed": np.repeat(np.where(replace, 1.0, 0.1), g),
        }
    )
    spared = rng.integers(0, 4, n_bikes) * (fleet != None) * windows  # noqa: E711
    begin = as_of + pd.to_timedelta(rng.integers(1, 42, spared.sum()), unit="D")
    spans = pd.DataFrame({"unit_id": np.repeat(unit, spared), "free_from": begin})
    spans["free_to"] = begin + pd.to_timedelta(rng.integers(0, 4, len(spans)), unit="D")
    ids, each = [f"S{s:02d}" for s in range(n_shops)], n_bikes / n_shops
    stock = pd.DataFrame(
        [(s, p) for s in ids for p in ("P1", "P2", "P3", "P4")], columns=["shop_id", "part_no"]
    ).assign(counted_on=as_of, on_hand=int(each / 60) + 1, on_order=int(each / 80) + 1)
    due = as_of + pd.to_timedelta(rng.integers(3, 33, len(stock)), unit="D")
    return CheckRecords(
        costs,
        CHECK_OWED.empty(),
        pd.DataFrame({"unit_id": unit, "label": unit, "shop_id": shop, "fleet_id": fleet}).assign(
            last_session_id=None
        ),
        spans,
        pd.DataFrame({"shop_id": ids, "shop_name": ids, "bay_hours_per_day": max(8.0, each / 25)}),
        stock.assign(order_due_on=due, lead_time_days=20.0),
        pd.DataFrame({"part_no": ["P1", "P2"], "replaced_by": ["P2", None]}),
        CHECK_COMING.empty(),
    )


def main() -> None:
    """One of the three."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["years", "exact", "speed"], nargs="?", default="years")
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--tuning", type=int, default=4)
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--first-case", type=int, default=0)
    parser.add_argument("--sensors", type=int, default=10_000)
    parser.add_argument("--worlds", nargs="+", choices=list(w.WORLDS), default=list(w.WORLDS))
    add_worker_flags(parser)
    parser.add_argument("--road", type=float, default=w.COST["road"], help="a road failure's cost")
    asked = parser.parse_args()
    w.COST["road"] = asked.road
    if asked.what == "years":
        years(asked.seeds, asked.tuning, asked.worlds, chosen_workers(asked))
    elif asked.what == "exact":
        exact(asked.cases, asked.first_case)
    else:
        speed(asked.sensors)


if __name__ == "__main__":
    main()
