"""At the bench: find the bike, see what is due and why, and be led through the test."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from dashboard import records, surround
from dashboard.bench.answers import answers, odometer_words
from dashboard.bench.steps import STEPS, Step, steps_for
from dashboard.bench.sweep_step import sweep_step
from dashboard.bench.typed import FIELDS, SET_BY_ITSELF, TABLE, Bench, begin_now
from dashboard.bench.verdict_step import verdict_step
from dashboard.forms.fields import ask
from dashboard.forms.open_draft import OpenDraft, open_draft
from dashboard.markup import Html, joined, link, tag, to_bike
from dashboard.parts.find_bike import find_bike
from dashboard.parts.sensor_list import sensor_list
from dashboard.words import MOUNTS, km, moment, plain
from pipeline.access.bench_view import BenchView, checks_as_typed
from pipeline.access.scope.allowed import require
from pipeline.intake.typed.drafts import drafts

REASONS = {
    "routine": "routine",
    "symptom": "the rider complains",
    "called_in": "called in for a check",
    "after_repair": "after a repair",
    "first_visit": "first visit",
}
OF = "bench "


def show(shown: records.Shown) -> None:
    """Draw the bench of the bike named in the address, or the way to find one."""
    require(shown.asker, "bench_view")
    unit_id = find_bike(shown, "Test at the bench", "bench")
    if unit_id is None:
        _begun(shown, OF)
        return
    view = records.bench(shown, unit_id)
    label = view.unit.get("label") or unit_id
    st.set_page_config(page_title=f"Bench, bike {label}: Wear Atlas")
    surround.top_line(
        surround.worklist_link(), link("Bench", "bench"), to_bike(unit_id, f"Bike {label}"), "Test"
    )
    surround.which_records(view.edition)
    st.html(joined([tag("h1", f"Bench test of bike {label}"), _bike(view)]))
    if view.sensors.empty:
        _no_sensor(unit_id)
        return
    draft = open_draft(shown.home, shown.asker, OF + unit_id)
    draft.put_back(FIELDS)
    begin_now(draft, view)
    if not draft.is_begun:
        _begun(shown, draft.of)
    _led(Bench(view, _chosen(view, draft), draft, shown.asker))


def _bike(view: BenchView) -> Html:
    read = km(view.odometer_km, "not known")
    words = f"{view.unit['model_code']}, odometer last read: {read}."
    return tag("p", words, class_="wa-quiet")


def _begun(shown: records.Shown, of: str) -> None:
    """Tests begun and not saved, on whichever device: of all bikes, or of one."""
    begun = [known for known in drafts(shown.home, shown.asker) if of in (OF, known.of)]
    begun = [known for known in begun if known.of.startswith(OF)]
    if not begun:
        return
    surround.heading("Begun and not saved")
    items = []
    for known in begun:
        unit_id = known.of.removeprefix(OF)
        words = f"Bike {unit_id}, last changed {moment(known.changed_at.astimezone())}"
        items.append(tag("li", link(words, "bench", "wa-pressed", unit=unit_id, draft=known.name)))
    st.html(tag("ul", *items))


def _no_sensor(unit_id: str) -> None:
    surround.nothing("No sensor is on record as being on this bike now, so none can be tested.")
    st.html(
        tag("p", link("Register a sensor of this bike", "register", "wa-pressed", unit=unit_id))
    )


def _chosen(view: BenchView, draft: OpenDraft) -> dict:
    """The sensor under test: asked for only where the bike has several."""
    rows = {row["sensor_id"]: row for row in view.sensors.to_dict("records")}
    key = draft.key("sensor")
    if st.session_state.get(key) not in rows:
        st.session_state[key] = next(iter(rows))
    if len(rows) > 1:
        st.radio(
            "Sensor under test",
            list(rows),
            key=key,
            format_func=lambda s: f"{plain(rows[s]['mount'], MOUNTS)}: {rows[s]['part_no']}, {s}",
        )
    return rows[st.session_state[key]]


def _before(bench: Bench, step: Step) -> None:
    """What is due and all cautions before the first step, the first of them before each other."""
    if step.name != STEPS[0].name:
        surround.show_cautions(whole=False)
        return
    _due(bench.view, bench.sensor["sensor_id"])
    surround.show_cautions(whole=True)


def _due(view: BenchView, sensor_id: str) -> None:
    surround.heading("What is due, and why")
    advice = view.advice[view.advice["sensor_id"].eq(sensor_id)]
    if advice.empty:
        surround.nothing("The plans do not hold this sensor yet: nothing is known of it.")
        return
    st.html(sensor_list(advice, name_bikes=False))


@st.fragment
def _led(bench: Bench) -> None:
    """One step at a time, with the way back and forth; every change goes to the draft."""
    draft = bench.draft
    draft.put_back(FIELDS)
    steps = _numbered(steps_for(bench.sensor.get("kind")))
    names = [step.name for step in steps]
    if draft.value("step") not in names:
        st.session_state[draft.key("step")] = names[0]
    cells = bench.cells()
    checks = checks_as_typed(bench.sensor, bench.view.bands, cells)
    # the words of a choice stay the same: a choice whose words change is taken for another one
    headings = {step.name: step.heading for step in steps}
    # above what grows with each answer, so that nothing to press ever moves
    st.selectbox("Step", names, key=draft.key("step"), format_func=headings.__getitem__)
    _back_and_forth(draft, names)
    step = steps[names.index(draft.value("step"))]
    _before(bench, step)
    st.html(joined([tag("h2", step.heading), tag("p", step.does) if step.does else ""]))
    saved = None
    if step.name == "sweep":
        sweep_step(bench)
    elif step.name == "verdict":
        saved = verdict_step(bench, steps, checks)
    else:
        _fields(bench, step)
        now = bench.cells()
        said = checks_as_typed(bench.sensor, bench.view.bands, now)
        st.html(answers(step, said, now))
        if step.name == "about" and (odd := odometer_words(bench, now)):
            st.html(tag("p", odd, class_="wa-waits", role="status"))
    if saved:
        st.switch_page("pages/session.py", query_params={"session": saved})
    draft.note(FIELDS, set_by_itself=SET_BY_ITSELF)


def _numbered(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    return tuple(
        replace(step, heading=f"{n}. {step.heading}") for n, step in enumerate(steps, start=1)
    )


def _fields(bench: Bench, step: Step) -> None:
    with st.container(horizontal=True):
        if step.name == "about":
            st.date_input("Tested on", key=bench.draft.key("day"), format="YYYY-MM-DD", width=200)
            st.time_input("Time", key=bench.draft.key("clock"), width=160, step=60)
        for name, label in step.columns:
            words = REASONS if name == "reason" else None
            ask(TABLE, name, label, key=bench.draft.key(name), words=words)


def _back_and_forth(draft: OpenDraft, names: list[str]) -> None:
    here = names.index(draft.value("step"))

    def go(by: int) -> None:
        st.session_state[draft.key("step")] = names[here + by]

    with st.container(horizontal=True):
        if here < len(names) - 1:
            st.button("Next step", key=draft.key("next"), on_click=go, args=(1,), type="primary")
        if here:
            st.button("Back", key=draft.key("back"), on_click=go, args=(-1,))


if __name__ == "__main__":
    surround.page(show)
