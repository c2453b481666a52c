"""The plan of checks in words: the coming weeks shop by shop, what got no day, what it rests on."""

from __future__ import annotations

import pandas as pd

from dashboard.words import counted, day, in_currency, number

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
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_NAMED = 4
_CLOSED_NAMED = 8


def money(value: object, currency: str = "") -> str:
    """An amount of the shop's currency, whole from 10 up."""
    if pd.isna(value):
        return "not known"
    digits = 0 if abs(float(value)) >= 9.95 else 1
    return in_currency(number(value, digits=digits), currency)


def against_none(saves: float, currency: str = "") -> str:
    """``42 less`` or ``56 more``: what a check is expected to cost against none."""
    return f"{money(abs(saves), currency)} {'less' if saves >= 0 else 'more'}"


def day_of_week(value: object) -> str:
    """``Tuesday 2026-11-10``."""
    return f"{WEEKDAYS[pd.Timestamp(value).weekday()]} {day(value)}"


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
        CHECKWEEKDAYS and CHECK_VISITS, as filtered.
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
        f"{WEEKDAYS[pd.Timestamp(at).weekday()]} {_some(rows['label'].tolist())}"
        for at, rows in visits.groupby("on_day")
    ]
    return f"{name}, {counted(len(visits), 'bike')}: {'; '.join(by_day)}."


def _some(labels: list[str]) -> str:
    shown = ", ".join(map(str, labels[:_NAMED]))
    more = len(labels) - _NAMED
    return f"{shown} and {more} more" if more > 0 else shown


def in_short(visits: pd.DataFrame, unplaced: pd.DataFrame, currency: str) -> list[str]:
    """How many come and why, what that saves or adds, who is late and how many got no day.

    Checks that pay by themselves, and those owed though they cost more than none, are counted
    apart.
    """
    if visits.empty:
        words = ["No bike is to come in for a check in these weeks."]
    else:
        words = [f"{counted(len(visits), 'bike')} to come in.", *_reasons(visits, currency)]
    late = int(visits["late"].sum()) + int(unplaced["late"].sum())
    if late:
        words.append(
            f"{counted(late, 'bike is', 'bikes are')} late: no later day is cheaper than the first."
        )
    advised = int(visits["needs_advised_part"].sum())
    if advised:
        rest = counted(advised, "visit rests", "visits rest")
        words.append(f"{rest} on a part that today's stock plan only advises to get.")
    if len(unplaced):
        words.append(f"{counted(len(unplaced), 'bike')} got no day, listed below with the reason.")
    return words


def _reasons(visits: pd.DataFrame, currency: str) -> list[str]:
    pays = visits["saves"].ge(0)
    paying, dear = visits[pays], visits[~pays]
    words = []
    if len(paying):
        asked = int(paying["owed"].sum())
        too = f" ({asked:,} of them asked for by the worklist too)" if asked else ""
        words.append(
            f"{counted(len(paying), 'check pays', 'checks pay')} by itself{too}: expected to cost "
            f"{against_none(paying['saves'].sum(), currency)} than none."
            if len(paying) == 1
            else f"{len(paying):,} checks pay by themselves{too}: together they are expected to "
            f"cost {against_none(paying['saves'].sum(), currency)} than none."
        )
    if len(dear):
        more = against_none(dear["saves"].sum(), currency)
        head = counted(len(dear), "check is", "checks are")
        words.append(
            f"{head} owed though expected to cost {more} than none: {_owed(dear, currency)}."
        )
    return words


def _owed(dear: pd.DataFrame, currency: str) -> str:
    """Owed checks that cost more than none, by the reason they are owed for."""
    not_known, private = dear["owed_for"].eq("not_known"), _private(dear)
    groups = {
        "where work is advised": ~not_known,
        "of fleet bikes of which not enough is known": not_known & ~private,
        "of private bikes of which not enough is known": not_known & private,
    }
    told = [
        f"{int(own.sum()):,} {name} ({against_none(dear.loc[own, 'saves'].sum(), currency)})"
        for name, own in groups.items()
        if own.any()
    ]
    return ", ".join(told)


def _private(rows: pd.DataFrame) -> pd.Series:
    return rows["fleet_id"].isna() | rows["fleet_id"].eq("")


def rounded(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows as they stand in a file: hours and money to a hundredth, chances to a thousandth."""
    numbers = rows.select_dtypes("float").columns
    return rows.round({name: 3 if name == "part_needed" else 2 for name in numbers})


def plight_words(plight: str, rows: pd.DataFrame, currency: str) -> str:
    """How many bikes share a plight, and what waiting costs them together."""
    costs = rows["waiting_costs"].clip(lower=0).sum()
    waits = f", waiting costs {money(costs, currency)} in expectation" if costs > 0 else ""
    return f"{PLIGHTS.get(plight, plight)}: {counted(len(rows), 'bike')}{waits}"


def rests_on(about: pd.DataFrame, settings: dict) -> list[str]:
    """What the plan takes as given, and how near it is to the best."""
    currency = settings["currency"] if pd.notna(settings["currency"]) else ""
    days = [WEEKDAYS[int(d)] for d in str(settings["working_days"]).split()]
    closed = str(settings["closed_days"]).split() if pd.notna(settings["closed_days"]) else []
    share = 100 * settings["check_share_of_bay_hours"]
    depot_day = money(settings["depot_day_cost"], currency)
    return [
        f"{counted(int(settings['weeks_ahead']), 'week is', 'weeks are')} planned; shops check on "
        f"{', '.join(days)}{_closed(closed)} (settings, on the page of costs and levels).",
        f"Of the bay hours {number(share, '%', 0)} are for planned checks (a setting, assumed at "
        f"first): a test takes {number(settings['test_hours'], 'h')}, a replacement "
        f"{number(settings['replace_hours'], 'h')}.",
        *_assumed_hours(about, settings),
        f"A day on which bikes of one depot come costs {depot_day}, however many do; so bikes of a "
        "depot come together where that is worth it. The sums above leave these days' costs out.",
        "A bike with windows comes only inside them. Where a fleet hands in windows, its bikes "
        "without one ahead get no day. A private bike can be called on any working day.",
        "Each bike comes to its own shop; no travel between shops is planned.",
        "A planned replacement needs its part by the day: on the shelf, on its way, or to come by "
        "what is advised to be ordered or fetched today, which is said of each such visit. No part "
        "is counted for two. A shop that hands in no count is not held to its stock.",
        _private_choice(str(settings["private_not_known"])),
        "Costs are a model's expectation under the costs set, not a promise.",
        *[_method(row, currency) for row in about.to_dict("records")],
    ]


def _closed(days: list[str]) -> str:
    if not days:
        return ", no closed days named"
    more = f" and {len(days) - _CLOSED_NAMED} more" if len(days) > _CLOSED_NAMED else ""
    return f", closed on {', '.join(days[:_CLOSED_NAMED])}{more}"


def _private_choice(chosen: str) -> str:
    private = {
        "ask in": "private bikes are asked in too",
        "wait": "private bikes wait until they come for something else or a check pays",
    }[chosen]
    return (
        "A bike of a fleet of which not enough is known is owed a test, whatever it costs; "
        f"{private} (a setting, on the page of costs and levels)."
    )


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
