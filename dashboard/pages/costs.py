"""Costs and levels: what they are, and what the advice and the orders would be with others."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import asdict
from itertools import groupby

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import records, surround
from dashboard.forms.setting_fields import setting_field
from dashboard.markup import Html, bullets, joined, table, tag, to_bike
from dashboard.parts.save_csv import save_csv
from dashboard.parts.sensor_list import action_mark
from dashboard.wording import empty_words
from dashboard.wording.what_if_words import (
    CHECKS_SOON,
    ORDERS_SOON,
    SECTION_NAMES,
    SHOWN,
    advice_counts,
    advice_reading,
    changed_advice,
    changed_orders,
    checks_reading,
    cost_reading,
    file_reading,
    in_fields,
    orders_reading,
)
from dashboard.words import ACTIONS, counted, in_100, known, money, number, plain
from pipeline.access.scope.allowed import may_settle
from pipeline.access.what_if import (
    SETTINGS,
    AdviceIf,
    WeighedAnew,
    WhatIfBase,
    advice_if,
    checks_if,
    orders_if,
    standing,
    weigh_anew,
)
from pipeline.home import HomeError
from pipeline.intake.settings.settings_edit import keep_settings

TITLE = "Costs and levels, and what they change"
_OF_ALL = "Settings hold for all shops: an owner who sees all of them keeps them."
_AGAIN_AFTER_S = 0.1
_REBUILD = "python3 -m pipeline rebuild"


def show(shown: records.Shown) -> None:
    """Draw the page."""
    base = records.costs(shown)
    surround.top_line(surround.worklist_link(), "Costs and levels")
    surround.which_records(base.edition)
    intro = (
        "Every value begins as an assumed default: put in what is true of your shop and see at "
        f"once what would be advised and ordered. {surround.records_as_of(base.edition)}"
    )
    st.html(joined([tag("h1", TITLE), tag("p", intro, class_="wa-quiet")]))
    surround.show_cautions(whole=False)
    said = [*base.problems, file_reading(base)]
    if any(said):
        st.html(tag("div", bullets(filter(None, said)), class_="wa-said"))
    in_short = st.container()
    values = _settings(asdict(base.in_file))
    try:
        settings = standing(values)
    except ValueError as error:
        surround.nothing(f"These settings cannot stand: {in_fields(str(error))}.")
        return
    advice_here, orders_here, checks_here = (st.container() for _ in range(3))
    with checks_here:
        waiting = _checks_soon()
    anew = weigh_anew(base, settings)
    found = advice_if(base, anew)
    said_here = in_short.empty()  # not before: what it said of other settings stands until now
    _say(said_here, advice_reading(found), ORDERS_SOON)
    orders = orders_if(base, anew)
    _say(said_here, advice_reading(found), orders_reading(orders, settings.currency))
    with advice_here:
        _advice(base, found, settings.planning_horizon_days, settings.currency)
    with orders_here:
        _orders(orders)
    with checks_here:
        _checks(base, anew, waiting)
    _keep(shown, values, is_demo=base.edition.is_demo)


def _say(place: DeltaGenerator, *sentences: str) -> None:
    said = (tag("p", sentence) for sentence in sentences)
    place.html(tag("div", *said, class_="wa-said", role="status"))


def _settings(now: dict[str, object]) -> dict[str, object]:
    """A field for each setting, by section; what stands in them."""
    values = {}
    for section, names in groupby(SETTINGS, key=lambda name: SETTINGS[name][0].section):
        with (
            st.expander(SECTION_NAMES[section], expanded=section == "costs"),
            st.container(horizontal=True, vertical_alignment="bottom"),
        ):
            for name in names:
                values[name] = setting_field(name, now[name], key=f"set_{name}")
    return values


def _advice(base: WhatIfBase, found: AdviceIf, days: int, currency: str) -> None:
    surround.heading("What would be advised")
    sentences = cost_reading(base, found, days, currency)
    st.html(joined([tag("p", sentence) for sentence in sentences]))
    columns = {
        "What to do": lambda r: action_mark(r["name"]),
        "Sensors, as on the worklist": "action_as_built",
        "Sensors, with these settings": "action",
    }
    st.html(table(advice_counts(found), columns, "Sensors in service by what is advised."))
    changed = changed_advice(found)
    if changed.empty:
        return
    columns = {
        "Bike": lambda r: to_bike(r["unit_id"], r["label"]),
        "Sensor": "sensor_id",
        "Shop": "shop_name",
        "Chance of a defect now": _chance,
        "On the worklist": lambda r: plain(r["action_as_built"], ACTIONS),
        "With these settings": lambda r: action_mark(r["action"]),
        "Expected cost": lambda r: money(r["cost"], currency) if known(r["cost"]) else "not known",
    }
    caption = "Sensors that would get other advice."
    if len(changed) > SHOWN:
        caption = f"The first {SHOWN} of {len(changed):,} sensors that would get other advice."
    st.html(table(changed.head(SHOWN), columns, caption))
    save_csv(changed.round(4), "other_advice")


def _chance(row: dict) -> Html | str:
    return f"{in_100(row['defect_now'])} in 100" if known(row["defect_now"]) else "not known"


def _orders(orders: pd.DataFrame) -> None:
    changed = changed_orders(orders)
    if changed.empty:
        return
    surround.heading("What would be ordered instead")
    columns = {
        "Shop": "shop_id",
        "Part": "part_no",
        "Expected need, as built": lambda r: _parts(r["need_as_built"], 1),
        "Expected need, with these settings": lambda r: _parts(r["need"], 1),
        "Order today, as built": lambda r: _parts(r["order_parts_as_built"], 0),
        "Order today, with these settings": lambda r: _parts(r["order_parts"], 0),
    }
    caption = "Parts over each one's lead time and the time until the next ordering."
    st.html(table(changed, columns, caption))
    save_csv(changed.round(4), "other_orders")


def _checks_soon() -> DeltaGenerator:
    """The calendar takes longest: before all else it is said to be under way; where it is said."""
    surround.heading("What checks would be planned")
    waiting = st.empty()
    waiting.html(tag("p", CHECKS_SOON, role="status"))
    return waiting


def _checks(base: WhatIfBase, anew: WeighedAnew, waiting: DeltaGenerator) -> None:
    """The plan of checks, in the place of the word that it is under way.

    A setting changed meanwhile is taken up at once: what is told to the page gives up a run that
    has been overtaken, so it is told again and again.
    """
    under_way = _each_while(lambda: waiting.html(tag("p", CHECKS_SOON, role="status")))
    checks = checks_if(base, anew, under_way)
    waiting.html(tag("p", checks_reading(checks, anew.settings.currency)))
    if checks.empty:
        return
    columns = {
        "Shop": "shop_name",
        "Visits, as built": "visit_count_as_built",
        "Visits, with these settings": "visit_count",
        "Of these owed, at a cost": "owed_count",
        "Bay hours, as built": lambda r: number(r["planned_hours_as_built"], "h", digits=1),
        "Bay hours, with these settings": lambda r: number(r["planned_hours"], "h", digits=1),
        "Bay hours kept for checks": lambda r: number(r["check_hours"], "h", digits=1),
    }
    weeks = f"Visits in the next {counted(anew.settings.weeks_ahead, 'week')}."
    st.html(table(checks, columns, weeks))


def _each_while(tell: Callable[[], object]) -> Callable[[], None]:
    """Tell at once, and again when asked to after a while."""
    told_at = float("-inf")

    def again() -> None:
        nonlocal told_at
        if time.monotonic() - told_at >= _AGAIN_AFTER_S:
            tell()
            told_at = time.monotonic()

    return again


def _parts(value: object, digits: int) -> str:
    if not known(value):
        return "none"
    shown = number(value, digits=digits)
    return f"{shown} part" if shown == "1" else f"{shown} parts"


def _keep(shown: records.Shown, values: dict[str, object], *, is_demo: bool) -> None:
    surround.heading("Keep these settings")
    home = f" --home {shown.home.root}" if is_demo else ""
    words = ["They take hold with the next build: ", tag("code", f"{_REBUILD}{home}"), "."]
    st.html(tag("p", *words))
    if not may_settle(shown.asker):
        surround.nothing(_OF_ALL)
        return
    if not st.button("Keep these settings", key="keep_settings"):
        return
    try:
        faults = keep_settings(shown.home, values, asker=shown.asker)
    except (OSError, HomeError) as error:
        st.html(tag("p", f"They could not be kept: {error}", class_="wa-waits"))
        return
    said = "; ".join(f"{name}: {fault}" for name, fault in faults.items())
    done = f"Not kept: {said}." if said else f"Kept in {shown.home.settings.name}."
    st.html(tag("p", done, role="status"))


if __name__ == "__main__":
    surround.page(show, empty=empty_words.COSTS)
