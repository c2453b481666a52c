from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import models.plans.need as module
from models.plans.need import need_rows, needs_by_part, part_need
from tests.models.plans.outlooks import DAYS, TEST, outlook, simulated


def work(view, kind=None, days=None):
    ids = view.sensors["sensor_id"]
    planned = {"work": kind, "work_days": days, "owed_for": None}
    return pd.DataFrame({"sensor_id": ids, **planned})


def test_without_work_a_part_is_asked_for_when_a_defect_is_heard_of():
    view = outlook([20_000, 50_000])
    assert np.array_equal(part_need(view, work(view)), view.heard)


def test_a_replacement_asks_for_a_part_on_its_day():
    need = part_need(view := outlook([20_000]), work(view, "replace", 20.0))[0, 0]
    assert np.all(need[DAYS < 20] == view.heard[0, 0, DAYS < 20])
    assert np.all(need[DAYS >= 20] == 1)


def test_work_beyond_the_outlook_changes_nothing():
    view = outlook([20_000])
    assert np.array_equal(part_need(view, work(view, "test", 400.0)), view.heard)


@pytest.mark.parametrize("day", [0.0, 25.0, 60.0])
def test_a_test_as_simulated(day):
    n, age = 200_000, 45_000.0
    _, defect, heard = simulated(n, 7, ages_km=age)
    rng = np.random.default_rng(8)
    silent = (defect <= day) & (heard > day)
    taken_off = (heard > day) & (
        rng.random(n) < np.where(silent, TEST.sensitivity, TEST.false_alarm)
    )
    asked = np.where(taken_off & ~(silent & (heard <= day)), day, heard)
    view = outlook([age])
    need = part_need(view, work(view, "test", day))[0, 0]
    for k, until in enumerate(DAYS[1:], 1):
        # a sound sensor taken off is replaced by one that is sound for the time looked at
        assert need[k] == pytest.approx((asked <= until).mean(), abs=0.004)


def test_needs_do_not_fall_with_time_and_are_chances():
    view = outlook(np.linspace(0, 90_000, 20), belief=0.3, fits=3)
    for kind in (None, "test", "replace"):
        need = part_need(view, work(view, kind, 10.0))
        assert np.all((need >= 0) & (need <= 1))
        assert np.all(np.diff(need, axis=-1) >= -1e-9)


def test_a_sensor_not_known_has_no_need_told_unless_it_is_replaced():
    view = outlook([20_000])
    view.heard[:] = np.nan
    assert np.isnan(part_need(view, work(view))).all()
    assert np.all(part_need(view, work(view, "replace", 0.0)) == 1)


def test_needs_as_rows():
    view = outlook([20_000, 50_000], fits=3)
    need = part_need(view, work(view))
    rows = need_rows(view.sensors, DAYS, need)
    assert len(rows) == 2 * 3 * len(DAYS)
    one = rows.query("sensor_id == 'S-00001' and draw == 2 and days == 56", engine="python")
    assert one["need"].item() == need[1, 2, list(DAYS).index(56)]


def test_some_sensors_at_a_time_need_what_all_do(monkeypatch):
    monkeypatch.setattr(module, "_AT_ONCE", 3)
    view = outlook(np.linspace(0, 90_000, 8), belief=0.3, fits=2)
    planned = work(view, ["test", None, "replace", "test"] * 2, 10.0)
    # chances by date in another order, and none of the last sensor
    row = np.array([3, 0, 6, 1, 5, 2, 4, -1])
    other = replace(view, defect=view.defect[np.argsort(row)[1:]], row=row)
    other = replace(other, heard=view.heard[np.argsort(row)[1:]])
    view.defect[-1] = view.heard[-1] = np.nan
    sensors, parts = zip(*needs_by_part(other, planned), strict=True)
    assert [len(part) for part in parts] == [3, 3, 2]
    assert pd.concat(sensors)["sensor_id"].tolist() == view.sensors["sensor_id"].tolist()
    np.testing.assert_array_equal(np.concatenate(parts), part_need(view, planned))


def test_no_sensors_no_needs():
    view = outlook(np.zeros(0))
    ((sensors, need),) = needs_by_part(view, work(view))
    assert need_rows(sensors, DAYS, need).empty


def test_needs_do_not_fall_where_the_pace_told_is_not_that_of_the_chances():
    view = outlook([45_000], belief=0.4)
    view.sensors["km_per_day"] = 200.0
    assert np.all(np.diff(part_need(view, work(view, "test", 5.0)), axis=-1) >= 0)
