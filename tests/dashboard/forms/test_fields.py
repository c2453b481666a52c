"""Fields: what a widget holds as the cell that the intake reads."""

from datetime import date, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.forms.fields import as_cell, moment_cell, out_of_bounds


@pytest.mark.parametrize(
    ("table", "name", "value", "cell"),
    [
        ("test_sessions", "supply_v", 4.98, "4.98"),
        ("test_sessions", "supply_v", None, None),
        ("test_sessions", "note", "  ", None),
        ("test_sessions", "note", " dry ", "dry"),
        ("units", "model_year", 2023.0, "2023"),
        ("odometer", "read_on", date(2026, 3, 14), "2026-03-14"),
        ("test_sessions", "odometer_km", 123456.0, "123456"),
    ],
)
def test_a_value_becomes_a_cell_and_a_blank_none(table, name, value, cell):
    assert as_cell(table, name, value) == cell


@given(st.floats(0, 30))
def test_what_a_meter_shows_is_not_changed_by_the_way(volts):
    assert float(as_cell("test_sessions", "supply_v", volts)) == pytest.approx(volts, rel=1e-8)


def test_what_the_contract_refuses_is_said_with_what_was_expected():
    assert "0 to 30" in out_of_bounds("test_sessions", "supply_v", "31")
    assert out_of_bounds("test_sessions", "supply_v", "30") is None
    assert out_of_bounds("test_sessions", "supply_v", None) is None
    assert out_of_bounds("test_sessions", "note", "31") is None


def test_a_moment_carries_an_offset():
    assert moment_cell(date(2026, 3, 14), time(9, 5))[:19] == "2026-03-14T09:05:00"
    assert moment_cell(date(2026, 3, 14), time(9, 5))[19] in "+-"
    assert moment_cell(None, time(9, 5)) is None
