"""What an owner may set: costs, levels and limits, each declared with its unit and its bounds.

Every default is assumed: none has a published source for throttle sensors. Money is in the shop's
own currency throughout.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields
from typing import Any

from models.plans.open_days import NAMES_DAYS


@dataclass(frozen=True)
class Bounds:
    """What one setting means, in which section and unit, and what it may be.

    Words may be one of ``words`` (any text where none are named), or name ``days`` (a key of
    ``models.plans.open_days.NAMES_DAYS``); numbers lie from ``least`` to ``most``.
    """

    section: str
    meaning: str
    unit: str = ""
    least: float = 0.0
    most: float = 1e9
    words: tuple[str, ...] = ()
    days: str = ""

    def fault(self, value: object, default: object) -> str:
        """What was expected in place of ``value``; empty where it may stand."""
        if self.days:
            return self._fault_of_days(value)
        if isinstance(default, str):
            if isinstance(value, str) and (not self.words or value in self.words):
                return ""
            return f"one of {', '.join(self.words)}" if self.words else "a text in quotes"
        expected = f"a {'whole ' if isinstance(default, int) else ''}number"
        expected += f" from {self.least:.9g} to {self.most:.9g}"
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return expected
        stands = self.least <= value <= self.most  # nan is nowhere within
        if stands and (isinstance(default, float) or float(value).is_integer()):
            return ""
        return expected

    def as_kept(self, value: Any, default: object) -> float | str:
        """A value that may stand, of the kind that is kept."""
        if self.days:
            return NAMES_DAYS[self.days][0](value)
        return type(default)(value)  # type: ignore[call-arg]

    def _fault_of_days(self, value: object) -> str:
        as_kept, expected = NAMES_DAYS[self.days]
        try:
            as_kept(value)
        except ValueError:
            return expected
        return ""


def _set(default: float | str, section: str, meaning: str, unit: str = "", **bounds: Any) -> Any:
    return field(default=default, metadata={"bounds": Bounds(section, meaning, unit, **bounds)})


@dataclass(frozen=True)
class PlanSettings:
    """Costs, levels and limits behind the three plans."""

    currency: str = _set("", "costs", "name of the currency, shown beside money; ¤ until named")
    labour_cost_per_hour: float = _set(70.0, "costs", "an hour of labour", "money/h", most=1e5)
    test_hours: float = _set(0.5, "costs", "bench time of one test", "h", least=0.01, most=24)
    replace_hours: float = _set(0.8, "costs", "time to replace a sensor", "h", least=0.01, most=24)
    part_cost_if_unknown: float = _set(
        120.0, "costs", "a part whose price is not handed in", "money", least=0.01, most=1e6
    )
    call_in_cost: float = _set(
        20.0, "costs", "what it costs to have a bike brought in for planned work", "money", most=1e6
    )
    needless_replacement_cost: float = _set(
        40.0, "costs", "taking off a sound sensor, beside part and labour", "money", most=1e6
    )
    road_failure_cost: float = _set(
        350.0, "costs", "recovery after a failure on the road", "money", most=1e7
    )
    day_off_road_cost: float = _set(
        45.0, "costs", "a day that a bike cannot be ridden", "money/day", most=1e6
    )
    road_failure_days: float = _set(
        2.0, "costs", "days off the road after a failure on the road", "days", most=365
    )
    complaint_days: float = _set(
        0.5, "costs", "days off the road where a rider complains in time", "days", most=365
    )
    complaint_hours: float = _set(
        0.5, "costs", "time to find the fault after a complaint", "h", most=24
    )
    planning_horizon_days: int = _set(
        365, "replace or test", "how far ahead costs are counted", "days", least=30, most=3650
    )
    act_within_days: int = _set(
        30, "replace or test", "work whose best day lies this near is due now", "days", most=365
    )
    test_above: float = _set(
        0.10,
        "replace or test",
        "safety floor: from this chance of a defect now never leave",
        "0 to 1",
        least=0.001,
        most=0.5,
    )
    test_above_5000_km: float = _set(
        0.25,
        "replace or test",
        "where costs cannot be told: the same for a defect now or within 5,000 km",
        "0 to 1",
        least=0.001,
        most=1.0,
    )
    replace_above: float = _set(
        0.50,
        "replace or test",
        "chance from which a test that speaks against the sensor condemns it",
        "0 to 1",
        least=0.001,
        most=1.0,
    )
    unsure_above: float = _set(
        0.40,
        "replace or test",
        "where the upper end of the chance now reaches this, too little is known to leave it",
        "0 to 1",
        least=0.001,
        most=1.0,
    )
    test_stale_after_km: int = _set(
        10_000,
        "replace or test",
        "where costs cannot be told: distance after which a test no longer counts",
        "km",
        least=100,
        most=1e6,
    )
    odometer_stale_after_days: int = _set(
        120,
        "replace or test",
        "age of an odometer reading from which km are a guess",
        "days",
        least=1,
        most=3650,
    )
    random_test_share: float = _set(
        0.02,
        "replace or test",
        "share of sensors to be left that are tested all the same, so that leaving is checked; "
        "never more than the safety floor",
        "0 to 1",
        most=0.25,
    )
    review_days: int = _set(
        7, "stock", "days from one ordering to the next", "days", least=1, most=90
    )
    target_filled_share: float = _set(
        0.95,
        "stock",
        "share of the parts asked for that is to be on the shelf",
        "0 to 1",
        least=0.5,
        most=0.999,
    )
    order_by: str = _set(
        "filled_share", "stock", "what decides an order", words=("filled_share", "costs")
    )
    holding_cost_share_per_year: float = _set(
        0.25, "stock", "cost of a year on the shelf, of the price", "0 to 1", most=1.0
    )
    shortage_cost: float = _set(
        60.0, "stock", "a part asked for and not there", "money", least=0.01, most=1e6
    )
    order_cost: float = _set(
        0.0, "stock", "for each line ordered, whatever its size", "money", most=1e6
    )
    last_order_covers_days: int = _set(
        730,
        "stock",
        "days that the last order of a part out of supply must last",
        "days",
        least=1,
        most=7300,
    )
    lead_time_days_if_unknown: int = _set(
        21, "stock", "lead time where none is handed in", "days", most=365
    )
    stock_count_stale_after_days: int = _set(
        60, "stock", "days after which a count is called old", "days", least=1, most=3650
    )
    weeks_ahead: int = _set(
        6, "checks", "weeks that the check plan covers", "weeks", least=1, most=26
    )
    check_share_of_bay_hours: float = _set(
        0.25, "checks", "share of the bay hours kept for preventive checks", "0 to 1", most=1.0
    )
    bay_hours_per_day_if_unknown: float = _set(
        8.0, "checks", "bay hours a day where a shop states none", "h", most=1000
    )
    depot_day_cost: float = _set(
        25.0, "checks", "for each day that bikes of one depot are called in", "money", most=1e6
    )

    working_days: str = _set(
        "Monday, Tuesday, Wednesday, Thursday, Friday",
        "checks",
        "days of the week on which shops check bikes",
        "names parted by commas",
        days="days of the week",
    )
    closed_days: str = _set(
        "",
        "checks",
        "days on which shops are closed all the same, such as holidays",
        "as 2026-12-25, parted by commas",
        days="dates",
    )
    private_not_known: str = _set(
        "ask in",
        "checks",
        "private bikes of which not enough is known: ask them in for a test, or wait until they "
        "come (bikes of a fleet are always asked in)",
        words=("ask in", "wait"),
    )

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            fault = _bounds(item).fault(value, item.default)
            if fault:
                raise ValueError(f"{item.name} is {value!r}, expected {fault}")
        if self.test_above > self.replace_above:
            raise ValueError(
                f"test_above ({self.test_above:g}) must not exceed replace_above "
                f"({self.replace_above:g})"
            )

    @property
    def lot_share(self) -> float:
        """Share of sensors to be left that are tested all the same, held to the safety floor."""
        return min(self.random_test_share, self.test_above)


def declared() -> dict[str, tuple[Bounds, float | str]]:
    """Every setting by name: its bounds and its default, in the order of declaration."""
    return {item.name: (_bounds(item), item.default) for item in fields(PlanSettings)}


def held_to_bounds(
    known: Mapping[str, tuple[Bounds, Any]], values: Mapping[str, object]
) -> tuple[dict[str, Any], dict[str, str]]:
    """The values that can stand, and for each other one what was expected in its place."""
    faults, taken = {}, {}
    for name, value in values.items():
        if name not in known:
            faults[name] = "a setting of this name does not exist"
            continue
        bounds, default = known[name]
        fault = bounds.fault(value, default)
        if fault:
            faults[name] = f"expected {fault}"
        else:
            taken[name] = bounds.as_kept(value, default)
    return taken, faults


def settings_from(values: Mapping[str, object]) -> tuple[PlanSettings, dict[str, str]]:
    """The settings, and for each value that cannot stand what was expected in its place.

    A value that cannot stand is left at its default, and so are the levels of chance where they
    contradict one another. Names nobody declared are named too.
    """
    taken, faults = held_to_bounds(declared(), values)
    try:
        return PlanSettings(**taken), faults
    except ValueError as error:
        for name in ("test_above", "replace_above"):
            if taken.pop(name, None) is not None:
                faults[name] = str(error)
        return PlanSettings(**taken), faults


def _bounds(item: Field) -> Bounds:
    return item.metadata["bounds"]
