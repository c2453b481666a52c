"""The parts stock plan in sentences: what to order, why, and what it rests on."""

from __future__ import annotations

import pandas as pd

from dashboard.words import about_in_100, counted, day, in_100, known, money, number

# In the file each number carries its unit.
_EXPORT_NAMES = {
    **dict.fromkeys(("counted", "used_since", "on_hand", "old_on_hand", "due", "there"), "parts"),
    **dict.fromkeys(("need", "need_low", "need_high", "need_from_sensors"), "parts"),
    **dict.fromkeys(("need_from_repeats", "need_from_walk_ins", "base_stock"), "parts"),
    **dict.fromkeys(("transfer_in", "transfer_out"), "parts"),
    **dict.fromkeys(("short_before", "short_now", "short_after"), "chance_0_to_1"),
    **dict.fromkeys(("filled_now", "filled_after"), "share_0_to_1"),
    **dict.fromkeys(("unit_price", "tied_up", "tied_up_after"), "money"),
    **dict.fromkeys(("keep_one_cost", "keep_none_cost"), "money_a_year"),
}


def exported(rows: pd.DataFrame) -> pd.DataFrame:
    """STOCK_ORDERS rows as they stand in the file, units behind the names."""
    return rows.rename(columns={name: f"{name}_{unit}" for name, unit in _EXPORT_NAMES.items()})


def tied_up(row: dict, currency: str) -> str:
    """Money in parts on hand and due, today and with what is advised."""
    now, after = row["tied_up"], row["tied_up_after"]
    return money(now, currency) if now == after else f"{now:,.0f} → {money(after, currency)}"


def parts(value: float) -> str:
    """A whole number of parts."""
    return counted(int(value), "part")


def expected(value: float) -> str:
    """Parts expected: one digit, and never none where some may be asked for."""
    return "less than 0.1" if 0 < value < 0.05 else number(value, digits=1)


def needed(row: dict) -> str:
    """Parts expected to be asked for in the days covered, with the likely range."""
    return (
        f"{expected(row['need'])} in {counted(row['covered_days'], 'day')}, likely "
        f"{_range(row['need_low'], row['need_high'])}"
    )


def _range(low: float, high: float) -> str:
    return f"{low:.0f}" if low == high else f"{low:.0f} to {high:.0f}"


def position(row: dict) -> str:
    """On the shelf, with what is left of older numbers."""
    old = f" + {row['old_on_hand']} of {row['used_for']}" if row["old_on_hand"] else ""
    return f"{row['on_hand']}{old}"


def coming(row: dict) -> str:
    """Parts on order and when they come."""
    if not row["due"]:
        return "none"
    when = {
        "due": f"due {day(row['due_on'])}",
        "overdue": f"overdue since {day(row['due_on'])}",
        "assumed": f"by {day(row['due_on'])}, assumed",
    }[row["due_state"]]
    return f"{row['due']}, {when}"


def unmet(chance: float) -> str:
    """Chance of a need unmet, in 100; never quite sure."""
    return in_100(min(chance, 0.999))


def runs_out(row: dict) -> str:
    """Chance of a need unmet, today and after what is advised."""
    now, after = unmet(row["short_now"]), unmet(row["short_after"])
    return f"{now} in 100" if now == after else f"{now} → {after} in 100"


def order_now(row: dict) -> str:
    """What to order and pass on, in packs where they hold more than one."""
    said = []
    if row["order_parts"]:
        packs = ""
        if row["pack_size"] > 1:
            packs = f" ({counted(row['order_packs'], 'pack')} of {row['pack_size']})"
        said.append(f"order {row['order_parts']}{packs}")
    if row["transfer_in"]:
        said.append(f"take {row['transfer_in']} from another shop")
    if row["transfer_out"]:
        said.append(f"give {row['transfer_out']} to another shop")
    return ", ".join(said) or "nothing"


def advised(row: dict) -> bool:
    """Whether anything is to be ordered or passed on."""
    return bool(row["order_parts"] or row["transfer_in"] or row["transfer_out"])


def reasons(row: dict, currency: str = "") -> list[str]:
    """Why, the weightiest sentence first, then what is missing or assumed."""
    return [_why(row, currency), *_doubts(row, currency)]


def _why(row: dict, currency: str) -> str:
    if row["supply"] == "ended":
        return (
            f"Supply ended on {day(row['supply_ends_on'])} and no number takes its place: nothing "
            "can be ordered."
        )
    days = f"in the next {counted(row['covered_days'], 'day')}"
    if row["n_left_out"] and not row["n_sensors"]:
        many = counted(row["n_left_out"], "sensor")
        return f"Not enough known: of {many} here no chance is known, so that no need can be told."
    if row["none_is_right"]:
        costs = (
            f"keeping one costs {money(row['keep_one_cost'], currency)} a year, doing without "
            f"{_small_money(row['keep_none_cost'], currency)}"
        )
        kept = " What is there may be used up." if row["on_hand"] + row["due"] else ""
        return f"A slow mover: stocking none costs least ({costs}).{kept}"
    filled = f"{about_in_100(row['filled_now'])} of 100 needs would be met at once"
    if not advised(row):
        return f"What is there and due is enough: {filled} without an order."
    if row["transfer_out"] and not row["order_parts"]:
        return "It has more than it needs, and another shop lacks some."
    return (
        f"{_capital(expected(row['need']))} expected {days}; without an order {filled}, with it "
        f"{in_100(row['filled_after'])}."
    )


def _small_money(value: float, currency: str) -> str:
    return f"about {money(value, currency)}" if value >= 1 else f"less than {money(1, currency)}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _doubts(row: dict, currency: str) -> list[str]:
    left = row["n_left_out"]
    more = f"{counted(left, 'sensor')} without a chance {'is' if left == 1 else 'are'} left out"
    return [
        *_shelf_doubts(row),
        *_supply_doubts(row, currency),
        *([f"{more}, so more may be asked for."] if left else []),
    ]


def _shelf_doubts(row: dict) -> list[str]:
    """What is not sure of the parts on the shelf and on order."""
    counted_on = day(row["counted_on"])
    stale = f"Last counted on {counted_on}: count again first."
    said = [
        {
            "never": "Never counted here: taken as none on the shelf. Count first.",
            "stale": stale,
        }.get(row["count_state"], ""),
        {
            "overdue": "The order is overdue: ask for it. It is taken to come by the next review.",
            "assumed": "When the order comes is not on record; its day is assumed.",
        }.get(row["due_state"], ""),
    ]
    too_late = row["on_hand"] + row["due"] - row["there"]
    if too_late > 0:
        said.append(f"{too_late} on order come too late for these days: ask for them sooner.")
    if row["used_since"]:
        said.insert(
            1, f"{row['counted']} counted on {counted_on}, {row['used_since']} fitted since."
        )
    return [sentence for sentence in said if sentence]


def _supply_doubts(row: dict, currency: str) -> list[str]:
    """Numbers that took others' place, an end of supply, and what is assumed of buying."""
    said = []
    if row["old_on_hand"]:
        said.append(f"Use up {row['used_for']} first where it fits.")
    elif known(row["used_for"]):
        said.append(f"Also takes the needs of {row['used_for']}, no longer supplied.")
    if row["supply"] == "ending":
        said.append(f"Its supply ends on {day(row['supply_ends_on'])}, within these days.")
    if row["lead_time_assumed"]:
        said.append(f"No lead time on record: {counted(row['lead_time_days'], 'day')} assumed.")
    if row["price_assumed"]:
        said.append(f"No price on record: {money(row['unit_price'], currency)} assumed.")
    return said


def in_short(rows: pd.DataFrame, currency: str) -> str:
    """What to order today, over all shops."""
    lines = rows[rows["order_parts"] > 0]
    tied = f"{money(rows['tied_up'].sum(), currency)} is tied up in parts on hand and due"
    moved = int(rows["transfer_in"].sum())
    passed = f" {_capital(parts(moved))} to pass between shops first." if moved else ""
    if lines.empty:
        return f"Nothing to order today.{passed} {_capital(tied)}."
    shops = counted(lines["shop_id"].nunique(), "shop")
    return (
        f"Order {parts(lines['order_parts'].sum())} today for "
        f"{money(lines['order_money'].sum(), currency)}: {counted(len(lines), 'line')} in {shops}."
        f"{passed} {_capital(tied)}, {money(rows['tied_up_after'].sum(), currency)} with the order."
    )


def to_settle(rows: pd.DataFrame) -> list[str]:
    """What stands in the way of trusting the orders: counts, and parts that cannot be had."""
    uncounted, old = (int(rows["count_state"].eq(state).sum()) for state in ("never", "stale"))
    gone = int((rows["supply"].eq("ended") & rows["short_now"].gt(0.05)).sum())
    said = []
    if uncounted or old:
        kinds = [f"{uncounted} never counted"] * bool(uncounted) + [f"{old} long ago"] * bool(old)
        lines = counted(uncounted + old, "line")
        said.append(f"Count first: {lines} without a fresh count ({', '.join(kinds)}).")
    if gone:
        cannot = "can no longer be ordered and may be asked for"
        said.append(f"{counted(gone, 'line')} {cannot}: see what goes out of supply.")
    return said


def part_in_words(row: dict, currency: str) -> list[str]:
    """One shop's part in sentences, beneath its heading."""
    moved = row["transfer_in"] - row["transfer_out"]
    aim = (
        f"Level aimed at: {parts(row['base_stock'])} there in time; without an order there are "
        f"{row['there']}{f', {moved:+d} by transfer' if moved else ''}."
    )
    sources = [
        f"{expected(row['need_from_sensors'])} by {counted(row['n_sensors'], 'sensor')} in service",
        f"{expected(row['need_from_repeats'])} by new parts that fail again",
        f"{expected(row['need_from_walk_ins'])} by bikes never seen before",
    ]
    asked = f"Asked for in {counted(row['covered_days'], 'day')}: {', '.join(sources)}."
    before = (
        f"Before an order placed today can be there ({counted(row['lead_time_days'], 'day')}), a "
        f"need goes unmet with a chance of {unmet(row['short_before'])} in 100."
    )
    tied = (
        f"Money tied up: {money(row['tied_up'], currency)} today, "
        f"{money(row['tied_up_after'], currency)} with what is advised."
    )
    return [*reasons(row, currency), aim, asked, before, tied]


def walk_in_words(row: dict) -> str:
    """The rate of bikes never seen before, with its interval and what it rests on."""
    visits = counted(row["n_visits"], "first visit")
    seen = f"{counted(row['n_asked'], 'part')} at {visits} in {row['days'] / 365.25:.1f} years"
    rests = f"{in_100(row['own_share'])} in 100 on this shop's own first visits"
    return (
        f"Bikes never seen before ask for {_rate(row['per_year'])} of {row['part_no']} a year "
        f"(likely {_rate(row['per_year_low'])} to {_rate(row['per_year_high'])}): {seen}. That "
        f"rests {rests}, else on those of all shops."
    )


def _rate(value: float) -> str:
    return "less than 0.01" if value < 0.005 else number(value, digits=2 if value < 1 else 1)


def last_buy_words(row: dict, currency: str) -> str:
    """What to do about a part that goes out of supply."""
    ends = day(row["supply_ends_on"])
    years = number(row["covers_days"] / 365.25, digits=1)
    need = (
        f"about {expected(row['need'])} (likely {_range(row['need_low'], row['need_high'])}) may "
        f"be asked for in {years} {'year' if years == '1' else 'years'}, {row['in_stock']} "
        f"{'is' if row['in_stock'] == 1 else 'are'} there or due"
    )
    if row["state"] == "ended":
        return f"It could be ordered until {ends}; {need}. Look for another source in time."
    when = "before the next review" if row["state"] == "closing" else f"by {ends}"
    if not row["buy_parts"]:
        return f"It can be ordered until {ends}; {need}: no last order is needed."
    return (
        f"Last order {when}: {parts(row['buy_parts'])} for {money(row['buy_money'], currency)}; "
        f"{need}. That far ahead is rough: look at the range."
    )


def rests_on(about: dict) -> list[str]:
    """What the plan was made for, and what is assumed."""
    told, currency = about["settings"], about["currency"]
    fits = (
        f"mixed over {about['n_draws']} fits of the risk model, since one fit would make the "
        "spread too small"
        if about["n_draws"] > 1
        else "from one fit of the risk model, so the spread may be too small"
    )
    if told["order_by"] == "costs":
        aim = (
            "Orders are those that cost least: a need unmet costs "
            f"{money(told['shortage_cost'], currency)}, a part kept for a year "
            f"{in_100(told['holding_cost_share_per_year'])} of 100 of its price."
        )
    else:
        aim = (
            f"Orders are the fewest that meet {in_100(told['target_filled_share'])} of 100 needs "
            "at once in the review cycle that today's order serves. A slow mover is kept only "
            "where doing without costs more: a need unmet is put at "
            f"{money(told['shortage_cost'], currency)}, a year on the shelf at "
            f"{in_100(told['holding_cost_share_per_year'])} of 100 of the price."
        )
    agreed = about.get("transfers_allowed")  # of who does not see all shops it is not told
    consent = (
        "No transfers between shops: no two owners had agreed to any when it was made."
        if agreed == 0
        else "Shops pass parts to one another only where both owners had agreed when it was made."
    )
    return [
        f"Needs come from the chances of {counted(about['n_sensors'], 'sensor')}, counted exactly "
        f"and {fits}.",
        f"Stock is looked at every {counted(told['review_days'], 'day')}; an order covers its lead "
        "time and the days to the next look.",
        aim,
        f"A new part is taken to fail again at a rate of "
        f"{number(about['repeats_per_year'], digits=2)} a year.",
        consent,
        "Later orders and weeks show needs as expected; each is decided anew at its review.",
        "Costs, target and defaults are assumed until the owner sets them in the settings file.",
    ]
