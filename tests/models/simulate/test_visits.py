"""Routine visits: services in between, and the fleets' check each autumn."""

import numpy as np
import pytest

from models.simulate.riding import bikes, date_of
from models.simulate.visits import AUTUMN_APART_DAYS, routine_days


@pytest.fixture(scope="module")
def drawn():
    return bikes(np.random.default_rng(8), 150)


def test_a_fleet_bike_is_tested_every_autumn_in_view_and_services_keep_apart(drawn):
    for bike in drawn:
        if not bike.group.autumn_check:
            continue
        visits = routine_days(np.random.default_rng(bike.number), bike)
        days = [day for day, _ in visits]
        assert days == sorted(days)
        assert all(bike.first_day < day <= bike.last_day for day in days)
        tested = {date_of(d).year for d, t in visits if t and date_of(d).month in (9, 10)}
        first, last = date_of(bike.first_day), date_of(bike.last_day)
        assert set(range(first.year + 1, last.year)) <= tested
        checks = [
            d for d, t in visits if t and (9, 5) <= (date_of(d).month, date_of(d).day) < (10, 20)
        ]
        for check in checks:
            near = [day for day in days if day != check and abs(day - check) <= AUTUMN_APART_DAYS]
            assert not near


def test_private_bikes_have_no_autumn_check(drawn):
    private = [bike for bike in drawn if not bike.group.fleet_id]
    assert private
    assert not any(bike.group.autumn_check for bike in private)
