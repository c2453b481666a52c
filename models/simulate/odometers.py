"""Odometer readings between visits: fleets report them by rule, private owners when asked.

A fleet's bikes send theirs on the first of each month (a tracker in the bike). The shops write to
their private customers before and after the season and ask for it; not all answer. A bike lost
from view answers nothing. All chances are assumed.
"""

from __future__ import annotations

import datetime as dt

import numpy as np

from models.simulate.book import Book
from models.simulate.riding import Bike, day_of
from models.simulate.world import AS_OF, FIRST_DAY

TRACKER_SENDS = 0.96  # months in which a fleet bike's reading comes through
LETTER_MONTHS = (4, 8, 10)  # letters to private customers go out on the first of these
LETTER_ANSWERED = 0.8


def report_odometer(rng: np.random.Generator, book: Book, bike: Bike) -> None:
    """Note one bike's readings between its visits."""
    fleet = bike.group.fleet_id is not None
    chance = TRACKER_SENDS if fleet else LETTER_ANSWERED
    for date in _firsts_of_months():
        day, comes = day_of(date), rng.random() < chance
        asked = fleet or date.month in LETTER_MONTHS
        if asked and comes and bike.first_day < day <= bike.last_day:
            book.read_odometer(bike, day)


def _firsts_of_months() -> list[dt.date]:
    years = range(FIRST_DAY.year, AS_OF.year + 1)
    firsts = [dt.date(year, month, 1) for year in years for month in range(1, 13)]
    return [date for date in firsts if date <= AS_OF]
