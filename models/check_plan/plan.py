"""The plan of checks for all shops: from costs, windows, hours and parts to visits and reasons."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.check_plan import schemas
from models.check_plan.answers import ShopAnswer, told
from models.check_plan.gains import SensorGains, gains_of_parts
from models.check_plan.settings import CheckSettings
from models.check_plan.shop_case import BikeSensors, Made, shop_case
from models.check_plan.solve import Solved, solve
from models.check_plan.stock import (
    Supply,
    pools_of_shop,
    successors,
    supply_by_day,
    uses_of_pools,
)
from models.check_plan.windows import free_days, working_days


@dataclass(frozen=True)
class CheckPlan:
    """The plan. ``visits`` CHECK_VISITS, ``work`` CHECK_WORK, ``unplaced`` CHECK_UNPLACED.

    ``days`` CHECK_DAYS, ``about`` CHECK_ABOUT.
    """

    visits: pd.DataFrame
    work: pd.DataFrame
    unplaced: pd.DataFrame
    days: pd.DataFrame
    about: pd.DataFrame


@dataclass(frozen=True)
class CheckRecords:
    """What the plan is made from.

    ``costs`` CHECK_COSTS, or parts of it that come one after another, by bike and each with all
    days of its sensors, to be gone through once; ``owed`` CHECK_OWED, ``bikes`` CHECK_BIKES,
    ``windows`` CHECK_WINDOWS, ``shops`` CHECK_SHOPS, ``stock`` CHECK_STOCK, ``parts`` CHECK_PARTS,
    ``coming`` CHECK_COMING.
    """

    costs: pd.DataFrame | Iterable[pd.DataFrame]
    owed: pd.DataFrame
    bikes: pd.DataFrame
    windows: pd.DataFrame
    shops: pd.DataFrame
    stock: pd.DataFrame
    parts: pd.DataFrame
    coming: pd.DataFrame

    def checked(self) -> CheckRecords:
        """The same, each frame as declared.

        Raises
        ------
        FrameError
            A column is missing, of another kind, or blank where it may not be.
        """
        parts = [self.costs] if isinstance(self.costs, pd.DataFrame) else self.costs
        return CheckRecords(
            (schemas.CHECK_COSTS.check(part) for part in parts),
            schemas.CHECK_OWED.check(self.owed),
            schemas.CHECK_BIKES.check(self.bikes),
            schemas.CHECK_WINDOWS.check(self.windows),
            schemas.CHECK_SHOPS.check(self.shops),
            schemas.CHECK_STOCK.check(self.stock),
            schemas.CHECK_PARTS.check(self.parts),
            schemas.CHECK_COMING.check(self.coming),
        )


def plan_checks(
    records: CheckRecords, as_of: date, settings: CheckSettings | None = None
) -> CheckPlan:
    """Dates for preventive checks over the coming weeks that cost least in expectation.

    Checks that the advice asks for now come first and as early as they can, whatever they cost;
    beyond them a check is planned where it is expected to save more than it costs.

    Parameters
    ----------
    records : CheckRecords
        What is known.
    as_of : date
        The as-of day; the plan begins the day after.
    settings : CheckSettings, optional
        Hours, costs and days.

    Raises
    ------
    FrameError
        A frame is not as declared.
    ValueError
        The costs of some sensor lack a day that others have.
    """
    settings, records = settings or CheckSettings(), records.checked()
    found = solved_shops(records, as_of, settings)
    if found is None:
        return every_day_closed(records, settings)
    answers = [ShopAnswer(*each, found.free, found.bound) for each in found.solved]
    return CheckPlan(**told(answers, records, found.gains, as_of, settings))


class SolvedShops(NamedTuple):
    """Each shop's problem and its answer, the gains they rest on, and when each bike is free.

    ``free`` and ``bound`` as of ``models.check_plan.windows.free_days``.
    """

    solved: list[tuple[ShopProblem, Solved]]
    gains: SensorGains
    free: np.ndarray
    bound: np.ndarray


def solved_shops(
    records: CheckRecords,
    as_of: date,
    settings: CheckSettings,
    now_and_then: Callable[[], None] = lambda: None,
) -> SolvedShops | None:
    """The shops' plans before they are told; None where no day of the weeks ahead is worked.

    ``records`` are checked already; ``now_and_then`` is called while they are worked out, and may
    give it up by raising. Parameters and errors else are those of ``plan_checks``.
    """
    days = working_days(as_of, settings.weeks_ahead, settings.working_days, settings.closed_days)
    if not len(days):
        return None
    gains = gains_of_parts(records.costs, days, settings)
    now_and_then()
    free, bound = free_days(records.bikes, records.windows, as_of, days)
    cases = []
    for shop in _cases(records, gains, free, as_of, settings):
        now_and_then()
        cases.append(shop)
    size = sum(int((shop.made.case.gain > 0).sum()) for shop in cases)
    solved = [
        (shop, solve(shop.made.case, size_of_all=size, now_and_then=now_and_then)) for shop in cases
    ]
    return SolvedShops(solved, gains, free, bound)


def every_day_closed(records: CheckRecords, settings: CheckSettings) -> CheckPlan:
    """A plan of weeks without a working day: no visit, no day, and how many bikes there are."""
    shops = records.shops.sort_values("shop_id", ignore_index=True)
    bikes = shops["shop_id"].map(records.bikes["shop_id"].value_counts()).fillna(0)
    none = {name: 0 for name in ("visit_count", "not_worth_count")}
    money = {name: 0.0 for name in ("saves", "at_most", "check_hours", "planned_hours")}
    about = shops[["shop_id", "shop_name"]].assign(
        bike_count=bikes,
        method="exact",
        hours_assumed=[_bay_hours(hours, settings)[1] for hours in shops["bay_hours_per_day"]],
        **none,
        **money,
    )
    return CheckPlan(
        schemas.CHECK_VISITS.empty(),
        schemas.CHECK_WORK.empty(),
        schemas.CHECK_UNPLACED.empty(),
        schemas.CHECK_DAYS.empty(),
        schemas.CHECK_ABOUT.check(about),
    )


@dataclass(frozen=True)
class ShopProblem:
    """One shop's problem, and where its bikes and sensors stand in the records.

    ``bikes`` rows of CHECK_BIKES with known costs, ``unknown`` those without; ``sensors`` rows of
    the gains, in the order of the case; ``supply`` and ``chains`` of ``stock``; ``counted``: the
    shop has handed in a count of some part. ``owed`` by row of the gains, and ``owed_for`` why;
    ``bonus`` is what an owed sensor counts for more in the case, so that owed checks come first.
    """

    shop: dict
    hours_assumed: bool
    made: Made
    bikes: np.ndarray
    unknown: np.ndarray
    sensors: np.ndarray
    supply: Supply
    chains: dict[str, list[str]]
    counted: bool
    owed: np.ndarray
    owed_for: np.ndarray
    bonus: float


def _cases(
    records: CheckRecords,
    gains: SensorGains,
    free: np.ndarray,
    as_of: date,
    settings: CheckSettings,
):
    supply = supply_by_day(records.stock, records.coming, as_of)
    chains = successors(records.parts)
    counted = set(records.stock["shop_id"])
    why_owed = records.owed.set_index("sensor_id")["owed_for"].to_dict()
    owed_for = np.array([why_owed.get(s, "") for s in gains.sensors["sensor_id"]], dtype=object)
    owed = owed_for != ""
    known = np.isfinite(gains.gain).all(axis=1)
    row = pd.Index(records.bikes["unit_id"]).get_indexer(gains.sensors["unit_id"])
    counts = np.bincount(row[(row >= 0) & known], minlength=len(records.bikes)) > 0
    shop_of = records.bikes["shop_id"].to_numpy()
    for shop in records.shops.sort_values("shop_id").to_dict("records"):
        own = shop_of == shop["shop_id"]
        bikes = np.flatnonzero(own & counts)
        sensors = np.flatnonzero(known & np.isin(row, bikes) & (row >= 0))
        sensors = sensors[np.argsort(row[sensors], kind="stable")]
        part_nos = gains.sensors["part_no"].to_numpy()[sensors]
        pools = []
        if shop["shop_id"] in counted:  # a shop that counts nothing is not held to its stock
            pools = pools_of_shop(shop["shop_id"], sorted(set(part_nos)), supply, chains)
        uses, limits = uses_of_pools(part_nos, gains.replaces[sensors], gains.days, pools)
        hours, assumed = _bay_hours(shop["bay_hours_per_day"], settings)
        gain = gains.gain[sensors]
        bonus = 2 * (np.abs(gain).max(initial=0.0) + settings.depot_day_cost)
        of_bikes = BikeSensors(
            np.searchsorted(bikes, row[sensors]),
            gain + owed_first(owed[sensors], bonus, gains.days),
            gains.hours[sensors],
            uses,
        )
        depot = pd.factorize(records.bikes["fleet_id"].iloc[bikes])[0]
        made = shop_case(
            of_bikes,
            depot,
            free[bikes],
            np.full(len(gains.days), hours),
            limits,
            settings.depot_day_cost,
        )
        unknown = np.flatnonzero(own & ~counts)
        yield ShopProblem(
            shop=shop,
            hours_assumed=assumed,
            made=made,
            bikes=bikes,
            unknown=unknown,
            sensors=sensors,
            supply=supply,
            chains=chains,
            counted=shop["shop_id"] in counted,
            owed=owed,
            owed_for=owed_for,
            bonus=bonus,
        )


def owed_first(owed: np.ndarray, bonus: float, days: np.ndarray) -> np.ndarray:
    """What owed sensors count for more: ``bonus`` at first, half of it on the last day.

    Shape (sensors, days). So an owed check outweighs any other and comes as early as it can.
    """
    return bonus * owed[:, None] * (1 - days / (2 * max(days.max(initial=1), 1)))


def _bay_hours(stated: float, settings: CheckSettings) -> tuple[float, bool]:
    """Bay hours for checks a day, and whether the shop's own hours are assumed."""
    assumed = bool(pd.isna(stated))
    hours = settings.bay_hours_per_day_if_unknown if assumed else float(stated)
    return hours * settings.check_share_of_bay_hours, assumed
