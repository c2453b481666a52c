"""A bike's weeks: the sensors' chances put together, against hand-worked and limiting cases."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk.bike_weeks import SENSOR_DAYS, any_of, bike_weeks

DAY = date(2026, 6, 1)


def days(**heard: list[float]) -> pd.DataFrame:
    """Sensors by name ``BIKE_SENSOR``: chance of being heard of after 0, 7, 14 … days."""
    rows = [
        {"sensor_id": name, "unit_id": name.split("_")[0], "days": 7 * n, "heard": value}
        for name, values in heard.items()
        for n, value in enumerate(values)
    ]
    return SENSOR_DAYS.check(pd.DataFrame(rows, columns=SENSOR_DAYS.names))


def test_a_bike_of_one_sensor_has_the_share_of_its_chance_week_by_week():
    found = bike_weeks(pd.Series(["B1"]), days(B1_a=[0, 0.1, 0.3]), 0.5, DAY, weeks=2)
    assert found["road"].tolist() == pytest.approx([0.05, 0.10])
    assert found["road_by_then"].tolist() == pytest.approx([0.05, 0.15])
    assert found["from_on"].tolist() == [pd.Timestamp("2026-06-02"), pd.Timestamp("2026-06-09")]
    assert found["to_on"].tolist() == [pd.Timestamp("2026-06-08"), pd.Timestamp("2026-06-15")]


def test_two_sensors_spare_a_bike_by_the_product():
    found = bike_weeks(
        pd.Series(["B1"]), days(B1_a=[0, 0.2, 0.4], B1_b=[0, 0.1, 0.1]), 1.0, DAY, weeks=2
    )
    assert found["road_by_then"].tolist() == pytest.approx([1 - 0.8 * 0.9, 1 - 0.6 * 0.9])
    assert found["sensors_known"].tolist() == [2, 2]


def test_a_bike_of_which_nothing_is_known_is_blank_and_never_safe():
    found = bike_weeks(pd.Series(["B2", "B1"]), days(B1_a=[0, 0.2]), 1.0, DAY, weeks=1)
    assert found["unit_id"].tolist() == ["B2", "B1"]
    assert found["road"].isna().tolist() == [True, False]
    assert found["sensors_known"].tolist() == [0, 1]
    assert bike_weeks(pd.Series([], dtype="str"), SENSOR_DAYS.empty(), 0.5, DAY).empty


def test_without_road_failures_among_defects_no_week_has_a_chance():
    assert bike_weeks(pd.Series(["B1"]), days(B1_a=[0, 1.0]), 0.0, DAY, weeks=1)["road"][0] == 0


@given(
    st.lists(st.lists(st.floats(0, 1), min_size=6, max_size=6).map(sorted), min_size=1, max_size=4),
    st.floats(0, 1),
)
def test_weeks_are_never_below_0_add_up_and_lie_between_the_worst_sensor_and_all(sensors, share):
    frame = days(**{f"B1_{n}": [0, *values] for n, values in enumerate(sensors)})
    found = bike_weeks(pd.Series(["B1"]), frame, share, DAY)
    assert (found["road"] >= 0).all()
    assert np.cumsum(found["road"]).to_numpy() == pytest.approx(found["road_by_then"], abs=1e-9)
    last = share * np.array([values[-1] for values in sensors])
    assert last.max() - 1e-9 <= found["road_by_then"].iloc[-1] <= min(last.sum(), 1) + 1e-9


def test_any_of_leaves_blanks_out_and_a_bike_of_blanks_blank():
    bikes = pd.Series(["B1", "B1", "B2", "B3", "B3"])
    found = any_of(bikes, pd.Series([0.5, 0.5, np.nan, 0.2, np.nan]))
    assert found["B1"] == pytest.approx(0.75)
    assert np.isnan(found["B2"])
    assert found["B3"] == pytest.approx(0.2)
