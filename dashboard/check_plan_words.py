"""The plan of checks in words: the coming weeks shop by shop, what got no day, what it rests on."""

from __future__ import annotations

import pandas as pd

from dashboard.words import counted, day, number

PLIGHTS = {
    "no_window": "No day on which the bike can be spared",
    "no_part": "No part there or due",
    "no_hours": "No bay hours left",
    "not_worth_a_day": "Not worth a day of its depot alone",
    "cost_not_known": "Too little known to say what a check saves",
}
PRIVATE = "no fleet"
NOT_SAFE = (
    "A planned day declares no bike safe until then, and a bike without a day is not safe either. "
    "A rider who notices anything comes at once."
)
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_NAMED = 4


def money(value: object, currency: str = "") -> str:
    """An amount of the shop's currency, whole from 10 up."""
    if pd.isna(value):
        return "not known"
    digits = 0 if abs(float(value)) >= 9.95 else 1
    return f"{number(value, digits=digits)} {currency}".strip()


def against_none(saves: float, currency: str = "") -> str:
    """``42 less`` or ``56 more``: what a check is expected to cost against none."""
    return f"{money(abs(saves), currency)} {'less' if saves >= 0 else 'more'}"


def day_of_week(value: object) -> str:
    """``Tuesday 2026-11-10``."""
    return f"{_DAYS[pd.Timestamp(value).weekday()]} {day(value)}"


def week_name(week: int, first: object) -> str:
    """A week by what people call it, with its Monday; ``first`` is any day of it."""
    at = pd.Timestamp(first)
    called = {0: "This week,", 1: "Next week,"}.get(int(week), "The week")
    return f"{called} from Monday {day(at - pd.Timedelta(days=at.weekday()))}"


def first_weeks(days: pd.DataFrame, visits: pd.DataFrame) -> list[tuple[str, list]]:
    """The first two weeks with working days: their names, and a sentence a shop.

    Parameters
    ----------
    days, visits : DataFrame
        CHECK_DAYS and CHECK_VISITS, as filtered.
    """
    told = []
    for week in sorted(days["week"].unique())[:2]:
        of_week = days[days["week"].eq(week)]
        rows = visits[visits["on_day"].isin(of_week["on_day"])]
        shops = [
            (name, rows[rows["shop_id"].eq(shop)])
            for (name, shop), _ in of_week.groupby(["shop_name", "shop_id"])
        ]
        sentences = [shop_in_week(name, own) for name, own in shops if len(own)]
        empty = [name for name, own in shops if own.empty]
        if empty:
            sentences.append(f"{', '.join(empty)}: no bike.")
        told.append((week_name(week, of_week["on_day"].min()), sentences))
    return told


def shop_in_week(name: str, visits: pd.DataFrame) -> str:
    """Which bikes come to a shop in a week, day by day."""
    by_day = [
        f"{_DAYS[pd.Timestamp(at).weekday()]} {_some(rows['label'].tolist())}"
        for at, rows in visits.groupby("on_day")
    ]
    return f"{name}, {counted(len(visits), 'bike')}: {'; '.join(by_day)}."


def _some(labels: list[str]) -> str:
    shown = ", ".join(map(str, labels[:_NAMED]))
    more = len(labels) - _NAMED
    return f"{shown} and {more} more" if more > 0 else shown


def in_short(visits: pd.DataFrame, unplaced: pd.DataFrame, currency: str) -> str:
    """How many come, what that saves, and how many got no day."""
    if visits.empty:
        head = "No bike is to come in for a check in these weeks."
    else:
        many = counted(len(visits), "bike")
        head = f"{many} to come in: {_reasons(visits)}. {_sum(visits, currency)}"
    late = int(visits["late"].sum()) + int(unplaced["late"].sum())
    words = [head]
    if late:
        words.append(
            f"{counted(late, 'bike is', 'bikes are')} late: waiting costs from day to day."
        )
    if len(unplaced):
        words.append(f"{counted(len(unplaced), 'bike')} got no day, listed below with the reason.")
    return " ".join(words)


def _reasons(visits: pd.DataFrame) -> str:
    asked = int(visits["owed"].sum())
    beyond = len(visits) - asked
    advised = f"{asked} because the advice is to work on them now" if asked else ""
    paying = f"{beyond} because a check is expected to save more than it costs" if beyond else ""
    return ", ".join(filter(None, [advised, paying]))


def _sum(visits: pd.DataFrame, currency: str) -> str:
    saved = float(visits["saves"].sum())
    words = f"Together they are expected to cost {against_none(saved, currency)} than no check"
    return f"{words}: the price of following the advice." if saved < 0 else f"{words}."


def plight_words(plight: str, rows: pd.DataFrame, currency: str) -> str:
    """How many bikes share a plight, and what waiting costs them together."""
    costs = rows["waiting_costs"].clip(lower=0).sum()
    waits = f", waiting costs {money(costs, currency)} in expectation" if costs > 0 else ""
    return f"{PLIGHTS.get(plight, plight)}: {counted(len(rows), 'bike')}{waits}"


def rests_on(about: pd.DataFrame, settings: dict) -> list[str]:
    """What the plan takes as given, and how near it is to the best."""
    currency = settings["currency"] if pd.notna(settings["currency"]) else ""
    days = [_DAYS[int(d)] for d in str(settings["working_days"]).split()]
    share = 100 * settings["check_share_of_bay_hours"]
    depot_day = money(settings["depot_day_cost"], currency)
    return [
        f"{settings['weeks_ahead']:.0f} weeks are planned; shops check on {', '.join(days)} "
        "(assumed unless set).",
        f"Of the bay hours {number(share, '%', 0)} are for planned checks (a setting, assumed at "
        f"first): a test takes {number(settings['test_hours'], 'h')}, a replacement "
        f"{number(settings['replace_hours'], 'h')}.",
        *_assumed_hours(about, settings),
        f"A day on which bikes of one depot come costs {depot_day}, however many do; so bikes of a "
        "depot come together where that is worth it.",
        "A bike with windows comes only inside them. Where a fleet hands in windows, its bikes "
        "without one ahead get no day. A private bike can be called on any working day.",
        "Each bike comes to its own shop; no travel between shops is planned.",
        "A planned replacement needs its part on the shelf or due by the day. A shop that hands in "
        "no count is not held to its stock.",
        "Costs are a model's expectation under the costs set, not a promise.",
        *[_method(row, currency) for row in about.to_dict("records")],
    ]


def _assumed_hours(about: pd.DataFrame, settings: dict) -> list[str]:
    names = about.loc[about["hours_assumed"].astype(bool), "shop_name"].tolist()
    if not names:
        return []
    hours = number(settings["bay_hours_per_day_if_unknown"], "bay hours a day")
    return [f"{', '.join(names)}: bay hours are not on record, {hours} are assumed."]


def _method(row: dict, currency: str) -> str:
    left = max(row["at_most"] - row["saves"], 0.0)
    hours = (
        f"{row['shop_name']}: {number(row['planned_hours'], digits=1)} of "
        f"{number(row['check_hours'], 'h', 0)} for checks are planned"
    )
    if row["method"] == "exact" or left < 0.05:
        return f"{hours}; no plan under these limits is better (all were weighed)."
    return f"{hours}; a better plan could save {money(left, currency)} more at most."
