"""What a job sheet holds, whichever way it is printed."""

from __future__ import annotations

import pytest

from dashboard.prints.job_sheet import DROPOUTS_PRINTED, job_sheet
from pipeline.access.frames import view_schemas as schemas
from tests.dashboard import fake_views as fakes


def part(sheet, heading: str):
    (found,) = [p for p in sheet.parts if p.heading == heading]
    return found


def words_of(sheet) -> str:
    said = [sheet.title, sheet.foot, *sheet.notices]
    for p in sheet.parts:
        said += [p.heading, p.lead, p.after, *p.points, *p.blanks]
        said += [text for pair in p.facts for text in pair]
        said += [] if p.rows is None else [*p.rows.headings, *(c for r in p.rows.cells for c in r)]
        said += [] if p.picture is None else [p.picture.reading()]
    return "\n".join(said)


def test_it_names_the_bike_the_sensor_and_when_it_was_tested():
    facts = dict(part(job_sheet(fakes.session_view()), "The test").facts)
    assert facts["Bike"] == "bike 1, some text"
    assert facts["Sensor"] == "some text, throttle"
    assert facts["Tested"] == "2026-03-14, 09:20 (UTC+01:00)"


def test_both_verdicts_stand_side_by_side_with_the_note():
    says = part(job_sheet(fakes.session_view()), "What this test says")
    rows = says.rows
    assert rows.headings == ("By rule: Drop-outs seen", "By the technician: Pass")
    ((rule, own),) = rows.cells
    assert "2 drop-outs, densest near 22 % of travel" in rule
    assert "do not agree" in own
    assert says.after == f"Note: {fakes.HOSTILE}"


def test_each_reading_has_its_good_range_and_its_state_in_words():
    rows = part(job_sheet(fakes.session_view()), "Readings at rest, in the order of reasoning").rows
    assert rows.cells[0][:4] == ("Supply", "5.010 V", "4.75 to 5.25 V", "in range")
    assert rows.cells[1][:4] == ("Fault codes", "P0122", "none", "points to a fault")
    assert rows.cells[2][3] == "not read"


@pytest.mark.parametrize("view", [fakes.session_view(), fakes.session_without_sweep()])
def test_cautions_and_the_deference_to_rules_and_a_technician_stand_on_every_sheet(view):
    sheet = job_sheet(view)
    cautions = part(sheet, "Before any work on the bike")
    assert cautions.boxed
    assert cautions.points[0].startswith("Engine off, bike steady")
    assert any("Local rules and a qualified technician" in line for line in cautions.points)
    assert "no statement" in part(sheet, "Signed").lead
    assert "No statement that the bike is safe" in sheet.foot
    assert part(sheet, "Signed").blanks
    assert "Work done" in part(sheet, "Done at the bike").blanks


def test_more_drop_outs_than_a_sheet_holds_are_counted():
    many = part(job_sheet(fakes.session_view(dropouts=fakes.dropouts(40))), "Drop-outs")
    assert len(many.rows.cells) == DROPOUTS_PRINTED
    assert many.after == "16 further drop-outs on the test's page."
    few = part(job_sheet(fakes.session_view()), "Drop-outs")
    assert few.rows.cells[0][1:4] == ("1 s", "10 ms", "20 % of applied")
    assert few.after == ""


def test_none_seen_is_never_told_as_none():
    none = job_sheet(fakes.session_view(dropouts=fakes.dropouts(0)))
    assert part(none, "Drop-outs").lead.endswith("does not show that there is none.")


def test_without_a_sweep_nothing_is_said_of_one():
    sheet = job_sheet(fakes.session_without_sweep())
    assert "nothing is known here about drop-outs" in part(sheet, "The sweep").lead
    assert not any(p.picture for p in sheet.parts)
    assert "Drop-outs" not in [p.heading for p in sheet.parts]


def test_a_sweep_without_samples_or_travel_has_a_word_for_each():
    blank = {"trace": schemas.TRACE.empty(), "profile": fakes.profile().iloc[:0]}
    sheet = job_sheet(fakes.session_view(**blank))
    assert "cannot be drawn" in part(sheet, "The sweep as recorded").lead
    assert "could not be laid over" in part(sheet, "Roughness over the travel").lead


def test_notices_say_demo_just_entered_and_what_was_set_aside():
    view = fakes.session_view(
        edition=fakes.edition(is_demo=True), in_records=False, set_aside=fakes.set_aside_rows(2)
    )
    demo, entered, aside = job_sheet(view).notices
    assert demo == "Demo: invented shops, not measured."
    assert "do not hold it yet" in entered
    assert aside.startswith("2 entries handed in for this test or its bike could not be taken in")
    assert job_sheet(fakes.session_view()).notices == ()


def test_nothing_on_it_calls_a_bike_or_a_sensor_safe_or_good():
    words = words_of(job_sheet(fakes.session_view())).lower()
    for sentence in words.replace("\n", ". ").split(". "):
        if "safe" in sentence:
            assert "never" in sentence or "no statement" in sentence, sentence
    assert "is good" not in words
