"""The wear map: where on the travel wear gathers, for whom, and how to test for it."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import records, surround
from dashboard.charts.throttle_use import use_chart, use_reading
from dashboard.charts.wear_map import QUANTITIES, Quantity, map_reading, placed, wear_map_chart
from dashboard.charts.wear_sensor import sensor_chart, sensor_reading
from dashboard.markup import (
    Html,
    bullets,
    fold,
    folded_table,
    identifier,
    joined,
    link,
    table,
    tag,
    to_bike,
    to_session,
)
from dashboard.once import once
from dashboard.parts.save_csv import save_csv
from dashboard.parts.show_chart import show_chart
from dashboard.parts.wear_part import TRACK_COLUMNS
from dashboard.wording import empty_words
from dashboard.wording.wear_words import (
    ALL,
    ANSWERS,
    LIKELY,
    YOUNGER,
    band,
    gathers,
    lives_with_band,
    passes,
    progress,
    rests_on,
    slowest,
    span,
    sure_in_100,
    use_answer,
)
from dashboard.words import counted, in_100, km, km_span, number, plain
from pipeline.access.wear_view import OneSensor, WearView

TITLE = "Where on the travel wear gathers"
GROUPS_SHOWN = 5
SENSORS_SHOWN, SENSORS_LISTED = 4, 20  # open, and folded away with them
OFFERED = 200  # to choose from: a browser is slow with thousands
_BARE = {"intensity": "not seen", "roughness": "not judged"}
_PLURAL = {"Part": "parts", "Duty": "duties"}


def show(shown: records.Shown) -> None:
    """Draw the page; a sensor named in the address is shown by itself."""
    asked = st.query_params.get("life") or None
    part_no, duty = (st.query_params.get(name) or ALL for name in ("part", "duty"))
    view = records.wear(shown, part_no, duty, asked)
    surround.top_line(surround.worklist_link(), "Wear map")
    surround.which_records(view.edition)
    as_of = surround.records_as_of(view.edition)
    st.html(joined([tag("h1", TITLE), tag("p", as_of, class_="wa-quiet")]))
    surround.show_cautions(whole=False)
    if view.cells.empty and view.choices.empty:
        surround.nothing(f"There is no map: {plain(view.about['reason'])}.")
        if not view.sensors.empty:  # of the reader's own shop, whose map is not shown
            _one(view)
            _worn(view)
        return
    if asked:
        _one(view)
        _map(view)
    else:
        _map(view)
        _one(view)
    _who(view.choices)
    _worn(view)
    if _all_told(view):
        _rests_on(view.about)
    else:
        surround.nothing(
            "What all shops' sweeps say together is not shown here: "
            f"{plain(view.about['reason'])}. Maps above rest on this shop's own sensors alone, or "
            "on enough shops."
        )


def _all_told(view: WearView) -> bool:
    """Whether what the map rests on is told, or its reason alone."""
    return "use_answer" in view.about


def _map(view: WearView) -> None:
    surround.heading("Over travel and distance run")
    _choose(view)
    shown = QUANTITIES[st.selectbox("Shown", list(QUANTITIES), key="wear_shown")]
    own = view.choices[
        view.choices["part_no"].eq(view.part_no) & view.choices["duty"].eq(view.duty)
    ]
    if own.empty or view.cells.empty:
        surround.nothing("No test of such a sensor is on record, so nothing is known of its wear.")
        return
    st.html(tag("p", gathers(own.to_dict("records")[0])))
    reading, rows = once(view, ("map", shown.name), lambda: _map_rows(view.cells, shown))
    columns = _cell_columns(shown)
    name = f"wear_map_{view.part_no}_{view.duty}_{shown.column}"
    show_chart(partial(wear_map_chart, view.cells, shown), reading, rows, columns, name=name)


def _map_rows(cells: pd.DataFrame, shown: Quantity) -> tuple[str, pd.DataFrame]:
    rows = placed(cells, shown).sort_values(["age_from_km", "bin_from_pct"])
    return map_reading(cells, shown), rows[[*cells.columns, "value", "step"]]


def _choose(view: WearView) -> None:
    """Part and duty; what is chosen stands in the address."""
    left, right = st.columns(2)
    fields = (
        (left, "Part", view.part_no, view.choices["part_no"]),
        (right, "Duty", view.duty, view.choices["duty"]),
    )
    for place, word, own, names in fields:
        listed = [ALL, *sorted({*names, own} - {ALL})]
        chosen = place.selectbox(
            word,
            listed,
            index=listed.index(own),
            format_func=lambda name, word=word: f"All {_PLURAL[word]}" if name == ALL else name,
            key=f"wear_{word}_{own}",
        )
        if chosen != own:
            st.query_params[word.lower()] = chosen
            st.rerun()


def _cell_columns(shown: Quantity) -> dict:
    low, high = f"{shown.column}_low", f"{shown.column}_high"
    return {
        "Run by the sensor": lambda r: km_span(r["age_from_km"], r["age_to_km"]),
        "Travel": lambda r: span(r["bin_from_pct"], r["bin_from_pct"] + 2),
        shown.name: lambda r: number(r["value"], digits=2, blank=_BARE[shown.column]),
        "Likely": lambda r: (
            f"{number(r[low] * shown.scale)} to {number(r[high] * shown.scale)}"
            if pd.notna(r["value"])
            else "not known"
        ),
        "Sensors": lambda r: f"{r['n_sensors']:.0f}",
        "Tests": lambda r: f"{r['n_tests']:.0f}",
        "Drop-outs seen": lambda r: f"{r['dropout_count']:.0f}",
        "Passes that would have shown one": lambda r: number(r["exposure"], digits=0),
    }


def _who(choices: pd.DataFrame) -> None:
    surround.heading("Which duty wears which part where")
    order = {"concentrated": 0, "flat": 1}
    rows = choices.assign(place=choices["answer"].map(order).fillna(2))
    rows = rows.sort_values(["place", "n_seen"], ascending=[True, False]).drop(columns="place")
    columns = {
        "Part": lambda r: "all" if r["part_no"] == ALL else identifier(r["part_no"]),
        "Duty": "duty",
        "Wear": _gathers_where,
        "Sensors": lambda r: (
            f"{lives_with_band(r)} with a likely worn band; "
            f"{counted(r['n_seen'], 'sensor')} mapped, {counted(r['n_tests'], 'test')}"
        ),
    }
    answers = rows["answer"]
    found = int(answers.eq("concentrated").sum())
    caption = f"{counted(found, 'group')} of {len(rows)} wear at a place common to their sensors."
    common, more = rows[answers.eq("concentrated")], "more that do"
    parts = []
    if found:
        parts = [folded_table(common, columns, caption, shown=GROUPS_SHOWN, rest=more)]
    flat = "No common place shown does not mean that none is worn."
    few = "Fewer than eight sensor lives with a likely worn band by their own tests alone."
    for which, words, why in (
        (answers.eq("flat"), "without a common place shown", flat),
        (answers.eq("not enough known"), "with too few sensors to say", few),
    ):
        if which.any():
            title = f"{counted(int(which.sum()), 'group')} {words}"
            parts.append(fold(title, table(rows[which], columns, why)))
    st.html(joined(parts))
    save_csv(rows, "wear_by_part_and_duty")


def _gathers_where(row: dict) -> str:
    if row["answer"] != "concentrated":
        return plain(row["answer"], ANSWERS)
    times = number(row["ratio"], "times", 1)
    return f"most at {span(row['from_pct'], row['to_pct'])}, {times} an even spread"


def _worn(view: WearView) -> None:
    surround.heading("Sensors with a worn band")
    likely = view.sensors[view.sensors["confidence"] >= LIKELY].reset_index(drop=True)
    of = "" if (view.part_no, view.duty) == (ALL, ALL) else " of the part and duty chosen"
    if likely.empty:
        surround.nothing(
            f"None of {counted(len(view.sensors), 'sensor life', 'sensor lives')}{of} shows one. "
            "That is no statement that any track is sound."
        )
        return
    columns = {
        "Sensor": lambda r: link(r["life_id"], "wear", life=r["life_id"]),
        "Bike": lambda r: to_bike(r["unit_id"], r["label"]),
        "Worn band": lambda r: (
            f"{span(r['from_pct'], r['to_pct'])}, {sure_in_100(r['confidence'])} sure"
        ),
        "Wear in it": lambda r: (
            f"{number(r['level'], 'drop-outs a pass', 1)}; level its like failed at: {_reaches(r)}"
        ),
        "About it": lambda r: (
            f"part {r['part_no']}, {plain(r['duty'])}, {counted(r['n_tests'], 'test')}, "
            f"{'on the bike' if r['in_service'] else 'no longer on the bike'}"
        ),
    }
    count = counted(len(likely), "sensor life", "sensor lives")
    rows = likely.head(SENSORS_LISTED)
    caption = (
        f"{count}{of} with a band, those on a bike now first. Here it counts too where their like "
        "wear; the number beside the map goes by each life's own tests alone, so the two may "
        "differ. The CSV file holds all."
    )
    st.html(folded_table(rows, columns, caption, shown=SENSORS_SHOWN, rest="more of them"))
    save_csv(view.sensors, "sensors_with_their_worn_bands")


def _reaches(row: dict) -> str:
    if not row["in_service"]:
        return "life over"
    if row["answer"] == "level reached":
        return "reached"
    if row["answer"] == "km expected":
        return f"expected at {km(round(row['fails_at_km'], -2))}"
    return "not known"


def _one(view: WearView) -> None:
    surround.heading("One sensor")
    if view.one is None:
        surround.nothing("No sensor of the part and duty chosen has been mapped.")
        return
    one = view.one
    _pick(view, one)
    sensor = one.sensor
    who = joined(
        [
            f"Sensor {sensor['life_id']}, part {sensor['part_no']}, duty {plain(sensor['duty'])}, ",
            to_bike(sensor["unit_id"], f"bike {sensor['label']}", "wa-pressed"),
            ", last test ",
            to_session(sensor["session_id"], sensor["session_id"], "wa-pressed"),
            ".",
        ]
    )
    st.html(joined([tag("p", who), bullets([band(sensor), *progress(sensor)])]))
    profiles = one.profiles.sort_values(["tested_on", "session_id"], ascending=False, kind="stable")
    show_chart(
        partial(sensor_chart, one.profiles, one.bands),
        sensor_reading(one.profiles),
        profiles,
        TRACK_COLUMNS,
        name=f"wear_of_{sensor['life_id']}",
    )
    _plan(one)
    if _all_told(view):
        _use(view, one)


def _pick(view: WearView, one: OneSensor) -> None:
    """Choose another sensor of the list; the address then names it."""
    names = once(view, "names", lambda: _names(view.sensors.head(OFFERED)))
    own = _label(one.sensor)
    listed = list(names) if own in names else [own, *names]
    chosen = st.selectbox("Sensor", listed, index=listed.index(own), key=f"wear_sensor_{own}")
    if chosen != own:
        st.query_params["life"] = names[chosen]
        st.rerun()
    if len(view.sensors) > OFFERED:
        surround.nothing(
            f"The first {OFFERED} of {counted(len(view.sensors), 'sensor life', 'sensor lives')} "
            "are offered, those with a band on a bike now first. Any other: choose its part and "
            "duty above, or come from its bike's page."
        )


def _names(sensors: pd.DataFrame) -> dict[str, str]:
    return {_label(row): row["life_id"] for row in sensors.to_dict("records")}


def _label(sensor: dict) -> str:
    state = "worn band" if sensor["confidence"] >= LIKELY else "no band shown"
    tests = counted(sensor["n_tests"], "test")
    return f"{sensor['life_id']}, bike {sensor['label']}: {state}, {tests}"


def _plan(one: OneSensor) -> None:
    if not len(one.stretches):
        surround.nothing("This life is over, so nothing is left to sweep in it.")
        return
    st.html(joined([tag("h3", "Where to sweep slowest"), tag("p", slowest(one.stretches))]))
    if one.passes.empty:
        surround.nothing("No logger's rate is on record, so the number of passes is not known.")
        return
    rate = number(one.passes["rate_hz"].iloc[0], "samples a second", 0)
    sure = tag("p", f"To be 95 % sure to see wear, at {rate}:")
    st.html(joined([sure, _widths(one.passes), tag("p", YOUNGER)]))
    columns = {
        "Wear this wide": lambda r: number(r["width_pct"], "% of travel", 1),
        "To be 95 % sure to see it": passes,
        "One pass shows it, in 100": lambda r: in_100(r["chance_per_pass"]),
        "Samples in it": lambda r: number(r["samples_in_width"], digits=1),
    }
    caption = f"At {rate}, as it was swept last or its shop sweeps."
    st.html(fold("Pass by pass", table(one.passes, columns, caption)))
    save_csv(one.passes, "passes_needed")


def _widths(rows: pd.DataFrame) -> Html:
    """What to do for each width of wear; widths with one answer are said once."""
    words = rows.assign(words=[passes(r) for r in rows.to_dict("records")])
    each = words.groupby("words", sort=False)["width_pct"].min()
    return bullets(f"{number(wide, '%', 1)} wide or wider: {said}" for said, wide in each.items())


def _use(view: WearView, one: OneSensor) -> None:
    if one.use.empty:
        return
    columns = {
        "Travel": lambda r: span(r["bin_from_pct"], r["bin_from_pct"] + 2),
        "This sensor's wear": lambda r: _share(r["sensor_share"]),
        "Wear of its duty": lambda r: _share(r["like_share"]),
        "Range, 90 %": lambda r: f"{_share(r['like_low'])} to {_share(r['like_high'])}",
        "Time held": lambda r: _share(r["dwell"]),
        "Travel moved": lambda r: _share(r["sliding"]),
    }
    reading = f"{use_reading(one.use)} {use_answer(view.about)}"
    name = f"use_and_wear_{one.sensor['life_id']}"
    title = "Its wear beside how the throttle is used"
    part = st.expander(title, key="use_and_wear", on_change="rerun")
    if part.open:
        with part:
            show_chart(partial(use_chart, one.use), reading, one.use, columns, name=name)


def _share(value: object) -> str:
    return number(100 * value, "%", 1) if pd.notna(value) else "not logged"  # type: ignore[operator]


def _rests_on(about: dict) -> None:
    surround.heading("What this map rests on")
    st.html(bullets(rests_on(about)))
    st.html(tag("p", link("How far to trust the chances", "trust", "wa-pressed")))


if __name__ == "__main__":
    surround.page(show, empty=empty_words.WEAR)
