"""Corrected rows go the way of every file; what cannot stand is named and the others are saved."""

import pytest

from pipeline.access.entered.pending import pending_rows
from pipeline.access.set_aside_rows import SetAsideRow, set_aside_rows
from pipeline.intake.receive import last_hand_in
from pipeline.jobs.correct import Correction, correct
from pipeline.jobs.ingest import rebuild
from pipeline.statements import connect
from tests.askers import HERE


@pytest.fixture
def rows(faulty_copy):
    return set_aside_rows(faulty_copy, HERE)


def _changed(row: SetAsideRow, **cells: str) -> Correction:
    return Correction(row, row.cells | cells)


def _counted(home, table: str) -> int:
    connection = connect(rebuild(home).path, read_only=True)
    try:
        return connection.execute(f"select count(*) from staging.{table}").fetchone()[0]
    finally:
        connection.close()


def test_corrected_rows_are_saved_together_and_come_in(faulty_copy, rows):
    date, _ = rows["odometer"]
    done = correct(
        faulty_copy,
        [
            _changed(date, read_on="2025-08-01"),
            _changed(rows["stock"][0], on_hand="1"),
            _changed(rows["units"][0], model_year="2003"),
        ],
    )
    assert (done.saved, done.troubles) == (3, {})
    assert last_hand_in(faulty_copy) == 2
    assert list(set_aside_rows(faulty_copy, HERE)) == ["odometer"]  # the row that waits
    assert _counted(faulty_copy, "stock") == 2
    left = set_aside_rows(faulty_copy, HERE)
    assert [row.key for row in left["odometer"]] == ["B9/2025-08-01"]


def test_what_cannot_stand_is_named_by_its_place_and_the_others_are_saved(faulty_copy, rows):
    done = correct(
        faulty_copy,
        [_changed(rows["stock"][0], on_hand="some"), _changed(rows["units"][0], model_year="")],
    )
    assert done.saved == 1
    ((place, (trouble,)),) = done.troubles.items()
    assert (place, trouble.column, trouble.value) == (0, "on_hand", "some")
    assert set(pending_rows(faulty_copy, HERE, "units", "stock")["stock"]) == set()


def test_nothing_is_saved_where_nothing_can_stand(faulty_copy, rows):
    done = correct(faulty_copy, [_changed(rows["stock"][0], on_hand="some")])
    assert done.saved == 0
    assert last_hand_in(faulty_copy) == 1


def test_two_rows_of_one_key_are_both_refused(faulty_copy, rows):
    date, waiting = rows["odometer"]
    same = {"unit_id": "B2", "read_on": "2025-08-01", "odometer_km": "21000"}
    done = correct(faulty_copy, [Correction(date, same), Correction(waiting, same)])
    assert done.saved == 0
    assert sorted(done.troubles) == [0, 1]


def test_a_row_taken_off_is_withdrawn_and_nothing_in_force_is_lost(faulty_copy, rows):
    _, waiting = rows["odometer"]
    (unit,) = rows["units"]  # stands, with its model year left blank
    assert correct(faulty_copy, [Correction(waiting, None), Correction(unit, None)]).saved == 2
    assert _counted(faulty_copy, "units") == 3
    assert "units" not in set_aside_rows(faulty_copy, HERE)
    assert [row.key for row in set_aside_rows(faulty_copy, HERE)["odometer"]] == ["B2/01.08.2025"]
