"""Jobs while a part is short, and when a doubtful sensor is called in again."""

import datetime as dt
from itertools import pairwise

import numpy as np

from models.simulate.repairs import CALLED_IN_DAYS, current_part
from models.simulate.riding import date_of
from models.simulate.shops import play_history
from models.simulate.world import AS_OF, MODELS, PARTS, SHORTAGE

ONE_DAY = dt.timedelta(days=1)


def test_the_shortage_holds_up_its_part_at_its_shops_until_the_delivery():
    shop = SHORTAGE.shop_ids[0]
    assert SHORTAGE.holds_up(SHORTAGE.part_no, shop, SHORTAGE.first_day)
    assert SHORTAGE.holds_up(SHORTAGE.part_no, shop, SHORTAGE.delivery_day - ONE_DAY)
    assert not SHORTAGE.holds_up(SHORTAGE.part_no, shop, SHORTAGE.first_day - ONE_DAY)
    assert not SHORTAGE.holds_up(SHORTAGE.part_no, shop, SHORTAGE.delivery_day)
    assert not SHORTAGE.holds_up("LN-72", shop, SHORTAGE.first_day)
    assert not SHORTAGE.holds_up(SHORTAGE.part_no, "brackenford", SHORTAGE.first_day)


def test_only_bikes_with_one_sensor_ever_stand_for_the_short_part():
    replaced = [name for name, part in PARTS.items() if part.replaced_by == SHORTAGE.part_no]
    needs = [m for m in MODELS.values() if m.part_no in (SHORTAGE.part_no, *replaced)]
    assert needs
    assert all(len(model.mounts) == 1 for model in needs)
    assert SHORTAGE.delivery_day > AS_OF


def test_while_it_is_short_nothing_is_fitted_and_bikes_with_a_failed_sensor_stand():
    history = play_history(3, 600)
    replaced = [o for o in history.book.outcomes if o.action == "sensor_replaced"]
    assert replaced
    for outcome in replaced:
        fitted = current_part(outcome.sensor.part_no, outcome.day)
        assert not SHORTAGE.holds_up(fitted, outcome.test.shop_id, date_of(outcome.day))
    repaired = {outcome.test.number for outcome in history.book.outcomes}
    waiting = [
        test
        for test in history.tests
        if test.verdict == "fail"
        and test.number not in repaired
        and test.shop_id in SHORTAGE.shop_ids
        and date_of(test.day) >= SHORTAGE.first_day
        and MODELS[test.sensor.bike.model_code].part_no in ("QK-1140", SHORTAGE.part_no)
        and test.sensor.bike.gone is None
    ]
    assert len(waiting) >= 5
    for test in waiting:
        after = test.sensor.bike.odometer_km[test.day :]
        assert np.ptp(after) == 0.0
        assert test.sensor.removed_day is None


def test_a_doubtful_sensor_is_called_in_after_distance_within_limits_of_days():
    history = play_history(5, 300)
    by_sensor = {}
    for test in history.tests:
        by_sensor.setdefault(test.sensor.number, []).append(test)
    waits = {"courier": [], "commute": []}
    for tests in by_sensor.values():
        for before, after in pairwise(tests):
            duty = after.sensor.bike.duty
            if after.reason == "called_in" and before.verdict == "suspect" and duty in waits:
                waits[duty].append(after.day - before.day)
    assert min(map(len, waits.values())) >= 5
    assert all(
        CALLED_IN_DAYS[0] <= day <= CALLED_IN_DAYS[1] for days in waits.values() for day in days
    )
    assert np.median(waits["courier"]) < np.median(waits["commute"])
