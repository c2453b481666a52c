"""Readings of all tests, and what their checks come down to, are kept some tests at a time."""

import numpy as np
import pandas as pd
import pytest

from models.statics.checks import check_outcomes
from models.statics.schemas import BANDS, CHECK_OUTCOMES, READINGS
from pipeline.statements import connect, store, store_parts
from pipeline.warehouse import statics

TESTS = 7


@pytest.fixture
def connection():
    """A database with the readings of some bench tests, odd ones among them."""
    connection = connect()
    connection.execute("create schema marts")
    tests = pd.DataFrame(
        {
            "session_id": [f"t{number}" for number in range(TESTS)],
            "sensor_id": "s1",
            "part_no": ["P1", "P2"] * (TESTS // 2) + ["P1"],
            "kind": [None, "contactless"] * (TESTS // 2) + ["potentiometer"],
            "supply_v": [5.0, 5.01, 503.0, np.nan, 4.2, np.inf, 5.0],
            "closed_v": np.linspace(0.4, 4.6, TESTS),
            "track_ohm": 4600.0,
            "fault_codes": [None, "P0122 P0300", None, "P0121", "odd", None, None],
        }
    )
    store(connection, "static_readings", READINGS.check(tests.reindex(columns=READINGS.names)))
    return connection


@pytest.mark.parametrize("at_once", [1, 2, 3, 50])
def test_outcomes_are_the_same_for_any_part_size(connection, monkeypatch, at_once):
    monkeypatch.setattr(statics, "READ_AT_ONCE", at_once)
    store_parts(connection, "check_outcomes", statics._outcomes(connection, BANDS.empty()))
    kept = connection.execute("from marts.check_outcomes order by rowid").df()
    tests = connection.execute("from marts.static_readings order by rowid").df()
    wanted = check_outcomes(READINGS.check(tests), BANDS.empty())
    assert len(kept) == TESTS
    assert kept["elsewhere"].notna().any()
    pd.testing.assert_frame_equal(CHECK_OUTCOMES.check(kept), wanted, check_exact=True)


def test_no_tests_give_a_table_without_rows(connection):
    connection.execute("delete from marts.static_readings")
    store_parts(connection, "check_outcomes", statics._outcomes(connection, BANDS.empty()))
    assert connection.execute("select count(*) from marts.check_outcomes").fetchall() == [(0,)]


def test_texts_by_number_are_kept_as_texts_and_blanks_as_blanks(connection):
    texts = ["b", None, "a", "b"]
    coded = pd.DataFrame({"word": pd.Categorical(texts), "value": [1.0, np.nan, 2.0, 3.0]})
    plain = coded.assign(word=pd.Series(texts, dtype="str"))
    store(connection, "by_number", coded)
    store_parts(connection, "in_parts", [coded[:1], plain[1:2], coded[2:]])
    for table in ("by_number", "in_parts"):
        found = connection.execute(f"select word, value from marts.{table} order by rowid")
        assert found.fetchall() == [("b", 1.0), (None, None), ("a", 2.0), ("b", 3.0)]
        kinds = connection.execute(f"select column_type from (describe marts.{table})").fetchall()
        assert kinds == [("VARCHAR",), ("DOUBLE",)]
