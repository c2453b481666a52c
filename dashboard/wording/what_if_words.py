"""Other costs and levels tried out, in plain words."""

from __future__ import annotations

import re

import pandas as pd

from dashboard.words import ACTIONS, counted, money
from pipeline.access.what_if import SETTINGS, AdviceIf, WhatIfBase

SHOWN = 60
#: What stands in the place of what is not worked out yet.
ORDERS_SOON = "Parts to order today are being worked out anew …"
CHECKS_SOON = "The plan of checks is being worked out anew …"
SECTION_NAMES = {
    "costs": "Costs",
    "replace or test": "When to replace, test or leave",
    "stock": "Parts stock",
    "checks": "Preventive checks",
    "pooled": "What several shops show of one another",
}


def changed_advice(found: AdviceIf) -> pd.DataFrame:
    """Sensors that would get other advice than the records were built with."""
    rows = found.sensors
    return rows[rows["action"].ne(rows["action_as_built"])].reset_index(drop=True)


def changed_orders(rows: pd.DataFrame) -> pd.DataFrame:
    """Orders that would be other than the records were built with."""
    same = rows["order_parts"].eq(rows["order_parts_as_built"]).fillna(False)
    return rows[~same].reset_index(drop=True)


def advice_counts(found: AdviceIf) -> pd.DataFrame:
    """Sensors by action, as built and with these settings."""
    names = list(ACTIONS)
    counts = {
        column: found.sensors[column].value_counts().reindex(names, fill_value=0).to_numpy()
        for column in ("action_as_built", "action")
    }
    return pd.DataFrame({"name": names, **counts})


def advice_reading(found: AdviceIf) -> str:
    """How many sensors would get other advice."""
    n = len(changed_advice(found))
    of = counted(len(found.sensors), "sensor")
    if not n:
        return f"With these settings the advice for all {of} in service is as on the worklist."
    verb = "gets" if n == 1 else "get"
    return f"With these settings {n:,} of {of} in service {verb} other advice than on the worklist."


def cost_reading(base: WhatIfBase, found: AdviceIf, days: int, currency: str) -> list[str]:
    """What following the advice is expected to cost beside planning nothing, and how far that is.

    It is a model's estimate, and is told as one.
    """
    n = int(found.expected["sensor_count"])
    if not n:
        return ["No sensor's chances are known, so that no cost can be told."]
    names = ("following", "doing_nothing")
    follow, nothing = (money(found.expected[name], currency) for name in names)
    told = (
        f"Expected cost over {counted(days, 'day')}, {counted(n, 'sensor')} with known "
        f"chances: {follow} if the advice is followed, {nothing} if no work is planned and parts "
        "are replaced when a defect is heard of. A model's estimate on the costs set here, not a "
        "saving that was made; it counts no injury."
    )
    return [told, *saving_ahead(base.expected, currency)]


def saving_ahead(table: pd.DataFrame, currency: str) -> list[str]:
    """What the build's advice is estimated to save (EXPECTED_COST), and how the fits differ."""
    saves = table["doing_nothing"] - table["following"]
    fits = saves[table["draw"].gt(0)]
    if fits.empty:
        return []
    low, high = (money(x, currency) for x in (fits.min(), fits.max()))
    estimate = money(saves[table["draw"].eq(0)].iloc[0], currency)
    return [
        f"The advice on the worklist is estimated to save {estimate} against planning nothing; "
        f"{counted(len(fits), 'fit')} of the model, as uncertain as its parameters are, give {low} "
        f"to {high}. Assumed: a defect is heard of at the rate learned, and what is not advised "
        "now is done at its best time. The set floor of risk and evidence from tests may ask for "
        "work that costs more than it saves."
    ]


def orders_reading(orders: pd.DataFrame, currency: str) -> str:
    """How the orders of today would change."""
    changed = changed_orders(orders)
    spent = money(orders["order_money"].sum(), currency)
    built = money(orders["order_money_as_built"].sum(), currency)
    if changed.empty:
        return f"Parts to order today stay as they are: {spent} in all."
    return (
        f"Parts to order today change in {counted(len(changed), 'place')}: {spent} in all instead "
        f"of {built}."
    )


def file_reading(base: WhatIfBase) -> str:
    """That the file has been changed since the records were built, where it has."""
    if base.in_file == base.built_with:
        return ""
    return (
        "The settings kept have been changed since these records were built; the lists take them "
        "up with the next build."
    )


def checks_reading(checks: pd.DataFrame, currency: str) -> str:
    """How many visits would be planned, what those that pay save and those owed add."""
    if checks.empty:
        return "No shop is on record, so that no check can be planned."
    now, built = int(checks["visit_count"].sum()), int(checks["visit_count_as_built"].sum())
    told = f"{counted(now, 'visit')} would be planned"
    told += " as before." if now == built else f" instead of {built:,}."
    if not now:
        return told
    owed = int(checks["owed_count"].sum())
    saves, adds = float(checks["saves"].sum()), float(checks["owed_adds"].sum())
    parts = []
    if now > owed:
        saved = money(saves + adds, currency)
        pays = counted(now - owed, "that pays by itself saves", "that pay by themselves save")
        parts.append(f"{pays} {saved} against none")
    if owed:
        parts.append(
            counted(
                owed,
                "that the worklist asks for though it costs more than none adds",
                "that the worklist asks for though they cost more than none add",
            )
            + f" {money(adds, currency)}"
        )
    return f"{told} In expectation {', and '.join(parts)} (a model's estimate)."


def in_fields(faults: str) -> str:
    """What cannot stand, each setting named as its field is."""
    for name, (bounds, _) in SETTINGS.items():
        faults = re.sub(rf"\b{name}: ", f"“{bounds.meaning}”: ", faults)
    return faults
