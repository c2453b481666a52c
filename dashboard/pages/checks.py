"""The plan of checks: which bike comes in when, why, and which got no day."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.check_plan import calendar_chart, calendar_reading
from dashboard.markup import Html, bullets, fold, identifier, joined, link, table, tag, to_bike
from dashboard.once import once
from dashboard.parts.plan_downloads import plan_downloads
from dashboard.parts.save_csv import save_csv
from dashboard.parts.show_chart import show_chart
from dashboard.sieve import leaf, leaf_count, shop_names
from dashboard.wording.check_plan_words import (
    NOT_SAFE,
    PLIGHTS,
    PRIVATE,
    against_none,
    day_of_week,
    first_weeks,
    in_short,
    money,
    plight_words,
    rests_on,
    rounded,
)
from dashboard.words import counted, day, lines, number
from pipeline.access.check_plan_view import CheckPlanView
from pipeline.asker import OPERATOR

TITLE = "Checks: which bike comes in when"
ROWS_SHOWN = 50
_BOUND = {"bind": "query-params"}


def show(shown: records.Shown) -> None:
    """Draw the page; shop and fleet stand in the address."""
    view = records.checks(shown)
    surround.top_line(surround.worklist_link(), "Checks")
    surround.which_records(view.edition)
    as_of = surround.records_as_of(view.edition)
    st.html(joined([tag("h1", TITLE), tag("p", as_of, class_="wa-quiet")]))
    if shown.asker.role == OPERATOR:
        _of_fleet(view)
        return
    if view.days.empty and len(view.about):
        surround.nothing(
            "There is nothing to plan: no working day lies in these weeks. The days on which shops "
            "work, and those on which they are closed, stand on the page of costs and levels."
        )
        return
    if view.days.empty or view.about["bike_count"].sum() == 0:
        surround.nothing("There is nothing to plan: no bike with a sensor in service is on record.")
        return
    shop, fleet = _asked(view)
    visits, unplaced, events = (
        once(view, (name, shop, fleet), partial(_of, getattr(view, name), shop, fleet))
        for name in ("visits", "unplaced", "events")
    )
    days = view.days if shop is None else view.days[shop_names(view.days).eq(shop)]
    currency = view.settings["currency"] if pd.notna(view.settings["currency"]) else ""
    short = partial(in_short, visits, unplaced, currency)
    first, *more = once(view, ("in_short", shop, fleet), short)
    st.html(joined([tag("p", tag("strong", first)), bullets(more)]))
    _first_weeks(days, visits)
    surround.show_cautions(whole=False)
    st.html(tag("p", NOT_SAFE))
    _downloads(visits, events)
    _calendar(days, visits, fleet)
    _list(visits, currency)
    _unplaced(unplaced, currency)
    surround.heading("What this plan rests on")
    st.html(bullets(rests_on(view.about, view.settings)))


def _of_fleet(view: CheckPlanView) -> None:
    """An operator's own bikes in every shop, without the shops' hours and costs."""
    if view.visits.empty and view.unplaced.empty:
        surround.nothing(
            "No check of your bikes is planned, and none waits for a day. That says nothing about "
            "any bike: each keeps what its own page tells of it."
        )
        return
    said = f"{counted(len(view.visits), 'bike')} to come in."
    st.html(tag("p", tag("strong", said)))
    surround.show_cautions(whole=False)
    st.html(tag("p", NOT_SAFE))
    _downloads(view.visits, view.events)
    _list(view.visits, "")
    _unplaced(view.unplaced, "")


def _without_costs(columns: dict, rows: pd.DataFrame, cost: str, heading: str) -> dict:
    """Columns of a table, without that of a cost that is told of none of the rows."""
    return {name: of for name, of in columns.items() if name != heading or rows[cost].notna().any()}


def _asked(view: CheckPlanView) -> tuple[str | None, str | None]:
    """Shop and fleet chosen; None for all."""
    shops, fleets = once(view, "choices", partial(_choices, view))
    left, right = st.columns(2)
    shop = left.selectbox(
        "Shop",
        shops,
        index=None,
        key="check_shop",
        placeholder="All shops",
        on_change=_first,
        **_BOUND,
    )
    fleet = right.selectbox(
        "Fleet",
        fleets,
        index=None,
        key="check_fleet",
        placeholder="All bikes",
        on_change=_first,
        **_BOUND,
    )
    return shop, fleet


def _choices(view: CheckPlanView) -> tuple[list[str], list[str]]:
    both = pd.concat([view.visits, view.unplaced], ignore_index=True)
    return sorted(set(shop_names(view.days))), sorted(set(_fleets(both)))


def _fleets(rows: pd.DataFrame) -> pd.Series:
    return rows["fleet_id"].where(rows["fleet_id"].notna() & rows["fleet_id"].ne(""), PRIVATE)


def _of(rows: pd.DataFrame, shop: str | None, fleet: str | None) -> pd.DataFrame:
    keep = pd.Series(True, index=rows.index)
    if shop is not None:
        keep &= shop_names(rows).eq(shop)
    if fleet is not None:
        keep &= _fleets(rows).eq(fleet)
    return rows[keep].reset_index(drop=True)


def _first_weeks(days: pd.DataFrame, visits: pd.DataFrame) -> None:
    for name, sentences in first_weeks(days, visits):
        st.html(joined([tag("h2", name), bullets(sentences)]))


def _downloads(visits: pd.DataFrame, events: pd.DataFrame) -> None:
    plan_downloads(visits, events, name="checks")
    st.html(
        tag(
            "p",
            "Taken in anew, the calendar file moves the visits that a calendar holds already and "
            "marks those cancelled that are planned no more. Windows in which bikes can be spared "
            "are put in on the page of the fleet: ",
            link("The fleet at a glance", "fleet", "wa-pressed"),
            ".",
            class_="wa-quiet",
        )
    )


def _calendar(days: pd.DataFrame, visits: pd.DataFrame, fleet: str | None) -> None:
    surround.heading("The coming weeks")
    if fleet is not None:
        own = visits.groupby(["shop_id", "on_day"]).agg(
            visit_count=("unit_id", "size"), planned_hours=("work_hours", "sum")
        )
        blank = days.drop(columns=["visit_count", "planned_hours"])
        days = blank.merge(own.reset_index(), on=["shop_id", "on_day"], how="left")
        days = days.fillna({"visit_count": 0, "planned_hours": 0.0})
    columns = {
        "Day": lambda r: day_of_week(r["on_day"]),
        "Shop": "shop_name",
        "Bikes": lambda r: f"{r['visit_count']:.0f}",
        "Hours planned": lambda r: number(r["planned_hours"], digits=1),
        "Hours for checks": lambda r: (
            f"{number(r['check_hours'], digits=1)}{' (assumed)' if r['hours_assumed'] else ''}"
        ),
        "More, if tests find defects": lambda r: number(r["further_hours"], "h", 1),
    }
    reading = calendar_reading(days)
    shown = rounded(days)
    show_chart(partial(calendar_chart, days), reading, shown, columns, name="checks_by_day")


def _list(visits: pd.DataFrame, currency: str) -> None:
    surround.heading("Bike by bike")
    if visits.empty:
        surround.nothing(
            "No bike is planned. That says nothing about any bike: each keeps its advice on the "
            "worklist."
        )
        return
    columns = {
        "Day": lambda r: day_of_week(r["on_day"]),
        "Bike": lambda r: to_bike(r["unit_id"], r["label"]),
        "Shop": "shop",
        "Fleet": lambda r: identifier(r["fleet_id"]) if pd.notna(r["fleet_id"]) else PRIVATE,
        "What to do": lambda r: _sentences(r["todo"]),
        "Why this day": lambda r: _sentences(r["why"]),
        "Against not checking": lambda r: against_none(r["saves"], currency),
    }
    rows = visits.assign(shop=shop_names(visits))
    leaves = leaf_count(len(rows))
    above = st.container()
    chosen = (
        st.pagination(leaves, key="check_leaf", max_visible_pages=5, **_BOUND) if leaves > 1 else 1
    )
    shown = leaf(rows, chosen)
    columns = _without_costs(columns, rows, "saves", "Against not checking")
    caption = f"{counted(len(rows), 'visit')}, the earliest first; {len(shown)} shown."
    above.html(table(shown, columns, caption))


def _unplaced(unplaced: pd.DataFrame, currency: str) -> None:
    surround.heading("No day found")
    if unplaced.empty:
        surround.nothing("Every bike for which a check is advised or pays has a day.")
        return
    columns = {
        "Bike": lambda r: to_bike(r["unit_id"], r["label"]),
        "Shop": "shop",
        "What to do": lambda r: _sentences(r["todo"]),
        "Why no day": lambda r: _sentences(r["words"]),
        "Best day, limits aside": lambda r: day(r["best_day"]),
        "Going unchecked costs": lambda r: _waiting(r, currency),
    }
    rows = unplaced.assign(shop=shop_names(unplaced))
    columns = _without_costs(columns, rows, "waiting_costs", "Going unchecked costs")
    for plight in PLIGHTS:
        own = rows[rows["plight"].eq(plight)]
        if own.empty:
            continue
        caption = f"{len(own.head(ROWS_SHOWN))} of {counted(len(own), 'bike')}, the dearest first."
        st.html(
            fold(plight_words(plight, own, currency), table(own.head(ROWS_SHOWN), columns, caption))
        )
    save_csv(rounded(unplaced), "checks_without_a_day", "Save these as CSV")


def _waiting(row: dict, currency: str) -> str:
    costs = row["waiting_costs"]
    if pd.isna(costs):
        return "not known"
    return money(costs, currency) if costs > 0 else "no more than a check"


def _sentences(text: object) -> Html:
    return joined([tag("span", sentence) for sentence in lines(text)], " ")


def _first() -> None:
    """Another choice begins at the first leaf again."""
    st.session_state.pop("check_leaf", None)


if __name__ == "__main__":
    surround.page(show)
