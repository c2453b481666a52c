"""Replace, test or leave: for each sensor the cheapest in expectation, and what it costs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from models.plans.costs import Prices, prices_of
from models.plans.new_life import new_life
from models.plans.outlook import BELIEFS, Outlook
from models.plans.policy import KM_AHEAD, Alternatives, along, alternatives, at_km
from models.plans.schemas import CHEAPEST
from models.plans.settings import PlanSettings

#: Kinds of new life worked out between the lowest and the highest hazard; between them its cost is
#: drawn straight over the logarithm of the hazard.
_RATIOS = 9
#: Points of the grid of chances of the few kinds of new life.
_NEW_BELIEFS = 33
_LEAST_KM_PER_DAY = 0.1
_COSTS = ("replace_now", "test_now", "test_later", "replace_later", "leave")
_WORK = ("replace", "test", "test", "replace", "leave")


class Weighed(NamedTuple):
    """The alternatives of the sensors whose chances are known, at ``places`` of the outlook."""

    places: np.ndarray
    found: Alternatives
    prices: Prices
    km_per_day: np.ndarray

    def of(self, some: slice) -> Weighed:
        """Those of some of these sensors."""
        km, *by_sensor = self.found
        found = Alternatives(km, *(values[some] for values in by_sensor))
        return Weighed(self.places[some], found, self.prices.take(some), self.km_per_day[some])


def weigh(outlook: Outlook, settings: PlanSettings, *, again: bool = True) -> Weighed:
    """Expected cost of every alternative of every sensor whose chances are known.

    What becomes of them is kept with the outlook, unless it is not weighed ``again``: of a hundred
    thousand sensors it fills half a gigabyte.
    """
    places = outlook.known
    sensors = outlook.sensors.iloc[places]
    prices = priced(outlook, places, settings)
    if again:
        found = along(outlook.courses, prices)
    else:
        known = sensors["defect_now"].to_numpy(float), outlook.onset[places]
        rest = outlook.test, outlook.heard_per_km
        found = alternatives(*known, prices, *rest, n_beliefs=BELIEFS)
    daily = np.maximum(sensors["km_per_day"].to_numpy(float), _LEAST_KM_PER_DAY)
    return Weighed(places, found, prices, daily)


def priced(outlook: Outlook, places: np.ndarray, settings: PlanSettings) -> Prices:
    """Prices of sensors, with what a new one in each one's place costs per km in the long run."""
    prices = event_prices(outlook, places, settings)
    log_ratio = np.log(outlook.sensors["new_hazard_ratio"].to_numpy(float)[places])
    return prices._replace(usual_per_km=_usual_per_km(outlook, log_ratio, prices))


def event_prices(outlook: Outlook, places: np.ndarray, settings: PlanSettings) -> Prices:
    """Prices of what may happen to sensors, without what new ones cost in the long run."""
    part_cost = outlook.sensors["part_cost"].to_numpy(float)[places]
    return prices_of(part_cost, outlook.road_share, settings)


def _usual_per_km(outlook: Outlook, log_ratio: np.ndarray, prices: Prices) -> np.ndarray:
    """By price of the part: worked out at a few hazards and drawn straight between them."""
    if not len(log_ratio):
        return np.zeros(0)
    _, first, kind = np.unique(prices.found, return_index=True, return_inverse=True)
    ends = log_ratio.min(), log_ratio.max()
    at = np.linspace(*ends, _RATIOS) if ends[0] < ends[1] else np.array(ends[:1])
    hazard = np.tile(np.exp(at)[:, None] * outlook.new_hazard, (len(first), 1))
    each = Prices(*(np.repeat(part, len(at)) for part in prices.take(first)))
    life = new_life(hazard, each, outlook.test, outlook.heard_per_km, n_beliefs=_NEW_BELIEFS)
    by_kind = life.cost_per_km.reshape(len(first), len(at))
    usual = np.empty(len(log_ratio))
    for k, row in enumerate(by_kind):
        usual[kind == k] = np.interp(log_ratio[kind == k], at, row)
    return usual


def horizon_of(km_per_day: np.ndarray, settings: PlanSettings) -> np.ndarray:
    """Km over which costs are counted."""
    return np.clip(km_per_day * settings.planning_horizon_days, KM_AHEAD[1], KM_AHEAD[-1])


def cheapest(outlook: Outlook, weighed: Weighed, settings: PlanSettings) -> pd.DataFrame:
    """What costs least for each sensor of the outlook, in the columns of ``CHEAPEST``.

    Work whose best point lies within ``act_within_days`` is due now; otherwise the sensor is left
    until then. Blank where a sensor's chances are not known.
    """
    found, daily = weighed.found, weighed.km_per_day
    horizon = horizon_of(daily, settings)
    within = found.km <= horizon[:, None]
    usual = weighed.prices.usual_per_km * horizon
    costs = {
        "replace_now": found.replace_at[:, 0],
        "test_now": found.test_at[:, 0],
        "leave": at_km(found.best_at, horizon[:, None])[:, 0],
    }
    later = {}
    for name, table in (("test", found.test_at), ("replace", found.replace_at)):
        costs[f"{name}_later"], later[name] = _best_later(table, within)
    table = pd.DataFrame({name: costs[name] + usual for name in _COSTS})
    least = np.argmin(np.column_stack([costs[n] for n in _COSTS]), axis=1)
    choice, work = (np.array(words, dtype=object)[least] for words in (_COSTS, _WORK))
    km = np.select(
        [choice == "test_later", choice == "replace_later", choice == "leave"],
        [later["test"], later["replace"], np.full(len(daily), np.nan)],
        0.0,
    )
    due = km / daily <= settings.act_within_days
    table = table.assign(
        cheapest=np.where(due, work, "leave"),
        next_work=np.where(work != "leave", work, None),
        next_km=km,
        next_days=km / daily,
        horizon_km=horizon,
        test_later_days=later["test"] / daily,
        replace_later_days=later["replace"] / daily,
        test_above=found.test_above,
        replace_above=found.replace_above,
        usual_cost_per_1000_km=1_000 * weighed.prices.usual_per_km,
    )
    every = table.set_axis(weighed.places).reindex(np.arange(len(outlook.sensors)))
    return CHEAPEST.check(every.assign(sensor_id=outlook.sensors["sensor_id"].to_numpy()))


def _best_later(table: np.ndarray, within: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least cost over the points ahead within the horizon, and its km."""
    ahead = np.where(within, table, np.inf)
    ahead[:, 0] = np.inf
    place = ahead.argmin(axis=1)
    return ahead[np.arange(len(ahead)), place], KM_AHEAD[place]
