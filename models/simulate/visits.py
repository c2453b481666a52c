"""What happens to one sensor position over the years: visits, tests, repairs, next sensor.

The position goes from event to event: a routine visit, a call-in after a doubtful test, or a
complaint, whichever comes first. Complaints come from the sensor (noticed, or a road failure),
from plug or lead, or from elsewhere on the bike.
"""

from __future__ import annotations

import datetime as dt

import numpy as np

from models.simulate.book import Book, OutcomeRecord, SensorRecord, TestRecord
from models.simulate.repairs import after_test
from models.simulate.riding import Bike, day_of
from models.simulate.verdicts import choose_channel, judge, lead_seen, symptom_words
from models.simulate.wear import draw_spell
from models.simulate.world import (
    AS_OF,
    FIRST_DAY,
    LAST_DAY,
    LEAD_KM,
    LEAD_NOTICE_KM,
    MODELS,
    OTHER_KM,
    PARTS,
    SHOPS,
)

NEVER = LAST_DAY + 10_000
QUIET_DAYS = 5  # routine visits this soon after another are not made
FIRST_VISIT_TEST = 0.6  # first visits that include a bench test (assumed)
UNTESTED_READ = 0.6  # services without a bench test whose odometer was written down (assumed)
AUTUMN_FROM, AUTUMN_DAYS = (9, 5), 45  # the fleets' autumn check: from this date on (assumed)
AUTUMN_APART_DAYS = 30  # a service this close to the autumn check is made with it (assumed)
ELSEWHERE_CHANCE = 0.03  # a test made by another shop (assumed)


class Position:
    """One mount of one bike: the sensor on it now, its lead, and what is due next."""

    def __init__(self, rng: np.random.Generator, book: Book, bike: Bike, mount: str):
        self.rng, self.book, self.bike, self.mount = rng, book, bike, mount
        self.lead: str | None = None
        self.called_day = NEVER
        self.last_outcome: OutcomeRecord | None = None
        self.clear_of_lead(self._km(bike.first_day))
        self.other_km = self._km(bike.first_day) + rng.exponential(OTHER_KM)
        self.sensor = self._first_sensor()

    def _km(self, day: int) -> float:
        return float(self.bike.odometer_km[min(day, LAST_DAY)])

    def clear_of_lead(self, odometer_km: float) -> None:
        """Plug and lead are sound from here; the next fault is drawn."""
        self.lead = None
        self.lead_km = odometer_km + self.rng.exponential(LEAD_KM)
        self.lead_notice_km = self.lead_km + self.rng.exponential(LEAD_NOTICE_KM)
        self.lead_kind = "tug" if self.rng.random() < 0.35 else "wander"

    def fit(
        self, part_no: str, origin: str, day: int, fitted_day: int | None, true_km: float
    ) -> SensorRecord:
        """Write down a new sensor; its hidden life starts at ``true_km``."""
        known = fitted_day is not None
        record = SensorRecord(
            number=len(self.book.sensors),
            bike=self.bike,
            mount=self.mount,
            part_no=part_no,
            origin=origin,
            fitted_day=fitted_day,
            fitted_km=int(true_km) if known else None,
            first_seen_day=day,
            first_seen_km=self.bike.km_on(day),
            true_fitted_km=true_km,
        )
        part = PARTS[part_no]
        record.spells.append(draw_spell(self.rng, self.bike, part, record.number, 0, true_km))
        self.book.sensors.append(record)
        return record

    def _first_sensor(self) -> SensorRecord:
        """The sensor found on the first visit: the original, unless it failed and was replaced
        before. That earlier ones had to go is what makes late entry a truncation.
        """
        bike, rng = self.bike, self.rng
        part_no, fitted_km, earlier = MODELS[bike.model_code].part_no, 0.0, 0
        entry_km = self._km(bike.first_day)
        while True:
            spell = draw_spell(rng, bike, PARTS[part_no], len(self.book.sensors), 0, fitted_km)
            end_km = min(spell.failure_km, spell.notice_km)
            if end_km >= entry_km:
                break
            fitted_km, earlier = end_km, earlier + 1
        original = earlier == 0 and bike.past_known
        record = self.fit(
            part_no,
            "original" if original else "unknown",
            bike.first_day,
            bike.in_service_day if original else None,
            fitted_km,
        )
        record.spells[0] = spell
        return record

    def next_event(self, after_day: int, routine: list[int]) -> tuple[int, str]:
        """Day and kind of what comes next: routine, called_in, or a symptom's cause."""
        spell, bike = self.sensor.spell, self.bike
        due = [(max(self.called_day, after_day + 1), "called_in")]
        ahead = (day for day in routine if day > after_day + QUIET_DAYS)
        due.append((next(ahead, NEVER), "routine"))
        if np.isfinite(spell.defect_km):
            failing = spell.failure_km <= spell.notice_km
            km = min(spell.failure_km, spell.notice_km)
            wait = int(self.rng.integers(1, 5 if failing else 12))
            due.append((self._day(km, after_day, wait), "road" if failing else "defect"))
        due.append((self._day(self.lead_notice_km, after_day, 3), "lead"))
        due.append((self._day(self.other_km, after_day, 4), "other"))
        day, kind = min(due)
        return (day, kind) if day <= bike.last_day else (NEVER, "end")

    def _day(self, odometer_km: float, after_day: int, wait: int) -> int:
        day = self.bike.day_at(odometer_km)
        return NEVER if day > LAST_DAY else max(day + wait, after_day + 1)

    def test(self, day: int, reason: str, kind: str, hour: float | None = None) -> TestRecord:
        """Make a bench test and write it down."""
        rng, km = self.rng, self.book.read_odometer(self.bike, day)
        if km >= self.lead_km and self.lead is None:
            self.lead = self.lead_kind
        spell = self.sensor.spell
        channel, rate_hz = choose_channel(rng, PARTS[self.sensor.part_no].wears)
        found = lead_seen(rng, self.lead, reason)
        shop = SHOPS[self._shop_id()]
        record = TestRecord(
            number=len(self.book.tests),
            sensor=self.sensor,
            spell=spell,
            shop_id=shop.shop_id,
            day=day,
            hour=float(rng.uniform(8.0, 14.0)) if hour is None else hour,
            odometer_km=km,
            reason=reason,
            symptom=symptom_words(rng, kind) if reason == "symptom" else None,
            technician=f"{shop.shop_id}-{1 + int(rng.integers(shop.technicians))}",
            channel=channel,
            rate_hz=rate_hz,
            verdict=judge(rng, spell, km, channel, found),
            lead=self.lead,
            lead_found=found,
            road_failure=kind == "road",
        )
        self.book.tests.append(record)
        return record

    def _shop_id(self) -> str:
        if self.rng.random() >= ELSEWHERE_CHANCE:
            return self.bike.group.shop_id
        return str(self.rng.choice(list(SHOPS)))


def live(rng: np.random.Generator, book: Book, bike: Bike) -> None:
    """Play one bike's history into the book."""
    routine = routine_days(rng, bike)
    book.read_odometer(bike, bike.first_day)
    for mount in MODELS[bike.model_code].mounts:
        position = Position(rng, book, bike, mount)
        _play(position, [day for day, tested in routine if tested])
        _leave(position)
    for day, tested in routine:  # services without a bench test still read the clock
        if not tested and rng.random() < UNTESTED_READ:
            book.read_odometer(bike, day)
    if bike.gone == "retired":
        book.read_odometer(bike, bike.last_day)


def routine_days(rng: np.random.Generator, bike: Bike) -> list[tuple[int, bool]]:
    """Days of the routine visits after the first, and whether each includes a bench test."""
    days = _services(rng, bike)
    if not bike.group.autumn_check:
        return days
    checks = _autumn_checks(rng, bike)
    apart = [(day, t) for day, t in days if all(abs(day - c) > AUTUMN_APART_DAYS for c in checks)]
    return sorted([*apart, *((day, True) for day in checks)])


def _autumn_checks(rng: np.random.Generator, bike: Bike) -> list[int]:
    years = range(FIRST_DAY.year, AS_OF.year + 1)
    starts = [day_of(dt.date(year, *AUTUMN_FROM)) for year in years]
    days = [start + int(rng.integers(AUTUMN_DAYS)) for start in starts]
    return [day for day in days if bike.first_day + AUTUMN_APART_DAYS < day <= bike.last_day]


def _services(rng: np.random.Generator, bike: Bike) -> list[tuple[int, bool]]:
    days: list[tuple[int, bool]] = []
    group, day = bike.group, bike.first_day
    while True:
        day += max(20, round(group.service_days * rng.gamma(12.0, 1.0 / 12.0)))
        if day > bike.last_day:
            return days
        days.append((day, bool(rng.random() < group.test_chance)))


def _play(position: Position, routine: list[int]) -> None:
    day = position.bike.first_day
    if position.rng.random() < FIRST_VISIT_TEST:
        test = position.test(day, "first_visit", "routine")
        day = after_test(position, test, "routine")
    while True:
        next_day, kind = position.next_event(day, routine)
        if next_day == NEVER:
            return
        reason = kind if kind in ("routine", "called_in") else "symptom"
        if kind == "called_in":
            position.called_day = NEVER
        if kind == "other":
            position.other_km = position._km(next_day) + position.rng.exponential(OTHER_KM)
        day = max(next_day, after_test(position, position.test(next_day, reason, kind), kind))


def _leave(position: Position) -> None:
    """A retired bike takes its sensor along; a lost one leaves the record open."""
    bike, sensor = position.bike, position.sensor
    if bike.gone == "retired" and sensor.first_seen_day <= bike.last_day:
        sensor.removed_day, sensor.removed_km = bike.last_day, bike.km_on(bike.last_day)
        sensor.removed_reason = "bike_gone"
