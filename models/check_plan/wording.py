"""Why a bike has its day, or none, in plain sentences."""

from __future__ import annotations

from datetime import date

from models.check_plan.stock import DUE, FETCHED, SHELF, TODAY
from models.plans.wording import in_100

PLIGHTS = ("no_window", "no_part", "no_hours", "not_worth_a_day", "cost_not_known")
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def money(value: float, currency: str = "") -> str:
    """An amount in the shop's currency: whole from 10 up, else to a tenth."""
    if abs(value) < 0.05:
        return f"less than 0.1 {currency}".strip()
    return f"{value:,.{0 if abs(value) >= 10 else 1}f} {currency}".strip()


def _weeks(number: int) -> str:
    return "this week" if number == 1 else f"these {number} weeks"


def weekday(day: date) -> str:
    """``Tuesday 2026-11-10``."""
    return f"{_DAYS[day.weekday()]} {day:%Y-%m-%d}"


def what_to_do(action: str, sensor_id: str, part_no: str, part_needed: float) -> str:
    """What to do about one sensor of a visit."""
    if action == "replace":
        return f"Replace sensor {sensor_id}, part {part_no}."
    return (
        f"Test sensor {sensor_id} on the bench; part {part_no} is needed in "
        f"{in_100(part_needed)} of 100 such tests."
    )


def part_there(part_no: str, source: str, due: date | None) -> str:
    """Where the part of a planned replacement comes from; ``due`` blank where it is there."""
    when = f", due {due:%Y-%m-%d}" if due else ""
    return {
        SHELF: f"Part {part_no} is there.",
        DUE: f"Part {part_no} is due by {due:%Y-%m-%d}." if due else f"Part {part_no} is due.",
        FETCHED: f"It needs the part fetched from another shop today: {part_no}.",
        TODAY: f"It needs the part ordered today{when}: {part_no}, an order not yet placed.",
    }[source]


def no_count(part_no: str) -> str:
    """That the shop has handed in no count of its stock."""
    return f"No stock is on record here: see that a part {part_no} is there."


def no_part_by_then(part_no: str) -> str:
    """That no part is left for a planned replacement."""
    return f"See to a part {part_no} first: none is left by then."


def part_for_a_test(part_no: str, *, advised: bool, sure: bool) -> str:
    """Whether a part is there should a test find a defect; ``sure`` one there or on its way."""
    if sure:
        return ""
    if advised:
        return (
            f"Should the test find a defect, part {part_no} is there only if it is got as advised "
            "today."
        )
    return f"No part {part_no} is there or due by then, should the test find a defect."


def _late(owed: bool, worth_it: bool) -> str:
    if owed and not worth_it:
        return "Late: the worklist asks for it now, and no later day costs less."
    return "Late: every day of waiting costs, so the best day lies past."


def why_this_day(
    *,
    saves: float,
    owed: bool,
    day: date,
    best_day: date,
    waiting_costs: float,
    late: bool,
    bound: bool,
    with_depot: int,
    stock_note: str = "",
    currency: str = "",
) -> list[str]:
    """Why a visit stands on its day, the weightiest first."""
    less = money(saves, currency)
    words = [f"A check that day is expected to cost {less} less than none in these weeks."]
    if saves < 0:
        more = money(-saves, currency)
        words = [f"It is expected to cost {more} more than no check in these weeks."]
    if owed:
        words.insert(0, "The worklist asks for work on it, so its check comes first.")
    if late:
        words.append(_late(owed, saves + waiting_costs > 0))
    if day == best_day:
        early = late or owed
        words.append("It is the first day open." if early else "No other working day costs less.")
    else:
        limits = "its windows, the bay hours, parts and its depot's days"
        if not bound:
            limits = "the bay hours, parts and days shared with others"
        more = money(waiting_costs, currency)
        words.append(
            f"It is the first day that {limits} leave."
            if owed and waiting_costs < 0.05
            else f"{weekday(best_day)} would cost {more} less, but {limits} leave this day as the "
            "best for all together."
        )
    if with_depot > 1:
        words.append(f"{with_depot} bikes of its depot come that day.")
    if stock_note:
        words.append(stock_note)
    return words


def why_no_day(
    plight: str,
    *,
    waiting_costs: float,
    late: bool,
    owed: bool,
    best_day: date | None,
    part_no: str = "",
    windows: bool = False,
    weeks: int = 6,
    currency: str = "",
) -> list[str]:
    """Why a bike got no day, what that costs, and what would change it."""
    reason = {
        "no_window": (
            "None of its windows holds a working day of these weeks on which a check pays."
            if windows
            else "Its fleet hands in windows, and none lies ahead for this bike."
        ),
        "no_part": (
            f"Part {part_no} is neither there nor due within {_weeks(weeks)}, what is advised to "
            "be ordered today counted in."
        ),
        "no_hours": "The bay hours for checks are taken by bikes whose checks save more.",
        "not_worth_a_day": "Alone it is not worth a day of its depot, and no day of others fits.",
        "cost_not_known": "What a check would save is not known: too little is on record.",
    }[plight]
    then = {
        "no_window": "Hand in a window for it.",
        "no_part": "Order the part, or test the sensor meanwhile.",
        "no_hours": "More hours for checks would bring it in.",
        "not_worth_a_day": "Check it when it is in for something else.",
        "cost_not_known": "Hand in an odometer reading, and test it when it is in.",
    }[plight]
    words = [reason]
    if owed:
        words.insert(0, "The worklist asks for work on it.")
    if plight != "cost_not_known" and waiting_costs > 0:
        when = f" on {weekday(best_day)}" if best_day else ""
        more = money(waiting_costs, currency)
        words.append(
            f"Going unchecked in these weeks is expected to cost {more} more than a check{when}."
        )
    if late:
        words.append(_late(owed, waiting_costs > 0))
    return [*words, then]
