"""Orders of a simulated year against rules of thumb and forecasts; speed of the exact needs.

``python -m tests.bench.stock_bench year`` tunes the rivals on seeds 0 to 99 and scores all ways of
ordering on seeds from 1000 on: share filled at once against its target, and the year's cost of
holding, missed needs and order lines. ``--tuning 0`` scores ours alone. Each figure is a mean over
seeds with its standard error. A target is a least, and parts are whole: what was promised stands
beside what was filled. ``speed`` takes our distribution against
``scipy.stats.poisson_binom`` within one run, and the time of a whole new decision. Set
OMP_NUM_THREADS=1. Without statsforecast (``pip install statsforecast``) its rows are left out and a
textbook Croston of our own stands for them.
"""

from __future__ import annotations

import argparse
import time
from functools import partial
from itertools import product

import numpy as np
import pandas as pd
from scipy.stats import poisson_binom

from models.stock.plan import orders_today
from models.stock.poisson_binomial import poisson_binomial
from models.stock.schemas import TRANSFERS_ALLOWED
from models.stock.settings import COSTS, StockSettings
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import add_worker_flags, chosen_workers
from tests.bench.stock_rivals import Croston, Ours, ReorderAt, WeeksOfUse, forecaster
from tests.bench.stock_world import HISTORY_WEEKS, WARM_WEEKS, WEEKS, World, simulate
from tests.models.stock.simulated_stock import part, part_need, records

COST = {"shortage_cost": 60.0, "holding_cost_share_per_year": 0.25, "order_cost": 8.0}
BY_COSTS = StockSettings(order_by=COSTS, **COST)
TARGETS = (0.90, 0.95, 0.98)


def run_year(world: World, way: object) -> dict[str, float]:
    """Parts asked for and filled, and the cost of the weeks scored."""
    cells = world.cells
    lead = cells["lead_time_days"].to_numpy()
    price = cells["unit_price"].to_numpy()
    many = len(cells)
    comes = np.zeros((many, 7 * WEEKS + int(lead.max()) + 1), dtype=int)
    first = 7 * HISTORY_WEEKS
    use = world.asked[:, first - 364 : first].sum(axis=1) / 364.0
    on_hand = np.ceil(use * (lead + 7) * 1.5).astype(int) + 1
    waiting = np.zeros(many, dtype=int)
    total = {"asked": 0, "filled": 0, "holding": 0.0, "missed": 0.0, "orders": 0.0}
    for day in range(first, 7 * WEEKS):
        arrived = comes[:, day]
        served = np.minimum(waiting, on_hand + arrived)
        on_hand, waiting = on_hand + arrived - served, waiting - served
        if day % 7 == 0:
            position = on_hand - waiting + comes[:, day + 1 :].sum(axis=1)
            order = way.order(world, day // 7, position)
            comes[np.arange(many), day + lead] += order
        asked = world.asked[:, day]
        filled = np.minimum(asked, on_hand)
        on_hand, waiting = on_hand - filled, waiting + asked - filled
        if day < first + 7 * WARM_WEEKS:
            continue
        total["asked"] += asked.sum()
        total["filled"] += filled.sum()
        total["holding"] += float(on_hand @ price) * COST["holding_cost_share_per_year"] / 365.25
        total["missed"] += COST["shortage_cost"] * (asked - filled).sum()
        total["orders"] += COST["order_cost"] * ((order > 0).sum() if day % 7 == 0 else 0)
    total["cost"] = total["holding"] + total["missed"] + total["orders"]
    total["share"] = total["filled"] / max(total["asked"], 1)
    return total | _promised(way, lead)


def _promised(way: object, lead: np.ndarray) -> dict[str, float]:
    """Share that ours expected to fill in the cycles scored; nothing of the others."""
    filled = asked = 0.0
    begin, end = HISTORY_WEEKS + WARM_WEEKS, WEEKS
    for week, (expected, mean) in getattr(way, "promised", {}).items():
        inside = (begin <= week + lead / 7) & (week + lead / 7 + 1 <= end)
        filled, asked = filled + expected[inside].sum(), asked + mean[inside].sum()
    return {"promised": filled / asked if asked else np.nan}


def rivals() -> dict[str, list]:
    """Constants tried for each kind of rival."""
    shares, spreads = (0.9, 0.95, 0.98, 0.99), (1.0, 1.3, 1.7)
    methods = [m for m in ("CrostonClassic", "CrostonSBA", "TSB") if forecaster(m)] or ["textbook"]
    found = {
        "reorder at k": [
            ReorderAt(k, lot) for k, lot in product(range(3, 15), (3, 4, 5, 6, 8, 10))
        ],
        "times last year's use": [
            WeeksOfUse(times, weeks)
            for times, weeks in product((1.0, 1.3, 1.6, 2.0, 2.5), (2, 4, 6, 8))
        ],
    }
    for method in methods:
        found[f"forecast: {method}"] = [
            Croston(method, share, spread, BY_COSTS) for share, spread in product(shares, spreads)
        ]
    return found


def _costs_of_rivals(size: float, seed: int) -> dict[str, np.ndarray]:
    """Cost of a year with each constant of each kind of rival."""
    world = simulate(seed, size)
    return {
        name: np.array([run_year(world, way)["cost"] for way in ways])
        for name, ways in rivals().items()
    }


def tune(seeds: range, size: float, work: LongWork) -> dict[str, object]:
    """Of each kind of rival the constants that cost least on the seeds."""
    found = work.shared("Tuning", "world", partial(_costs_of_rivals, size), seeds)
    cost = {name: sum(each[name] for each in found) for name in rivals()}
    best = {name: ways[int(np.argmin(cost[name]))] for name, ways in rivals().items()}
    for name, way in best.items():
        print(f"tuned on seeds {seeds.start}-{seeds.stop - 1}: {name}: {way!r}", flush=True)
    return best


def _scores(ways: dict[str, object], size: float, seed: int) -> list[dict]:
    """One row a way, in one world."""
    world = simulate(seed, size)
    return [{"way": name, "seed": seed} | run_year(world, way) for name, way in ways.items()]


def year(tuning: int, scoring: int, size: float, work: LongWork) -> None:
    """Tune the rivals, score all and print."""
    ways = {f"ours, target {t}": Ours(StockSettings(target_filled_share=t)) for t in TARGETS}
    ways["ours, by costs"] = Ours(BY_COSTS)
    if tuning:
        ways |= tune(range(tuning), size, work)
    seeds = range(1000, 1000 + scoring)
    found = work.shared("Scoring", "world", partial(_scores, ways, size), seeds)
    rows = [row for each in found for row in each]
    asked = int(sum(row["asked"] for row in rows) / len(ways))
    print(f"{scoring} seeds from 1000 on, size {size:g}, {asked:,} parts asked for:")
    print(summary(pd.DataFrame(rows)).to_string(), flush=True)


def summary(frame: pd.DataFrame) -> pd.DataFrame:
    """Mean over seeds, ``_se`` its standard error; ``over_ours`` the cost over ours by costs."""
    ours = frame[frame["way"].eq("ours, by costs")].set_index("seed")["cost"]
    frame = frame.assign(over_ours=frame["cost"] / frame["seed"].map(ours))
    columns = ["share", "promised", "cost", "over_ours", "holding", "missed", "orders"]
    groups = frame.groupby("way", sort=False)[columns]
    out = groups.mean().round(4)
    for name in ("share", "cost", "over_ours"):
        out.insert(out.columns.get_loc(name) + 1, f"{name}_se", groups.sem()[name].round(4))
    return out


def speed(sensors: int = 10_000, groups: int = 20, draws: int = 10) -> None:
    """Seconds for the needs of 10,000 sensors, against scipy's, best of three each."""
    rng = np.random.default_rng(0)
    group, chances = rng.integers(0, groups, sensors), rng.beta(0.4, 8.0, (sensors, draws, 2))
    ours = _best(lambda: poisson_binomial(chances, group, groups))
    size = poisson_binomial(chances, group, groups).pmf.shape[-1]

    def by_scipy() -> None:
        for g, d, h in product(range(groups), range(draws), range(2)):
            poisson_binom.pmf(np.arange(size), chances[group == g, d, h])

    theirs = _best(by_scipy)
    print(
        f"{sensors:,} sensors, {groups} groups, {draws} draws, 2 horizons, {size} counts: "
        f"ours {ours:.3f} s, scipy.stats.poisson_binom {theirs:.3f} s, ratio {theirs / ours:.1f}"
    )


def decision(sensors: int = 10_000, groups: int = 20, draws: int = 10) -> None:
    """Seconds for all orders anew, as when a target or a cost is changed, best of three."""
    rng = np.random.default_rng(1)
    place = rng.integers(0, groups, sensors)
    shops, parts = [f"s{p // 5}" for p in place], [f"P{p % 5}" for p in place]
    need = part_need(shops, parts, rng.gamma(0.5, 0.6, sensors), draws=draws, spread=0.15)
    found = records(need, parts=[part(f"P{i}", lead_time_days=12 + 7 * i) for i in range(5)])
    seconds = _best(lambda: orders_today(found, StockSettings(), TRANSFERS_ALLOWED.empty()))
    print(
        f"{sensors:,} sensors, {groups} shops and parts, {draws} draws: orders in {seconds:.2f} s"
    )


def _best(work: object, times: int = 3) -> float:
    found = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return min(found)


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parts = parser.add_subparsers(dest="what", required=True)
    one = parts.add_parser("year")
    one.add_argument("--tuning", type=int, default=100)
    one.add_argument("--scoring", type=int, default=200)
    one.add_argument("--size", type=float, default=1.0, help="sensors, as a multiple")
    add_worker_flags(one)
    parts.add_parser("speed")
    chosen = parser.parse_args()
    if chosen.what == "year":
        work = LongWork(chosen_workers(chosen), bars=True)
        year(chosen.tuning, chosen.scoring, chosen.size, work)
    else:
        speed()
        decision()


if __name__ == "__main__":
    main()
