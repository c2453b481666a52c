"""One bike's history: its sensors, tests, repairs, odometer and readings."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.odometer import odometer_chart, odometer_reading
from dashboard.charts.readings import OUT_OF_RANGE, placed, readings_chart, readings_reading
from dashboard.markup import (
    Html,
    facts,
    folded_table,
    identifier,
    joined,
    tag,
    to_session,
)
from dashboard.parts.ahead_part import lies_ahead
from dashboard.parts.bench_list import bench_list
from dashboard.parts.explained import explained_chances
from dashboard.parts.sensor_list import sensor_list
from dashboard.parts.set_aside_list import show_set_aside
from dashboard.parts.show_chart import show_chart
from dashboard.parts.to_work import to_records, to_work
from dashboard.parts.wear_part import tracks
from dashboard.put import put, together
from dashboard.words import (
    CONFIRMED_BY,
    MOUNTS,
    ORIGINS,
    READINGS,
    REPAIRS,
    SOURCES,
    day,
    figures,
    good_range,
    km,
    km_a_day,
    known,
    life,
    plain,
    repair_counts_as,
)
from pipeline.access.views import BikeView
from pipeline.access.wear_view import BikeWear

REPAIRS_SHOWN = 3


def show(shown: records.Shown) -> None:
    """Draw the page of the bike named in the address."""
    unit_id = st.query_params.get("unit", "")
    if not unit_id:
        surround.not_there("The address names no bike: it ends in “?unit=” and the bike's number.")
        return
    view = records.bike(shown, unit_id)
    st.set_page_config(page_title=f"Bike {view.bike['label']}: Wear Atlas")
    with together():  # there before the rest is worked out
        surround.top_line(surround.worklist_link(), f"Bike {view.bike['label']}")
        surround.which_records(view.edition)
        _head(view.bike, surround.records_as_of(view.edition))
        _show_ways(*to_work(unit_id), *to_records(unit_id))
    with together():
        _advice(view.advice, view.explained)
        surround.show_cautions(whole=False)
        _ahead(view)
        _wear(view.wear)
        _tests(view.tests)
        _repairs(view.repairs)
    _odometer(view.odometer)
    _readings(view.readings)
    _lives(view.sensors)
    show_set_aside(view.set_aside, of="for this bike")


def _head(bike: dict, as_of: str) -> None:
    read = f"{km(bike['odometer_read_km'])} on {day(bike['odometer_read_on'])}"
    rate = bike["km_per_day"]
    now = km(bike["odometer_now_km"])
    pairs = [
        ("Model", f"{bike['model_code']}, model year {plain(bike['model_year'])}"),
        ("Duty", plain(bike["duty"])),
        ("Shop", bike["shop_name"]),
        ("Fleet", plain(bike["fleet_id"], blank="none") if known(bike["fleet_id"]) else "none"),
        (
            "Odometer now, by estimate",
            f"{now}, {km_a_day(rate)}" if known(rate) else now,
        ),
        ("Odometer last read", read if known(bike["odometer_read_km"]) else "never"),
        ("In service since", day(bike["in_service_on"])),
    ]
    if known(bike["out_of_service_on"]):
        pairs.append(("Out of service since", day(bike["out_of_service_on"])))
    same = bike["label"] == bike["unit_id"]
    title = f"Bike {bike['label']}" if same else f"Bike {bike['label']} ({bike['unit_id']})"
    whole = facts(pairs).replace('class="wa-facts"', 'class="wa-facts wa-across"')
    put(joined([tag("h1", title), Html(whole), tag("p", as_of, class_="wa-quiet")]))


def _advice(advice: pd.DataFrame, explained: pd.DataFrame) -> None:
    surround.heading("Sensors on the bike now")
    if advice.empty:
        surround.nothing("No sensor is on record as being on this bike now.")
        return
    put(sensor_list(advice.sort_values("urgency", ascending=False), name_bikes=False))
    if not explained.empty:
        put(explained_chances(explained))


def _show_ways(*links: Html) -> None:
    """Links that the reader may follow; no empty line without any."""
    if found := surround.ways(*links):
        put(found)


def _ahead(view: BikeView) -> None:
    surround.heading("What may lie ahead")
    if view.ahead["defect"].notna().any():
        shown = view.ahead[view.ahead["defect"].notna()]
        put(lies_ahead(shown, view.bike))
        _show_ways(surround.way("How far to trust these chances", "trust"))
        return
    surround.nothing("No chance can be given: too little is known of this bike's sensors.")


def _wear(wear: BikeWear) -> None:
    surround.heading("Where its tracks wear")
    if wear.stretches.empty:
        surround.nothing("No sensor with a track is on record as being on this bike now.")
        return
    put(tracks(wear))


def _tests(tests: pd.DataFrame) -> None:
    surround.heading("Tests")
    if tests.empty:
        surround.nothing("No accepted test of this bike's sensors is on record.")
        return
    put(bench_list(tests, "Bench tests, the latest first."))


def _repairs(repairs: pd.DataFrame) -> None:
    surround.heading("Repairs")
    if repairs.empty:
        surround.nothing("No closed repair is on record.")
        return
    columns = {
        "Closed on": lambda r: day(r["closed_on"]),
        "Odometer": lambda r: km(r["odometer_km"]),
        "Sensor": lambda r: identifier(r["sensor_id"]),
        "Done": lambda r: plain(r["action"], REPAIRS),
        "Sensor proved faulty": lambda r: _confirmed(r),
        "Let the rider down": lambda r: plain(r["on_road"], blank="not recorded"),
        "Counts as": lambda r: repair_counts_as(r["event"]),
        "Test behind it": lambda r: _session_link(r["session_id"]),
    }
    rows = repairs.sort_values("closed_on", ascending=False)
    caption = "Closed repairs, the latest first, and what each counts as."
    put(folded_table(rows, columns, caption, shown=REPAIRS_SHOWN, rest="earlier repairs"))


def _confirmed(row: dict) -> str:
    answer = plain(row["fault_confirmed"], blank="not recorded")
    by = plain(row["confirmed_by"], CONFIRMED_BY, "")
    return f"{answer} ({by})" if by else answer


def _session_link(session_id: object) -> Html | str:
    return to_session(session_id, session_id) if known(session_id) else "none named"


def _odometer(odometer: pd.DataFrame) -> None:
    surround.heading("Odometer")
    if odometer.empty:
        surround.nothing("No odometer reading is on record.")
        return
    columns = {
        "Day": lambda r: day(r["read_on"]),
        "Odometer": lambda r: km(r["odometer_km"]),
        "From": "source",
    }
    rows = odometer.sort_values("read_on", ascending=False)
    reading = odometer_reading(odometer)
    put(tag("p", reading))
    # drawn only once opened: the last reading and the km a day stand at the top of the page
    part = st.expander("All its readings over time", key="odometer_over_time", on_change="rerun")
    if part.open:
        with part:
            chart = partial(odometer_chart, odometer)
            show_chart(chart, reading, rows, columns, name="odometer")


def _readings(readings: pd.DataFrame) -> None:
    surround.heading("Readings against the good range")
    if readings.empty:
        surround.nothing("No static reading of this bike's sensors is on record.")
        return
    frame = placed(readings)
    names = _readings_by_interest(frame)
    words = {f"{plain(n, READINGS).capitalize()}{_outside(frame, n)}": n for n in names}
    chosen = st.selectbox("Reading", list(words), key="reading")
    rows = readings[readings["reading"] == words[chosen]].sort_values("tested_on")
    columns = {
        "Day": lambda r: day(r["tested_on"]),
        "Sensor": lambda r: identifier(r["sensor_id"]),
        "Value": lambda r: figures(r["value"], _unit(r)),
        "Good range": good_range,
        "Limits from": lambda r: plain(r["source"], SOURCES, "no range yet"),
        "How": "method",
        "Test": lambda r: to_session(r["session_id"], "Open"),
    }
    show_chart(
        partial(readings_chart, rows),
        readings_reading(rows),
        rows,
        columns,
        name=f"reading_{words[chosen]}",
    )


def _readings_by_interest(frame: pd.DataFrame) -> list[str]:
    """Readings that were out of range come first."""
    out = frame["place"].eq(OUT_OF_RANGE).groupby(frame["reading"]).sum()
    order = list(READINGS)
    return sorted(
        out.index, key=lambda n: (-out[n], order.index(n) if n in order else len(order), n)
    )


def _outside(frame: pd.DataFrame, reading: str) -> str:
    count = int((frame["reading"].eq(reading) & frame["place"].eq(OUT_OF_RANGE)).sum())
    return f" ({count} out of range)" if count else ""


def _unit(row: dict) -> str:
    return row["unit"] if known(row["unit"]) else ""


def _lives(sensors: pd.DataFrame) -> None:
    surround.heading("All sensors this bike has had")
    if sensors.empty:
        surround.nothing("No sensor of this bike is on record.")
        return
    columns = {
        "Sensor": lambda r: identifier(r["sensor_id"]),
        "Mount": lambda r: plain(r["mount"], MOUNTS),
        "Part": lambda r: f"{r['part_no']}, {r['part_description']}",
        "On the bike": life,
        "Origin": lambda r: plain(r["origin"], ORIGINS),
        "Removed because": lambda r: "" if r["in_service"] else plain(r["removed_reason"]),
    }
    rows = sensors.sort_values(["in_service", "from_on"], ascending=False)
    now = int(sensors["in_service"].sum())
    caption = "Sensors on the bike now come first."
    put(folded_table(rows, columns, caption, shown=max(now, 1), rest="earlier sensors"))


if __name__ == "__main__":
    surround.page(show)
