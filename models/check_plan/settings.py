"""What the plan of checks is told: hours, costs and days, each with an assumed default."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class CheckSettings:
    """Settings of the plan; every default is assumed.

    Attributes
    ----------
    weeks_ahead : int
        Weeks that are planned, from the day after the as-of day.
    check_share_of_bay_hours : float
        Share of a shop's bay hours that preventive checks may take, 0 to 1.
    bay_hours_per_day_if_unknown : float
        Bay hours a working day of a shop that does not say.
    test_hours, replace_hours : float
        Bay hours of a bench test, and of a replacement with its test.
    depot_day_cost : float
        Cost of a day on which at least one bike of a depot comes in, however many do.
    working_days : tuple of int
        Days of the week on which shops check, Monday being 0.
    closed_days : tuple of date
        Days on which they are closed all the same.
    currency : str
        Name of the currency, as it stands beside amounts.

    Raises
    ------
    ValueError
        A setting lies outside what it can be; the message names it.
    """

    weeks_ahead: int = 6
    check_share_of_bay_hours: float = 0.25
    bay_hours_per_day_if_unknown: float = 8.0
    test_hours: float = 0.5
    replace_hours: float = 0.8
    depot_day_cost: float = 25.0
    working_days: tuple[int, ...] = (0, 1, 2, 3, 4)
    closed_days: tuple[date, ...] = ()
    currency: str = ""

    def __post_init__(self) -> None:
        limits = {
            "weeks_ahead": (1, 26),
            "check_share_of_bay_hours": (0, 1),
            "bay_hours_per_day_if_unknown": (0, 1_000),
            "test_hours": (0.01, 24),
            "replace_hours": (0.01, 24),
            "depot_day_cost": (0, 1e9),
        }
        for name, (low, high) in limits.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} is {value}, it must lie from {low:g} to {high:g}")
        if not self.working_days or not set(self.working_days) <= set(range(7)):
            raise ValueError(
                f"working_days is {self.working_days}, it must name days 0 (Monday) to 6"
            )
