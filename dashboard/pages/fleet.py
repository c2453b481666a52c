"""The fleet at a glance: chances by bike and week, what is not known, and when bikes are free."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.fleet import fleet_chart
from dashboard.markup import Html, bullets, folded_table, joined, link, tag, to_bike
from dashboard.once import once
from dashboard.parts.fleet_entry_part import service_part, window_part
from dashboard.parts.plan_downloads import plan_downloads
from dashboard.parts.save_csv import save_csv
from dashboard.parts.show_chart import show_chart
from dashboard.sieve import PRIVATE, leaf, leaf_count, shop_names
from dashboard.wording.fleet_words import (
    MEANING,
    check_words,
    fleet_reading,
    glance,
    in_1000,
    rests_on,
    share_words,
    typed_words,
    unknown_reasons,
    window_state,
    within_90,
)
from dashboard.words import counted, day
from pipeline.access.fleet_view import FleetView

TITLE = "The fleet at a glance"
#: Rows of a table before it folds: on a phone each row is a block of its own.
ROWS_SHOWN, ROWS_AT_MOST = 8, 60
_BOUND = {"bind": "query-params"}


@dataclass(frozen=True)
class Asked:
    """The fleet and shop chosen; None for all."""

    fleet: str | None
    shop: str | None

    def of(self, rows: pd.DataFrame) -> pd.DataFrame:
        """The rows of these, by ``fleet`` and ``shop`` of each."""
        keep = pd.Series(True, index=rows.index)
        for name, wanted in (("fleet", self.fleet), ("shop", self.shop)):
            if wanted is not None:
                keep &= rows[name].eq(wanted)
        return rows[keep].reset_index(drop=True)


@dataclass(frozen=True)
class Chosen:
    """What the page shows of the bikes asked for.

    ``bikes`` all of them, ``in_service`` those that run, ``ranked`` the same with the likeliest to
    fail first, ``unknown`` those of which too little is known; ``wide`` one row a bike with a
    column a week.
    """

    bikes: pd.DataFrame
    in_service: pd.DataFrame
    ranked: pd.DataFrame
    unknown: pd.DataFrame
    weeks: pd.DataFrame
    wide: pd.DataFrame
    visits: pd.DataFrame
    events: pd.DataFrame
    windows: pd.DataFrame
    glance: str
    reading: str
    week_numbers: list[int]


def show(shown: records.Shown) -> None:
    """Draw the page; fleet and shop stand in the address."""
    view = records.fleet(shown)
    surround.top_line(surround.worklist_link(), "Fleet")
    surround.which_records(view.edition)
    as_of = surround.records_as_of(view.edition)
    st.html(joined([tag("h1", TITLE), tag("p", as_of, class_="wa-quiet")]))
    if view.bikes.empty:
        surround.nothing("No bike is on record.")
        return
    every = once(view, "every", lambda: _named(view.bikes))
    asked = _asked(view, every)
    # by plain values: a class of this page is another one in its next run
    found = once(view, ("chosen", asked.fleet, asked.shop), lambda: _chosen(view, every, asked))
    st.html(tag("p", tag("strong", found.glance)))
    _typed(found.bikes)
    surround.show_cautions(whole=False)
    if found.ranked.empty:
        surround.nothing("No bike of these is in service.")
    else:
        _weeks(view, found)
        _unknown(found.unknown)
    _checks(found, asked)
    _windows(shown, found)
    surround.heading("Bikes that leave service")
    today = view.edition.as_of if view.edition.is_demo else date.today()
    service_part(shown, found.bikes, today)


def _named(bikes: pd.DataFrame) -> pd.DataFrame:
    return bikes.assign(shop=shop_names(bikes), fleet=bikes["fleet_id"].fillna(PRIVATE))


def _chosen(view: FleetView, every: pd.DataFrame, asked: Asked) -> Chosen:
    bikes = asked.of(every)
    here = bikes[~bikes["out_of_service"].astype(bool)].reset_index(drop=True)
    unknown = _unknown_rows(here)
    weeks = _rows_of(view.weeks, here)
    last = weeks.groupby("unit_id")["road_by_then"].last()
    ranked = here.assign(by_then=here["unit_id"].map(last)).sort_values(
        ["by_then", "label", "unit_id"], ascending=[False, True, True], na_position="last"
    )
    return Chosen(
        bikes,
        here,
        ranked,
        unknown,
        weeks,
        _wide(ranked, weeks),
        *(_rows_of(rows, here) for rows in (view.visits, view.events, view.windows)),
        glance(here, len(unknown)),
        fleet_reading(here, weeks),
        sorted(weeks["week"].unique()),
    )


def _rows_of(rows: pd.DataFrame, bikes: pd.DataFrame) -> pd.DataFrame:
    """The rows of some bikes, in their order."""
    return rows[pd.Index(bikes["unit_id"]).get_indexer(rows["unit_id"]) >= 0]


def _asked(view: FleetView, bikes: pd.DataFrame) -> Asked:
    fleets, shops = once(
        view, "choices", lambda: tuple(sorted(bikes[name].unique()) for name in ("fleet", "shop"))
    )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        fleet = st.selectbox(
            "Fleet",
            fleets,
            index=None,
            key="fleet_of",
            placeholder="All bikes",
            on_change=_first,
            width=340,
            **_BOUND,
        )
        shop = st.selectbox(
            "Shop",
            shops,
            index=None,
            key="fleet_shop",
            placeholder="All shops",
            on_change=_first,
            width=340,
            **_BOUND,
        )
    return Asked(fleet, shop)


def _typed(bikes: pd.DataFrame) -> None:
    rows = bikes[bikes["typed_out_on"].notna() | bikes["typed_back"]]
    if len(rows):
        st.html(tag("div", bullets(map(typed_words, rows.to_dict("records"))), class_="wa-said"))


def _weeks(view: FleetView, found: Chosen) -> None:
    surround.heading("Road failures, week by week")
    st.html(tag("p", MEANING, " ", share_words(view.road_share), class_="wa-quiet"))
    leaves = leaf_count(len(found.ranked))
    above = st.container()
    at = st.pagination(leaves, key="fleet_leaf", max_visible_pages=5, **_BOUND) if leaves > 1 else 1
    drawn = leaf(found.ranked, at)
    by_week = {f"Week {n}": _week_cell(n) for n in found.week_numbers}
    columns = {"Bike": _bike, **by_week}
    with above:
        show_chart(
            partial(fleet_chart, drawn, _rows_of(found.weeks, drawn)),
            found.reading,
            found.wide,
            columns,
            name="fleet_weeks",
            hint="The table gives the chance of each week in 1,000.",
        )
        _ranked(drawn, len(found.ranked))


def _wide(bikes: pd.DataFrame, weeks: pd.DataFrame) -> pd.DataFrame:
    """One row a bike, the chance of each week in a column of its own."""
    # not pivot_table, which would drop the bikes of which nothing is known
    across = weeks.pivot(index="unit_id", columns="week", values="road")  # noqa: PD010
    across.columns = [f"road_failure_week_{week}_chance_0_to_1" for week in across.columns]
    named = bikes[["unit_id", "label", "fleet_id", "shop_id", "by_then"]]
    named = named.rename(columns={"by_then": "road_failure_all_weeks_chance_0_to_1"})
    return named.merge(across.reset_index(), on="unit_id", how="left")


def _week_cell(week: int):
    name = f"road_failure_week_{week}_chance_0_to_1"
    return lambda row: "not known" if pd.isna(row[name]) else in_1000(row[name])


def _ranked(drawn: pd.DataFrame, count: int) -> None:
    columns = {
        "Bike": _bike,
        "Fleet": "fleet",
        "Shop": "shop",
        "Within 90 days": within_90,
        "Rests on": rests_on,
        "Tested since fitted or repaired": lambda r: day(r["last_tested_on"], "no"),
        "Check planned": check_words,
    }
    caption = f"{len(drawn)} of {counted(count, 'bike')}, the likeliest first."
    st.html(folded_table(drawn, columns, caption, shown=ROWS_SHOWN, rest="more bikes"))


def _unknown_rows(bikes: pd.DataFrame) -> pd.DataFrame:
    lacking = ["untested_count", "kindless_count", "waiting_count", "not_known_count"]
    some = bikes[
        bikes["odometer_read_on"].isna()
        | bikes["odometer_stale"].fillna(False)
        | bikes["sensor_count"].eq(0)
        | bikes["chance_count"].lt(bikes["sensor_count"])
        | bikes[lacking].gt(0).any(axis=1)
    ]
    rows = some.assign(reasons=[unknown_reasons(row) for row in some.to_dict("records")])
    return rows[rows["reasons"].map(len).gt(0)].sort_values(
        ["days_since_reading", "label"], ascending=[False, True], na_position="first"
    )


def _unknown(rows: pd.DataFrame) -> None:
    surround.heading("Bikes of which too little is known")
    if rows.empty:
        surround.nothing("None of these bikes lacks readings. That says nothing of their state.")
        return
    columns = {
        "Bike": _bike,
        "Fleet": "fleet",
        "Shop": "shop",
        "What is missing, and what would tell": _reasons,
        **({"Put it in": _put_in} if surround.may_open("register") else {}),
        "Check planned": check_words,
    }
    caption = (
        f"{counted(len(rows), 'bike')}, those whose odometer was read longest ago first"
        f"{_at_most(rows)}. What is said of them above, if anything, is a guess."
    )
    shown = rows.head(ROWS_AT_MOST)
    st.html(folded_table(shown, columns, caption, shown=ROWS_SHOWN, rest="more bikes"))
    save_csv(rows, "bikes_without_readings", made=_missing)


def _missing(rows: pd.DataFrame) -> pd.DataFrame:
    told = rows.assign(missing=rows["reasons"].map(" ".join))
    kept = ["unit_id", "label", "fleet_id", "shop_id", "odometer_read_on", "last_tested_on"]
    return told[[*kept, "visit_on", "missing"]]


def _reasons(row: dict) -> Html:
    return joined([tag("span", sentence) for sentence in row["reasons"]], " ")


def _put_in(row: dict) -> Html:
    """Where what is missing first is put in: an odometer or a sensor, else a test."""
    read = pd.notna(row["odometer_read_on"]) and row["odometer_stale"] is not True
    if read and row["sensor_count"]:
        return link("Bench test", "bench", unit=row["unit_id"])
    return link("Odometer and sensors", "register", unit=row["unit_id"])


def _checks(found: Chosen, asked: Asked) -> None:
    surround.heading("Checks planned")
    visits, events = found.visits, found.events
    query = {"check_fleet": asked.fleet, "check_shop": asked.shop}
    calendar = link(
        "The plan of checks as a calendar, with its reasons",
        "checks",
        "wa-pressed",
        **{name: value for name, value in query.items() if value},
    )
    if visits.empty:
        surround.nothing("No check is planned for these bikes.")
    else:
        first = visits["on_day"].min()
        said = f"{counted(len(visits), 'visit')} planned, the first on {day(first)}."
        st.html(tag("p", said))
    st.html(tag("p", calendar, "."))
    plan_downloads(visits, events, name="checks_of_fleet")


def _windows(shown: records.Shown, found: Chosen) -> None:
    surround.heading("When bikes can be spared")
    windows = found.windows
    if windows.empty:
        surround.nothing("No window ahead is on record for these bikes.")
    else:
        columns = {
            "Bike": _bike,
            "First free day": lambda r: day(r["free_from"]),
            "Last free day": lambda r: day(r["free_to"]),
            "State": window_state,
        }
        caption = (
            f"{counted(len(windows), 'window')} ahead, what was put in last first"
            f"{_at_most(windows)}."
        )
        order = windows["state"].map({"typed": 0, "taken_back": 1, "planned": 2})
        rows = windows.assign(order=order).sort_values(["order", "free_from", "label"])
        rows = rows.head(ROWS_AT_MOST)
        st.html(folded_table(rows, columns, caption, shown=ROWS_SHOWN, rest="more windows"))
        save_csv(windows, "free_windows")
    window_part(shown, found.in_service, windows)


def _at_most(rows: pd.DataFrame) -> str:
    few = len(rows) <= ROWS_AT_MOST
    return "" if few else f"; the first {ROWS_AT_MOST} are shown, the CSV file holds all"


def _bike(row: dict) -> Html:
    return to_bike(row["unit_id"], row["label"])


def _first() -> None:
    """Another choice begins at the first leaf again."""
    st.session_state.pop("fleet_leaf", None)


if __name__ == "__main__":
    surround.page(show)
