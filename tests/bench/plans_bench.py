"""How fast other costs are weighed, and whether what costs least does in simulated shops.

``python -m tests.bench.plans_bench speed`` weighs 11,000 made-up sensors in 20 shops and parts anew,
six times, and prints seconds of processor time; ``speed --home FOLDER`` does so for a published
home, as its page of costs does. ``year`` follows four ways of looking after simulated sensors
on the same lives, with 90 % intervals over the seeds. Tuned on seeds 0 to 99, told on 1000 and up.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from models.plans.actions import advised_actions, settled_cases
from models.plans.belief import belief_after_pass, riding_step
from models.plans.cheapest import cheapest, weigh
from models.plans.costs import Prices, prices_of
from models.plans.need import part_need
from models.plans.new_life import AGES_KM, new_life
from models.plans.outlook import Outlook
from models.plans.planned_work import planned_work
from models.plans.policy import KM_AHEAD, alternatives
from models.plans.schemas import EVIDENCE
from models.plans.settings import PlanSettings
from models.stock import schemas as stock
from models.stock.needs import SensorNeeds
from models.stock.plan import StockRecords, orders_today
from models.stock.settings import StockSettings
from models.stock.walk_in import walk_in_rates
from pipeline.access.what_if import advice_if, orders_if, weigh_anew, what_if_base
from pipeline.asker import whoever_is_here
from pipeline.home import Home
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import Workers, add_worker_flags, chosen_workers
from tests.models.plans.outlooks import RATE, SCALE_KM, SHAPE, TEST, outlook

FIRST_SCORING_SEED = 1000
ROAD_SHARE, PART = 0.6, 120.0
#: Of the made-up sensors, by shop and by part.
SHOP_SHARES, PART_SHARES = (0.4, 0.3, 0.2, 0.1), (0.38, 0.25, 0.2, 0.12, 0.05)
#: Points of 500 km: all that are run, and how many of them go by before anything is counted.
STEP_KM, STEPS, UNCOUNTED = 500.0, 1_000, 400


def speed(n: int) -> None:
    """Processor time to weigh n made-up sensors anew, part by part, another cost each time."""
    rng = np.random.default_rng(0)
    view = outlook(rng.uniform(0, 110_000, n), belief=rng.beta(0.5, 2.5, n), fits=11)
    view.sensors["new_hazard_ratio"] = rng.lognormal(0, 0.4, n)
    # 4 shops and 5 parts, some asked for much and some little
    shop, part = (rng.choice(len(share), n, p=share) for share in (SHOP_SHARES, PART_SHARES))
    view.sensors["part_cost"] = np.array([96.0, 109.0, 131.0, 150.0, 214.0])[part]
    view.sensors["shop_id"] = pd.Series(shop).map("shop {}".format)
    view.sensors["part_no"] = pd.Series(part).map("P{}".format)
    evidence = EVIDENCE.empty().reindex(range(n)).assign(sensor_id=view.sensors["sensor_id"])
    evidence = EVIDENCE.check(evidence.assign(unit_id="u", part_no="p", last_verdict="pass"))
    cases = settled_cases(evidence)
    parts = [
        _weighed_anew(view, cases, PlanSettings(labour_cost_per_hour=70.0 + turn))
        for turn in range(6)
    ]
    _say(parts)


def speed_of_home(folder: Path) -> None:
    """The same of a published home, as its page of costs does it."""
    base = what_if_base(Home(folder), whoever_is_here())
    parts = []
    for turn in range(6):
        seconds: dict[str, float] = {}
        values = replace(base.built_with, labour_cost_per_hour=70.0 + turn)
        anew = _timed(seconds, "weighed, and the advice", weigh_anew, base, values)
        _timed(seconds, "advice beside the build's", advice_if, base, anew)
        _timed(seconds, "orders today", orders_if, base, anew)
        parts.append(seconds)
    print(f"{len(base.rows):,} sensors in service")
    _say_needs(anew.orders)
    _say(parts)


def _say_needs(orders: pd.DataFrame) -> None:
    print(
        f"{len(orders)} shops and parts, of up to {orders['n_sensors'].max():,} sensors and "
        f"{orders['need'].max():.0f} parts needed"
    )


def _say(parts: list[dict[str, float]]) -> None:
    print("seconds of processor time: as the page opens | once a setting is changed, of five")
    for name in [*parts[0], "all of it"]:
        first, *later = (sum(p.values()) if name == "all of it" else p[name] for p in parts)
        print(f"{name:26s} {first:6.3f} | median {np.median(later):6.3f}, least {min(later):6.3f}")


def _weighed_anew(view: Outlook, cases: pd.DataFrame, settings: PlanSettings) -> dict[str, float]:
    """Seconds of each part of a weighing anew."""
    seconds: dict[str, float] = {}
    weighed = _timed(seconds, "cost of every alternative", weigh, view, settings)
    costs = _timed(seconds, "what costs least", cheapest, view, weighed, settings)
    action = _timed(seconds, "advice", advised_actions, cases, costs, settings)
    work = planned_work(costs, action)
    need = _timed(seconds, "parts asked for, 11 fits", part_need, view, work)
    records, allowed = _stock_records(view, need), stock.TRANSFERS_ALLOWED.empty()
    today = _timed(seconds, "orders today", orders_today, records, StockSettings(), allowed)
    if settings.labour_cost_per_hour == PlanSettings.labour_cost_per_hour:
        _say_needs(today.orders)
    return seconds


def _timed(seconds: dict[str, float], what: str, call, *of):
    start = time.process_time()
    result = call(*of)
    seconds[what] = time.process_time() - start
    return result


def _stock_records(view: Outlook, need: np.ndarray) -> StockRecords:
    """Nothing on the shelf."""
    sensors = view.sensors[["sensor_id", "unit_id", "shop_id", "part_no"]]
    parts = pd.DataFrame({"part_no": [f"P{k}" for k in range(5)], "unit_price": 120.0})
    days = view.days[view.days > 0].astype(float)
    return StockRecords(
        SensorNeeds(sensors, days, need[:, 1:, view.days > 0], stock.LEFT_OUT.empty()),
        stock.SENSOR_PLACES.empty(),
        stock.PARTS_SUPPLY.check(parts.reindex(columns=stock.PARTS_SUPPLY.names)),
        stock.FITMENTS.empty(),
        stock.STOCK_COUNTS.empty(),
        walk_in_rates(stock.FIRST_VISITS.empty()),
        0.0,
        date(2026, 11, 1),
    )


class World:
    """Lives of sensors one after another on each bike, and what each way of looking after costs."""

    def __init__(self, seed: int, bikes: int = 300, frailty_sd: float = 0.0):
        rng = np.random.default_rng(seed)
        self.frail = np.exp(frailty_sd * rng.standard_normal(bikes) - frailty_sd**2 / 2)
        self.uniform = rng.random((bikes, STEPS, 3))
        self.price = prices_of(np.full(1, PART), ROAD_SHARE, PlanSettings())
        hazard = ((np.arange(STEPS + 1) * STEP_KM) / SCALE_KM) ** SHAPE
        self.onset = -np.expm1(-np.diff(hazard))

    def run(self, choose) -> tuple[float, float]:
        """Cost and defects heard of per 100,000 km under ``choose(age, belief, since)``."""
        n = len(self.frail)
        age, since = np.zeros(n, int), np.zeros(n, int)
        belief, defect = np.zeros(n), np.zeros(n, bool)
        cost = heard = 0.0
        for k in range(STEPS):
            if k == UNCOUNTED:
                cost = heard = 0.0
            action = choose(age, belief, since, defect)
            tested = (action == 1) & (age > 0)
            found = tested & np.where(
                defect,
                self.uniform[:, k, 2] < TEST.sensitivity,
                self.uniform[:, k, 2] < TEST.false_alarm,
            )
            replaced = (action == 2) & (age > 0)
            cost += tested.sum() * self.price.test[0] + replaced.sum() * self.price.replace[0]
            cost += (found & defect).sum() * self.price.found[0]
            cost += (found & ~defect).sum() * self.price.false_alarm[0]
            passed = tested & ~found
            belief = np.where(passed, belief_after_pass(belief, TEST), belief)
            since = np.where(passed, 0, since)
            new = found | replaced
            age, belief, since = (np.where(new, 0, x) for x in (age, belief, since))
            defect &= ~new
            chance = -np.expm1(np.log1p(-self.onset[np.minimum(age, STEPS - 1)]) * self.frail)
            begins = ~defect & (self.uniform[:, k, 0] < chance)
            ran = np.where(begins, self.uniform[:, k, 0] / np.maximum(chance, 1e-12), 1.0)
            at_risk = defect | begins
            word = at_risk & (self.uniform[:, k, 1] < -np.expm1(-RATE * STEP_KM * ran))
            cost += word.sum() * self.price.heard[0]
            heard += word.sum()
            step = riding_step(self.onset[np.minimum(age, STEPS - 1)], STEP_KM, RATE)
            belief = np.where(word, 0.0, step.onwards(belief))
            defect = at_risk & ~word
            age, since = np.where(word, 0, age + 1), np.where(word, 0, since + 1)
        scale = 1e5 / (n * (STEPS - UNCOUNTED) * STEP_KM)
        return cost * scale, heard * scale


def ways() -> dict:
    """Ways of looking after a sensor: what to do given age, belief and steps since a pass."""
    price = prices_of(np.full(1, PART), ROAD_SHARE, PlanSettings())
    life = new_life(((AGES_KM / SCALE_KM) ** SHAPE)[None], price, TEST, RATE, n_beliefs=33)
    usual = price._replace(usual_per_km=life.cost_per_km)
    ages = np.arange(STEPS) * STEP_KM
    hazard = ((ages[:, None] + KM_AHEAD) / SCALE_KM) ** SHAPE
    each = Prices(*(np.repeat(part, STEPS) for part in usual))
    limit = alternatives(
        np.zeros(STEPS), -np.expm1(-np.diff(hazard, axis=1)), each, TEST, RATE, n_beliefs=65
    )

    def ours(age, belief, since, defect):
        act = belief >= np.nan_to_num(limit.test_above[age], nan=2.0)
        replace = belief >= np.nan_to_num(limit.replace_above[age], nan=2.0)
        return np.where(act, np.where(replace, 2, 1), 0)

    def every(km):
        steps = round(km / STEP_KM)
        return lambda age, belief, since, defect: np.where(since >= steps, 1, 0)

    def at_age(km):
        return lambda age, belief, since, defect: np.where(age * STEP_KM >= km, 2, 0)

    def told(age, belief, since, defect):
        return np.where(defect, 2, 0)

    fixed = {f"tested every {km:,} km": every(km) for km in (5_000, 10_000, 20_000)}
    aged = {f"replaced at {km:,} km": at_age(km) for km in (30_000, 50_000, 70_000)}
    print(f"foretold long-run cost: {1e5 * life.cost_per_km[0]:.1f} a 100,000 km")
    return {
        "what costs least": ours,
        "left until heard of": every(10**9),
        **fixed,
        **aged,
        "told of each defect": told,
    }


def one_year(choose: Callable, frailty: float, seed: int) -> tuple[float, float]:
    """Cost and defects heard of, of one way in one world."""
    return World(seed, frailty_sd=frailty).run(choose)


def year(seeds: int, first: int, workers: Workers) -> None:
    """Cost and defects heard of per 100,000 km of each way, right and with frailty nobody knows."""
    for frailty in (0.0, 0.8):
        print(f"frailty {frailty}: cost, defects heard of a 100,000 km (90 % interval of the mean)")
        for name, choose in ways().items():
            work = partial(one_year, choose, frailty)
            shared = LongWork(workers, bars=True).shared
            rows = np.array(shared(name, "world", work, range(first, first + seeds)))
            half = 1.645 * rows.std(axis=0, ddof=1) / np.sqrt(seeds)
            (cost, heard), (dc, dh) = rows.mean(axis=0), half
            print(f"  {name:26s} {cost:7.1f} +- {dc:4.1f}   {heard:6.3f} +- {dh:5.3f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("part", choices=["speed", "year"])
    parser.add_argument("--home", type=Path)
    parser.add_argument("--sensors", type=int, default=11_000)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--first", type=int, default=FIRST_SCORING_SEED)
    add_worker_flags(parser)
    chosen = parser.parse_args()
    if chosen.part == "speed":
        if chosen.home is None:
            speed(chosen.sensors)
        else:
            speed_of_home(chosen.home)
    else:
        year(chosen.seeds, chosen.first, chosen_workers(chosen))
