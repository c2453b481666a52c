"""What came of advice, run by run: each test and each repair counted once."""

from __future__ import annotations

import pytest

from models.plans.saved_so_far import ADVICE_OUTCOMES
from pipeline.statements import connect, run

FLAGS = ("tested", "taken_off", "confirmed", "sound", "noticed")


@pytest.fixture
def outcomes():
    """``outcomes(spells, symptoms)``: rows by sensor and first day, the flags that hold."""
    connection = connect()
    connection.execute("create schema marts; create schema staging")
    connection.execute("create table staging.parts as select 'P1' as part_no, 80.0 as unit_price")
    connection.execute(
        "create table marts.sensor_lives as select 'S1' as sensor_id, 'P1' as part_no"
    )
    connection.execute(
        "create table marts.tests (sensor_id varchar, reason varchar, tested_on date)"
    )
    connection.execute(
        "create table marts.advised_spells (sensor_id varchar, action varchar, first_on date, "
        "tested_on date, taken_off_on date, fault_confirmed varchar, confirmed_by varchar, "
        "road_failures bigint)"
    )

    def read(*spells: tuple, symptoms: tuple[str, ...] = ()) -> dict[str, set[str]]:
        for spell in spells:
            connection.execute(
                "insert into marts.advised_spells values ('S1', ?, ?, ?, ?, ?, ?, ?)", spell
            )
        for day in symptoms:
            connection.execute("insert into marts.tests values ('S1', 'symptom', ?)", [day])
        rows = ADVICE_OUTCOMES.check(run(connection, "access/sql/advice_outcomes").df())
        return {
            f"{row['first_on']:%m-%d}": {flag for flag in FLAGS if row[flag]}
            for row in rows.to_dict("records")
        }

    yield read
    connection.close()


def spell(action, first_on, tested_on=None, off_on=None, confirmed=None, by="opened", failed=0):
    return (action, first_on, tested_on, off_on, confirmed, by, failed)


def test_a_repair_under_later_advice_is_counted_for_that_alone(outcomes):
    """Tested as advised, then advised to be replaced, and replaced: one test, one defect."""
    found = outcomes(
        spell("test", "2026-01-01", "2026-01-10", "2026-01-20", "yes"),
        spell("replace", "2026-01-12", None, "2026-01-20", "yes"),
    )
    assert found == {"01-01": {"tested"}, "01-12": {"taken_off", "confirmed"}}


def test_work_on_the_day_of_the_next_build_was_done_under_the_advice_before_it(outcomes):
    found = outcomes(
        spell("test", "2026-01-01", "2026-01-12", "2026-01-12", "yes"),
        spell("leave", "2026-01-12"),
    )
    assert found == {"01-01": {"tested", "taken_off", "confirmed"}}


def test_work_after_leaving_was_advised_counts_for_no_advice(outcomes):
    found = outcomes(
        spell("test", "2026-01-01", "2026-01-10", "2026-03-01", "yes"),
        spell("leave", "2026-01-12", None, "2026-03-01", "yes"),
    )
    assert found == {"01-01": {"tested"}}


def test_a_complaint_before_the_work_is_noticed_and_one_under_later_advice_is_not(outcomes):
    done = spell("replace", "2026-01-01", None, "2026-01-20", "yes")
    assert outcomes(done, symptoms=("2026-01-15",)) == {
        "01-01": {"taken_off", "confirmed", "noticed"}
    }


def test_a_complaint_after_the_advice_had_changed_does_not_undo_the_earlier_test(outcomes):
    found = outcomes(
        spell("test", "2026-01-01", "2026-01-10"),
        spell("leave", "2026-01-12"),
        symptoms=("2026-02-15",),
    )
    assert found == {"01-01": {"tested"}}


@pytest.mark.parametrize(
    ("row", "flags"),
    [
        (spell("replace", "2026-01-01", None, "2026-01-20", "no"), {"taken_off", "sound"}),
        (
            spell("replace", "2026-01-01", None, "2026-01-20", "yes", by="verdict_only"),
            {"taken_off"},
        ),
        (spell("replace", "2026-01-01", None, "2026-01-20"), {"taken_off"}),
        (spell("not_enough_known", "2026-01-01", failed=1), {"noticed"}),
        (spell("test", "2026-01-01"), set()),
    ],
)
def test_only_what_is_known_of_the_sensor_itself_is_counted(outcomes, row, flags):
    assert outcomes(row) == {"01-01": flags}
