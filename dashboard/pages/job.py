"""Close a job: what was done, how it was confirmed, and the part fitted in a sensor's place."""

from __future__ import annotations

from datetime import date

import streamlit as st

from dashboard import records, surround
from dashboard.forms.entry_troubles import saved
from dashboard.forms.fields import WIDTH, ask
from dashboard.forms.part_fields import part_choice, part_particulars
from dashboard.markup import link, tag, to_bike
from dashboard.parts.find_bike import find_bike
from dashboard.words import CONFIRMED_BY, MOUNTS, REPAIRS, VERDICTS, day, km, plain
from pipeline.access.register_view import JobView
from pipeline.intake.typed.closing import REPLACED, Fitted, close_job

TABLE = "repair_outcomes"
_SAVED = "register_saved"  # said on the page that the save leads to
_NO_TEST = "no test led here"
_REMOVED = {
    "faulty": "it was faulty",
    "preventive": "replaced ahead of a failure",
    "other": "something else",
}
_CONFIRM = (
    "A sensor that came off tells the most when it is put on the bench once more: only a fault "
    "confirmed counts as one."
)


def show(shown: records.Shown) -> None:
    """Draw the form for the bike named in the address, or the way to find one."""
    unit_id = find_bike(shown, "Close a job", "job")
    if unit_id is None:
        return
    view = records.job(shown, unit_id)
    label = view.register.unit.get("label") or unit_id
    st.set_page_config(page_title=f"Close a job, bike {label}: Wear Atlas")
    surround.top_line(
        surround.worklist_link(),
        link("Bench", "bench"),
        to_bike(unit_id, f"Bike {label}"),
        "Close a job",
    )
    surround.which_records(view.register.edition)
    st.html(tag("h1", f"Close a job on bike {label}"))
    if not view.register.sensors:
        surround.nothing("No sensor is on record as being on this bike now.")
        to = link("Register a sensor of this bike", "register", "wa-pressed", unit=unit_id)
        st.html(tag("p", to))
        return
    surround.show_cautions(whole=False)
    _form(shown, view, unit_id)


def _form(shown: records.Shown, view: JobView, unit_id: str) -> None:
    sensor_id, action, on_road = _before(view)
    old = view.register.sensors[sensor_id]
    edition = view.register.edition
    today = edition.as_of if edition.is_demo else date.today()
    part_no = ""
    if action == REPLACED:
        st.html(tag("h2", "The part fitted"))
        part_no = part_choice(
            view.register.choices,
            view.register.unit["model_code"],
            old["mount"],
            key="job_part",
            label="Part number fitted",
        )
    with st.form("job_form", border=False):
        fitted = _fitted(view, old, part_no) if action == REPLACED else None
        st.html(tag("h2", "The job"))
        job = _job_fields(view, sensor_id, today)
        if on_road == "yes":
            st.html(tag("h2", "Let down on the road"))
            job |= _road_fields()
        pressed = st.form_submit_button("Close the job", key="job_save", type="primary")
    job |= {"action": action, "on_road": on_road}
    if pressed and saved(lambda: close_job(shown.home, old, job, fitted, asker=shown.asker)):
        done = plain(action, REPAIRS)
        st.session_state[_SAVED] = (
            f"The job is closed: {done}. The worklist holds it once the records are built anew."
        )
        st.switch_page("pages/register.py", query_params={"unit": unit_id})


def _before(view: JobView) -> tuple[str, str | None, str | None]:
    """What the rest of the form depends on: the sensor, what was done, road or workshop."""
    sensors = view.register.sensors
    asked = st.query_params.get("sensor", "")
    ids = list(sensors)
    with st.container(horizontal=True):
        sensor_id = st.selectbox(
            "Sensor",
            ids,
            index=ids.index(asked) if asked in ids else 0,
            key="job_sensor",
            format_func=lambda s: f"{plain(sensors[s]['mount'], MOUNTS)}: {sensors[s]['part_no']}",
            width=WIDTH,
        )
        action = st.selectbox(
            "What was done",
            list(REPAIRS),
            index=None,
            key="job_action",
            format_func=REPAIRS.get,
            placeholder="Choose one",
            width=WIDTH,
        )
    on_road = st.pills("Did it let the rider down on the road?", ["yes", "no"], key="job_on_road")
    return sensor_id, action, on_road


def _fitted(view: JobView, old: dict[str, str], part_no: str) -> Fitted:
    model = view.register.unit["model_code"]
    part = part_particulars(view.register.choices, part_no, model, old["mount"], key="job_new_part")
    number = st.text_input(
        "The new sensor's own number (blank: one is made)",
        key="job_new_sensor",
        autocomplete="off",
        width=WIDTH,
    )
    return Fitted(part.part_no, part.row, part.fits_model, (number or "").strip())


def _job_fields(view: JobView, sensor_id: str, today: date) -> dict[str, str | None]:
    st.session_state.setdefault("job_closed_on", today)
    with st.container(horizontal=True):
        cells = {
            "closed_on": ask(TABLE, "closed_on", "Closed on", key="job_closed_on"),
            "odometer_km": ask(TABLE, "odometer_km", "Odometer", key="job_odometer"),
            "session_id": _test(view, sensor_id),
        }
    before = view.register.odometer_km
    if before is not None:
        st.html(tag("p", f"Odometer last read: {km(before)}.", class_="wa-quiet"))
    with st.container(horizontal=True):
        cells["fault_confirmed"] = ask(
            TABLE, "fault_confirmed", "Did the sensor itself prove faulty?", key="job_confirmed"
        )
        cells["confirmed_by"] = ask(
            TABLE, "confirmed_by", "How that was confirmed", key="job_by", words=CONFIRMED_BY
        )
        if st.session_state.get("job_action") == REPLACED:
            cells["removed_reason"] = ask(
                "sensors",
                "removed_reason",
                "Why it came off",
                key="job_removed",
                words=_REMOVED,
                only=tuple(_REMOVED),
            )
        cells["relearn_done"] = ask(
            TABLE, "relearn_done", "Closed position relearned?", key="job_relearn"
        )
    st.html(tag("p", _CONFIRM, class_="wa-quiet"))
    with st.container(horizontal=True):
        currency = view.currency or "the shop's currency"
        cells["parts_cost"] = _number(f"Parts, {currency}", "job_parts")
        cells["labour_hours"] = ask(TABLE, "labour_hours", "Labour", key="job_hours")
        cells["comeback_of"] = _comeback(view)
    return cells


def _number(label: str, key: str) -> str | None:
    value = st.number_input(label, value=None, key=key, format="%.2f", step=0.01, width=WIDTH)
    return None if value is None else f"{value:.9g}"


def _test(view: JobView, sensor_id: str) -> str | None:
    tests = view.tests[view.tests["sensor_id"].eq(sensor_id)]
    words = {
        row[
            "session_id"
        ]: f"{day(row['tested_on'])}, {plain(row['verdict'], VERDICTS, 'no verdict')}"
        for row in tests.to_dict("records")
    }
    ids = list(words)
    asked = st.query_params.get("session", "")
    return st.selectbox(
        "The test that led here",
        ids,
        index=ids.index(asked) if asked in ids else None,
        key="job_test",
        format_func=words.get,
        placeholder=_NO_TEST,
        width=WIDTH,
    )


def _comeback(view: JobView) -> str | None:
    repairs = view.repairs.sort_values("closed_on", ascending=False)
    words = {
        row["outcome_id"]: f"{day(row['closed_on'])}: {plain(row['action'], REPAIRS)}"
        for row in repairs.to_dict("records")
    }
    return st.selectbox(
        "Comeback of an earlier job",
        list(words),
        index=None,
        key="job_comeback",
        format_func=words.get,
        placeholder="none",
        width=WIDTH,
    )


def _road_fields() -> dict[str, str | None]:
    with st.container(horizontal=True):
        return {
            "failed_on": ask(TABLE, "failed_on", "When the rider noticed", key="job_failed_on"),
            "failed_km": ask(TABLE, "failed_km", "Odometer then", key="job_failed_km"),
            "days_off_road": ask(TABLE, "days_off_road", "Off the road", key="job_days_off"),
        }


if __name__ == "__main__":
    surround.page(show)
