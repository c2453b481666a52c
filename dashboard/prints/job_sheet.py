"""The job sheet of one bench test: what is printed and laid beside the bike.

It says what the test's page says, leaves room for what was done, and never that a bike is safe.
"""

from __future__ import annotations

from functools import partial

import pandas as pd

from dashboard.charts.profile import band_reading, roughness_chart, roughness_reading
from dashboard.charts.trace import trace_chart, trace_reading
from dashboard.prints.sheet import Part, Picture, Rows, Sheet
from dashboard.wording.dropout_words import travel_with_error
from dashboard.wording.pending_words import NOT_HELD_YET
from dashboard.wording.session_words import reading_state, session_facts
from dashboard.wording.verdict_words import could_have_missed, rule_verdict, technician_verdict
from dashboard.words import (
    READINGS,
    counted,
    day,
    distance_unit,
    good_range,
    known,
    milliseconds,
    number,
    plain,
)
from pipeline.access.texts import cautions
from pipeline.access.views import Edition, SessionView

DROPOUTS_PRINTED = 24
DEMO = "Demo: invented shops, not measured."
NO_STATEMENT = (
    "This sheet tells what one bench test read. It is no statement that the sensor is sound or "
    "that the bike is safe to ride: local rules and a qualified technician decide that."
)
_BLANKS = (
    "Work done",
    "New part fitted: number and price",
    "How the fault was confirmed",
    "Closed position relearned, codes read again",
)
_SIGNED = ("Technician: name, date, signature", "Checked by a qualified technician: name, date")


def job_sheet(view: SessionView) -> Sheet:
    """The sheet of one test."""
    test = view.session
    parts = [
        Part("The test", facts=tuple(session_facts(test))),
        Part("Before any work on the bike", points=tuple(cautions()), boxed=True),
        _verdicts(view),
        Part("Where to look next", points=tuple(view.next_look), numbered=True),
        _readings(view.checks),
        *_sweep(view),
        Part(
            "Done at the bike",
            blanks=(*_BLANKS, f"Hours; odometer at hand-over, {distance_unit()}"),
        ),
        Part("Signed", blanks=_SIGNED, lead=NO_STATEMENT),
    ]
    return Sheet(
        title=f"Job sheet: bike {test['label']}, bench test {test['session_id']}",
        parts=tuple(part for part in parts if _holds_anything(part)),
        notices=tuple(_notices(view)),
        foot=_foot(view.edition, test),
    )


def _holds_anything(part: Part) -> bool:
    return any([part.facts, part.lead, part.points, part.rows, part.picture, part.blanks])


def _notices(view: SessionView) -> list[str]:
    said = [DEMO] if view.edition.is_demo else []
    if not view.in_records:
        said.append(f"Just entered. {NOT_HELD_YET}")
    if len(view.set_aside):
        entries = counted(len(view.set_aside), "entry", "entries")
        said.append(
            f"{entries} handed in for this test or its bike could not be taken in: see the "
            "test's page before relying on this sheet."
        )
    return said


def _foot(edition: Edition, test: dict) -> str:
    return (
        f"Bike {test['label']}, test {test['session_id']}. Records as of {day(edition.as_of)}, "
        f"version {edition.version}. No statement that the bike is safe to ride."
    )


def _verdicts(view: SessionView) -> Part:
    """Both side by side."""
    rule, rule_why = rule_verdict(view.measures, view.checks)
    own, own_why = technician_verdict(view.session, view.measures)
    note = view.session["note"]
    said = f"Note: {note}" if known(note) else "No note."
    why = ("\n".join(rule_why), "\n".join(own_why))
    return Part(
        "What this test says",
        rows=Rows((f"By rule: {rule}", f"By the technician: {own}"), (why,)),
        after=said,
    )


def _readings(checks: pd.DataFrame) -> Part:
    heading = "Readings at rest, in the order of reasoning"
    if checks.empty:
        return Part(heading, lead="No static reading was handed in with this test.")
    cells = [
        (
            plain(row["check"], READINGS).capitalize(),
            plain(row["value_text"], {}),
            good_range(row, "none"),
            reading_state(row),
            plain(row["text"], {}, ""),
        )
        for row in checks.sort_values("step").to_dict("records")
    ]
    headings = ("Reading", "Value", "Good range", "State", "In words")
    return Part(heading, rows=Rows(headings, tuple(cells)))


def _sweep(view: SessionView) -> list[Part]:
    if view.measures is None:
        nothing = (
            "No sweep was handed in with this test, so nothing is known here about drop-outs or "
            "roughness."
        )
        return [Part("The sweep", lead=nothing)]
    missed = tuple(could_have_missed(view.measures, view.profile))
    found = tuple(view.findings["text"])
    return [
        Part("What this sweep could have missed", points=missed, boxed=True),
        _trace(view),
        _dropouts(view.dropouts),
        _roughness(view),
        Part("About the recording", points=found),
    ]


def _trace(view: SessionView) -> Part:
    if view.trace.empty:
        return Part("The sweep as recorded", lead="The sweep's samples cannot be drawn.")
    channel = plain(view.session["sweep_channel"], {}, "")
    draw = partial(trace_chart, view.trace, view.dropouts, channel=channel)
    reading = partial(trace_reading, view.trace, view.dropouts)
    return Part("The sweep as recorded", picture=Picture(draw, reading))


def _dropouts(dropouts: pd.DataFrame) -> Part:
    if dropouts.empty:
        lead = "No drop-out was seen, which does not show that there is none."
        return Part("Drop-outs", lead=lead)
    shown = dropouts.sort_values("dropout_no").head(DROPOUTS_PRINTED)
    cells = [
        (
            str(row["dropout_no"]),
            number(row["start_s"], "s", 3),
            milliseconds(row["length_s"] * 1000),
            number(row["depth_pct"], "% of applied", 1),
            travel_with_error(row),
            plain(row["direction"]),
            plain(row["pass_no"], {}, "outside a pass"),
        )
        for row in shown.to_dict("records")
    ]
    headings = ("No.", "Start", "Length", "Depth", "Travel", "Hand", "Pass")
    rest = len(dropouts) - len(shown)
    after = f"{counted(rest, 'further drop-out')} on the test's page." if rest else ""
    return Part("Drop-outs", rows=Rows(headings, tuple(cells)), after=after)


def _roughness(view: SessionView) -> Part:
    heading = "Roughness over the travel"
    if view.profile.empty:
        return Part(heading, lead="The sweep could not be laid over the travel.")
    draw = partial(roughness_chart, view.profile, view.travel_band)
    reading = partial(_roughness_reading, view.profile, view.travel_band)
    return Part(heading, picture=Picture(draw, reading))


def _roughness_reading(profile: pd.DataFrame, band: pd.DataFrame) -> str:
    return f"{roughness_reading(profile)} {band_reading(profile, band)}"
