"""Ways of calling bikes in: ours, at fixed intervals, never, and with perfect knowledge."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from models.check_plan.plan import CheckRecords, plan_checks
from models.check_plan.schemas import CHECK_OWED, CHECK_PARTS, CHECK_STOCK
from models.check_plan.settings import CheckSettings
from models.plans.belief import Test, belief_after_pass, riding_step
from models.plans.check_costs import CHECK_DAYS
from models.plans.costs import Prices
from models.plans.new_life import AGES_KM, new_life
from models.plans.policy import KM_AHEAD, alternatives, at_km
from tests.bench import check_plan_world as w

_START = date(2024, 1, 1)  # a Monday, as day 0 of the world is
REPLAN_DAYS = 14


class Never:
    """No checks."""

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        return []

    def seen(self, bike: int, *, replaced: bool) -> None:
        """Nothing to learn."""


class FixedInterval(Never):
    """A test whenever a bike is due by days, or by km, and free; the longest overdue first."""

    def __init__(self, every: float, *, by: str = "km") -> None:
        self.every, self.by = every, by

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        over = (fleet.since_days if self.by == "days" else fleet.since_km) / self.every
        due = np.flatnonzero(over >= 1)
        due = due[np.argsort(-over[due], kind="stable")]
        return [(bike, "test") for bike in w.within_hours(fleet, due, w.TEST_HOURS)]


class FixedReplacement(FixedInterval):
    """A new sensor whenever a bike's has run a set distance and it is free."""

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        due = np.flatnonzero(fleet.age >= self.every)
        due = due[np.argsort(-fleet.age[due], kind="stable")]
        return [(bike, "replace") for bike in w.within_hours(fleet, due, w.REPLACE_HOURS)]


class Perfect(Never):
    """Knows each defect the moment it arises: the bike is called in on its next free day."""

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        sick = np.flatnonzero(np.isfinite(fleet.sick_km))
        sick = sick[np.argsort(-fleet.sick_km[sick], kind="stable")]
        return [(bike, "replace") for bike in w.within_hours(fleet, sick, w.REPLACE_HOURS)]


class Ours(Never):
    """The product's own: chances, costs of each day and the plan of checks, anew each fortnight."""

    def __init__(self, world: w.World) -> None:
        self.world, n = world, w.N_BIKES
        self.test = Test(w.SENSITIVITY, w.FALSE_ALARM)
        one = np.ones(n)
        word = w.ROAD_SHARE * w.COST["road"] + (1 - w.ROAD_SHARE) * w.COST["complaint"]
        prices = Prices(
            test=w.COST["hour"] * w.TEST_HOURS * one,
            replace=w.FITTED * one,
            found=w.FITTED * one,
            false_alarm=w.FITTED * one,
            heard=(w.FITTED + word) * one,
            usual_per_km=0 * one,
        )
        life = new_life(
            w.hazard(AGES_KM)[None, :], prices.take(slice(0, 1)), self.test, w.HEARD_PER_KM
        )
        self.prices = prices._replace(usual_per_km=life.cost_per_km[0] * one)
        # a first belief: nothing heard over the age at which the fleet was taken on
        self.belief, self.known_age = np.zeros(n), np.zeros(n)
        self.planned: dict[int, list[tuple[int, str]]] = {}

    def visits(self, fleet: w.Fleet, heard: np.ndarray) -> list[tuple[int, str]]:
        for bike in np.flatnonzero(heard).tolist():
            self.seen(bike, replaced=True)
        if fleet.day % REPLAN_DAYS == 0:
            self._plan(fleet)
        return self.planned.pop(fleet.day, [])

    def seen(self, bike: int, *, replaced: bool) -> None:
        for day, visits in self.planned.items():
            self.planned[day] = [visit for visit in visits if visit[0] != bike]
        if replaced:
            self.belief[bike] = self.known_age[bike] = 0.0
        else:
            self._ride_on(np.array([bike]), self.age_now[[bike]])
            passed = belief_after_pass(self.belief[[bike]], self.test)
            self.belief[bike] = passed[0]

    def _ride_on(self, bikes: np.ndarray, age: np.ndarray) -> None:
        """Chances after the km run since they were last told, in steps of one part in eight."""
        for bike, to in zip(bikes.tolist(), age.tolist(), strict=True):
            ages = np.linspace(self.known_age[bike], to, 9)
            onset = -np.expm1(-np.diff(w.hazard(ages)))
            p = self.belief[[bike]]
            for chance, km in zip(onset, np.diff(ages), strict=True):
                if km > 0:
                    p = riding_step(np.array([chance]), float(km), w.HEARD_PER_KM).onwards(p)
            self.belief[bike], self.known_age[bike] = p[0], to

    @property
    def age_now(self) -> np.ndarray:
        return self._fleet.age

    def _plan(self, fleet: w.Fleet) -> None:
        self._fleet = fleet
        self._ride_on(np.arange(w.N_BIKES), fleet.age)
        costs = self._costs(fleet)
        day = _START + timedelta(days=fleet.day)
        made = plan_checks(self._records(fleet, costs), day, SETTINGS)
        self.planned = {}
        for row in made.work.to_dict("records"):
            at = (row["on_day"].date() - _START).days
            self.planned.setdefault(at, []).append((int(row["unit_id"]), row["action"]))

    def _costs(self, fleet: w.Fleet) -> pd.DataFrame:
        ahead = w.hazard(fleet.age[:, None] + KM_AHEAD)
        onset = -np.expm1(-np.diff(ahead, axis=1))
        found = alternatives(
            self.belief, onset, self.prices, self.test, w.HEARD_PER_KM, n_beliefs=17
        )
        days = np.array(CHECK_DAYS, dtype=float)
        km = self.world.km_per_day[:, None] * days
        test, replace = at_km(found.test_at, km), at_km(found.replace_at, km)
        without = at_km(found.best_at, km[:, -1:])
        n, g = w.N_BIKES, len(days)
        bike = np.repeat(np.arange(n).astype(str), g)
        return pd.DataFrame(
            {
                "sensor_id": bike,
                "unit_id": bike,
                "shop_id": np.repeat(self.world.shop.astype(str), g),
                "fleet_id": np.repeat(_fleets(self.world), g),
                "part_no": "P",
                "action": np.where(replace < test, "replace", "test").ravel(),
                "day": np.tile(CHECK_DAYS, n),
                "cost": np.minimum(test, replace).ravel(),
                "cost_without": np.repeat(without[:, 0], g),
                "part_needed": np.where(replace < test, 1.0, 0.1).ravel(),
            }
        )

    def _records(self, fleet: w.Fleet, costs: pd.DataFrame) -> CheckRecords:
        world, now = self.world, pd.Timestamp(_START) + pd.Timedelta(days=fleet.day)
        unit = np.arange(w.N_BIKES).astype(str)
        bikes = pd.DataFrame(
            {
                "unit_id": unit,
                "label": unit,
                "shop_id": world.shop.astype(str),
                "fleet_id": _fleets(world),
                "last_session_id": None,
            }
        )
        bike, day = np.nonzero(world.free[:, fleet.day : fleet.day + 43])
        fleet_bike = world.depot[bike] >= 0
        on = now + pd.to_timedelta(day[fleet_bike], unit="D")
        windows = pd.DataFrame({"unit_id": unit[bike[fleet_bike]], "free_from": on, "free_to": on})
        shops = pd.DataFrame(
            {
                "shop_id": [str(s) for s in range(w.N_SHOPS)],
                "shop_name": "shop",
                "bay_hours_per_day": 4 * w.CHECK_HOURS_A_DAY,
            }
        )
        return CheckRecords(
            costs,
            CHECK_OWED.empty(),
            bikes,
            windows,
            shops,
            CHECK_STOCK.empty(),
            CHECK_PARTS.empty(),
        )


SETTINGS = CheckSettings(check_share_of_bay_hours=0.25, depot_day_cost=w.COST["depot_day"])


def _fleets(world: w.World) -> np.ndarray:
    return np.array([None if d < 0 else f"depot {d}" for d in world.depot], dtype=object)
