from datetime import date

import pandas as pd

from models.plans.lot import drawn_by_lot

SENSORS = [f"S-{n:05d}" for n in range(20_000)]
NEVER = [None] * len(SENSORS)
DAY = date(2026, 11, 3)


def test_about_the_share_is_drawn():
    """2 in 100 of 20,000: 400, with a standard deviation of 20."""
    assert abs(len(drawn_by_lot(SENSORS, NEVER, DAY, 0.02)) - 400) < 80


def test_the_lot_stands_for_the_quarter_and_then_changes():
    drawn = drawn_by_lot(SENSORS, NEVER, DAY, 0.02)
    assert drawn == drawn_by_lot(SENSORS, NEVER, date(2026, 12, 31), 0.02)
    assert len(drawn & drawn_by_lot(SENSORS, NEVER, date(2027, 1, 1), 0.02)) < 40


def test_a_larger_share_draws_the_same_and_more():
    assert drawn_by_lot(SENSORS, NEVER, DAY, 0.02) < drawn_by_lot(SENSORS, NEVER, DAY, 0.05)


def test_none_and_all():
    assert not drawn_by_lot(SENSORS, NEVER, DAY, 0.0)
    assert drawn_by_lot(SENSORS, NEVER, DAY, 1.0) == set(SENSORS)


def test_a_sensor_tested_in_the_quarter_is_not_drawn():
    tested = [pd.Timestamp("2026-10-01"), pd.Timestamp("2026-09-30"), pd.NaT]
    assert drawn_by_lot(["a", "b", "c"], tested, DAY, 1.0) == {"b", "c"}
