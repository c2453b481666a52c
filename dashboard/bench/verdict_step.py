"""The last step: all that was typed at a glance, both verdicts, and the save."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.bench.answers import cannot_stand, not_read
from dashboard.bench.recording import Recorded, recorded
from dashboard.bench.steps import Step
from dashboard.bench.sweep_step import measured_so_far, remember_columns
from dashboard.bench.typed import TABLE, Bench
from dashboard.forms.entry_troubles import not_saved, saved
from dashboard.forms.fields import ask
from dashboard.markup import bullets, table, tag
from dashboard.parts.state_mark import state_mark
from dashboard.wording.verdict_words import rule_verdict
from dashboard.words import READINGS, VERDICTS, good_range, plain
from pipeline.access.entered.typed_sweep import TypedSweep
from pipeline.intake.loggers.recording import LogError
from pipeline.intake.typed.entries import save_entry

_MEANING = (
    "A verdict is yours; the rules only say what they see. Neither says that the bike is safe."
)


def verdict_step(bench: Bench, steps: tuple[Step, ...], checks: pd.DataFrame) -> str | None:
    """Draw the step; the test's identifier once it is saved."""
    cells = bench.cells()
    _at_a_glance(bench, steps, checks, cells)
    key = bench.draft.key
    ask(TABLE, "verdict", "Your verdict on the sensor", key=key("verdict"), words=VERDICTS)
    st.text_area("Note", key=key("note"), height=100)
    if st.button("Save the test", key=key("save"), type="primary"):
        return _save(bench)
    return None


def _at_a_glance(
    bench: Bench, steps: tuple[Step, ...], checks: pd.DataFrame, cells: dict[str, str]
) -> None:
    swept = measured_so_far(bench)
    measures = swept.measures if isinstance(swept, TypedSweep) else None
    word, why = rule_verdict(measures, checks)
    if isinstance(swept, str):
        why = [swept, *why]
    blank = [plain(name, READINGS) for name in not_read(cells, bench.sensor.get("kind"))]
    if blank:
        why.append(f"Not read: {', '.join(blank)}.")
    st.html(tag("div", tag("p", f"By the rules: {word.lower()}", class_="wa-big"), bullets(why)))
    read = checks[checks["state"].ne("not_read")].sort_values("step")
    if not read.empty:
        columns = {
            "Reading": lambda r: plain(r["check"], READINGS).capitalize(),
            "Value": "value_text",
            "Good range": lambda r: good_range(r, "none"),
            "State": state_mark,
        }
        st.html(table(read, columns, "What was read so far, in the order of reasoning."))
    wrong = [words for step in steps for words in cannot_stand(step, cells)]
    if "odometer_km" not in cells:
        wrong.append("The odometer is not typed yet: it stands in the first step.")
    if wrong:
        st.html(tag("div", tag("p", "Before it can be saved:"), bullets(wrong), class_="wa-waits"))
    st.html(tag("p", _MEANING, class_="wa-quiet"))


def _save(bench: Bench) -> str | None:
    try:
        sweep = recorded(bench)
    except LogError as error:
        not_saved([f"The sweep cannot be read: {error}. Take it away or put in another one."])
        return None
    cells = bench.cells()
    if sweep is not None and not sweep.not_judged and bench.draft.value("sweep_channel") is None:
        not_saved(["What the sweep's signal is in is not said yet: it stands in that step."])
        return None
    files, made_from = {}, {}
    if sweep is not None:
        files, made_from = {sweep.name: sweep.content}, sweep.made_from
        cells = _with(cells, sweep)
    home, rows = bench.draft.home, {TABLE: [cells]}
    if not saved(
        lambda: save_entry(home, rows, files=files, made_from=made_from, asker=bench.asker)
    ):
        return None
    remember_columns(bench)
    bench.draft.drop()
    return bench.session_id


def _with(cells: dict[str, str], sweep: Recorded) -> dict[str, str]:
    """The row with what the recording says: none may be judged that cannot be."""
    if not sweep.not_judged:
        return cells
    note = " ".join(filter(None, [cells.get("note"), sweep.not_judged]))
    return {name: cell for name, cell in cells.items() if name != "sweep_channel"} | {"note": note}
