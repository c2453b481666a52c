"""Chances handed over as a frame, taken up as arrays."""

import numpy as np
import pandas as pd
import pytest

from models.frames import FrameError
from models.stock.needs import NeedError, needs_laid_out, sensor_needs
from tests.models.stock.simulated_stock import part_need


def test_between_horizons_chances_are_straight_and_none_today():
    needs = sensor_needs(part_need(["north"], ["P"], 1.0))
    at = needs.by_days(np.array([0.0, 3.5, 7.0, 10.5, 182.0]))[0, 0]
    grid = 1 - np.exp(-np.array([7, 14, 182]) / 365.25)
    assert at == pytest.approx([0, grid[0] / 2, grid[0], (grid[0] + grid[1]) / 2, grid[2]])


def test_beyond_the_last_horizon_the_mean_rate_goes_on():
    needs = sensor_needs(part_need(["north"], ["P"], 1.0))
    assert needs.by_days(np.array([364.0]))[0, 0, 0] == pytest.approx(1 - np.exp(-364 / 365.25))


def test_each_sensor_may_have_days_of_its_own():
    needs = sensor_needs(part_need(["north"] * 2, ["P"] * 2, [1.0, 2.0], draws=3, spread=0.2))
    own = needs.by_days(np.array([[7.0, 14.0], [28.0, 182.0]]))
    assert own.shape == (2, 3, 2)
    assert own[1, :, 1] == pytest.approx(needs.chances[1, :, -1])


def test_drawn_fits_take_the_estimate_s_place():
    rows = part_need(["north"], ["P"], 1.0, draws=4, spread=0.3)
    assert sensor_needs(rows).chances.shape == (1, 4, 11)
    assert sensor_needs(rows[rows["draw"] == 0]).chances.shape == (1, 1, 11)


def test_a_sensor_without_a_chance_is_left_out_and_named():
    rows = part_need(["north"] * 3, ["P"] * 3, 1.0)
    rows.loc[rows["sensor_id"].eq("S1") & rows["days"].ge(91), "need"] = np.nan
    needs = sensor_needs(rows)
    assert needs.left_out["sensor_id"].tolist() == ["S1"]
    assert needs.sensors["sensor_id"].tolist() == ["S0", "S2"]
    assert len(needs.chances) == 2


def test_of_a_sensor_without_a_chance_planned_work_counts_from_its_day():
    rows = part_need(["north"], ["P"], 1.0)
    need = sensor_needs(rows.assign(need=np.where(rows["days"] >= 28, 1.0, np.nan)))
    assert need.left_out.empty
    assert need.by_days(np.array([21.0, 28.0]))[0, 0].tolist() == [0.0, 1.0]


def test_rows_in_any_order_give_the_same():
    rows = part_need(["north"] * 3, ["P"] * 3, [1.0, 2.0, 3.0], draws=2, spread=0.2)
    mixed = sensor_needs(rows.sample(frac=1.0, random_state=1))
    straight = sensor_needs(rows)
    order = mixed.sensors.set_index("sensor_id").index.get_indexer(straight.sensors["sensor_id"])
    assert mixed.chances[order] == pytest.approx(straight.chances)


def test_what_cannot_be_is_named():
    rows = part_need(["north"], ["P"], 1.0)
    with pytest.raises(NeedError, match=r"1\.5 for sensor S0, draw 0, 14 days"):
        sensor_needs(rows.assign(need=rows["need"].where(rows["days"] != 14, 1.5)))
    with pytest.raises(NeedError, match="does not fall"):
        sensor_needs(rows.assign(need=rows["need"].where(rows["days"] != 14, 0.0)))
    other = rows.iloc[:1].assign(sensor_id="S9")
    with pytest.raises(NeedError, match="12 rows, expected"):
        sensor_needs(pd.concat([rows, other]))
    with pytest.raises(FrameError, match="no column need"):
        sensor_needs(rows.drop(columns="need"))


def test_no_sensor_at_all_is_no_error():
    needs = sensor_needs(part_need([], [], 1.0))
    assert needs.by_days(np.array([7.0, 14.0])).shape[0] == 0


@pytest.mark.parametrize("draws", [1, 4])
def test_chances_laid_out_already_are_taken_as_from_rows(draws):
    rows = part_need(["north", "south", "north"], ["P"] * 3, [1.0, 2.0, 3.0], draws=draws)
    rows.loc[rows["sensor_id"] == rows["sensor_id"].iloc[-1], "need"] = np.nan
    days = np.unique(rows["days"].to_numpy(int))
    chances = rows["need"].to_numpy(float).reshape(3, -1, len(days))
    sensors = rows.iloc[:: chances.shape[1] * len(days)]
    parts = np.split(chances, [2])
    found, expected = needs_laid_out(sensors, days, parts), sensor_needs(rows)
    assert np.array_equal(found.chances, expected.chances)
    assert np.array_equal(found.days, expected.days)
    assert found.sensors["sensor_id"].tolist() == expected.sensors["sensor_id"].tolist()
    assert len(found.left_out) == len(expected.left_out) == 1
    with pytest.raises(NeedError, match="a chance from 0 to 1"):
        needs_laid_out(sensors, days, [np.where(np.isnan(chances), 1.5, chances)])
