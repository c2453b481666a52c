"""What the alternatives cost, when the next work is best done, and what would change it."""

from __future__ import annotations

from datetime import date, timedelta
from math import isfinite, isnan

import numpy as np

from models.plans.settings import PlanSettings
from models.plans.wording import in_100

_ORDER = ("replace_now", "test_now", "test_later", "replace_later", "leave")
_NAMES = {
    "replace_now": "replace now {}",
    "test_now": "test now {}",
    "test_later": "test in {days} days {}",
    "replace_later": "replace in {days} days {}",
    "leave": "no planned work {}",
}


def money(amount: float, settings: PlanSettings) -> str:
    """An amount in whole units, with the shop's currency where it is named."""
    return f"{amount:,.0f} {settings.currency}".strip()


def next_work(cost: dict, settings: PlanSettings, day: date | None, fallback_km: float) -> str:
    """When the next work is best done, for a sensor that is left now."""
    if not cost:
        left = max(100.0, np.floor(fallback_km / 100) * 100)
        return f"next test by about {left:,.0f} km from now"
    if not isinstance(cost["next_work"], str):
        return (
            f"no planned work pays within the next {settings.planning_horizon_days} days on what "
            "is known today"
        )
    km = max(100.0, np.round(cost["next_km"] / 100) * 100)
    when = f"in {cost['next_days']:,.0f} days"
    if day is not None:
        when = f"around {day + timedelta(days=round(cost['next_days'])):%Y-%m-%d}"
    words = {"test": "next test", "replace": "a planned replacement"}[cost["next_work"]]
    return f"{words} costs least in about {km:,.0f} km, {when}"


def cost_sentences(cost: dict, settings: PlanSettings, action: str) -> list[str]:
    """Expected cost of each alternative, and the chances at which the cheapest would change."""
    if not cost:
        return []
    parts = [
        _NAMES[name].format(money(cost[name], settings), days=f"{cost.get(f'{name}_days', 0):,.0f}")
        for name in _told(cost)
    ]
    told = (
        f"Expected cost over {settings.planning_horizon_days} days "
        f"({cost['horizon_km']:,.0f} km): {', '.join(parts)}."
    )
    return [told, *_limits(cost), *_overruled(cost, action)]


def _told(cost: dict) -> list[str]:
    """The alternatives worth telling: doing something later only where that beats doing it now."""
    return [
        name
        for name in _ORDER
        if isfinite(cost[name])
        and not (name.endswith("_later") and cost[name] >= cost[name.replace("_later", "_now")])
    ]


def _limits(cost: dict) -> list[str]:
    """At which chance of a defect now leaving becomes testing, and testing replacing."""
    act, replace = cost["test_above"], cost["replace_above"]
    if isnan(act):
        return ["At these costs waiting stays cheapest whatever the chance of a defect now."]
    if isnan(replace):
        return [f"By cost, leaving becomes testing above {in_100(act)} in 100 now."]
    if replace <= act:
        return [f"By cost, leaving becomes replacing above {in_100(act)} in 100 now."]
    return [
        f"By cost, leaving becomes testing above {in_100(act)} in 100 now, and testing becomes "
        f"replacing above {in_100(replace)} in 100."
    ]


def _overruled(cost: dict, action: str) -> list[str]:
    """That the advice is not what costs least, where it is not."""
    if action in (cost["cheapest"], "not_enough_known"):
        return []
    words = {"leave": "leaving it", "test": "testing it", "replace": "replacing it"}
    return [
        f"By cost alone, {words[cost['cheapest']]} would come first; evidence or the floor decides."
    ]
