"""Who reports the odometer between visits, and when."""

import numpy as np
import pytest

from models.simulate.book import Book
from models.simulate.odometers import LETTER_MONTHS, report_odometer
from models.simulate.riding import bikes, date_of


@pytest.fixture(scope="module")
def fleet_and_private():
    drawn = bikes(np.random.default_rng(4), 200)
    fleet = [bike for bike in drawn if bike.group.fleet_id]
    return fleet, [bike for bike in drawn if not bike.group.fleet_id]


def _read_days(bike, seed=0):
    book = Book()
    report_odometer(np.random.default_rng(seed), book, bike)
    assert all(km == bike.km_on(day) for (_, day), km in book.readings.items())
    return [day for _, day in book.readings]


def test_readings_stand_between_first_visit_and_leaving_view(fleet_and_private):
    for bike in [bike for group in fleet_and_private for bike in group]:
        assert all(bike.first_day < day <= bike.last_day for day in _read_days(bike))


def test_a_fleet_reports_nearly_every_month_and_private_owners_when_asked(fleet_and_private):
    fleet, private = fleet_and_private
    months = sum((bike.last_day - bike.first_day) / 30.44 for bike in fleet)
    read = [day for bike in fleet for day in _read_days(bike, bike.number)]
    assert 0.90 < len(read) / months < 1.0
    assert {date_of(day).day for day in read} == {1}
    asked = {date_of(day).month for bike in private for day in _read_days(bike, bike.number)}
    assert asked == set(LETTER_MONTHS)
