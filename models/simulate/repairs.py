"""What a shop does after a test: repair, call the bike in again, or let it go; and the bill."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from models.simulate.book import OutcomeRecord, TestRecord
from models.simulate.riding import date_of
from models.simulate.wear import draw_spell
from models.simulate.world import LAST_DAY, NOTICE_KM, OTHER_KM, PARTS, SHORTAGE

if TYPE_CHECKING:
    from models.simulate.visits import Position

# All chances are assumed.
CLEANED = 0.10  # of failed sensors, cleaned instead of replaced
CONFIRMED_BLANK = 0.13  # nobody wrote down whether the sensor proved faulty
FALSE_CONFIRMED_NO = 0.7  # of sound sensors replaced, found sound afterwards
CONFIRMED_BY = (("swap_cured", 0.55), ("bench_retest", 0.25), ("opened", 0.20))
PREVENTIVE_ON_SUSPECT = 0.12
PREVENTIVE_KM, PREVENTIVE_CHANCE = 80_000.0, 0.06
RETEST_AFTER_REPAIR = 0.7
FAILED_KM_NOTED = 0.7  # road failures whose km was noted
OLD_PART_STOCK_DAYS = 120  # the superseded part is still fitted this long after its end
CALLED_IN_KM, CALLED_IN_DAYS = (800.0, 2200.0), (8, 70)  # until a doubtful sensor's next test
AGAIN_KM = 1200.0  # mean km until a road failure that was not cured happens again


def after_test(position: Position, test: TestRecord, kind: str) -> int:
    """Act on a test; returns the day from which the next event may come."""
    rng = position.rng
    if test.lead_found and test.verdict != "fail":
        return _repair_lead(position, test)
    if test.verdict == "fail":
        return _repair_sensor(position, test)
    if test.verdict == "suspect":
        return _on_suspect(position, test)
    if test.reason == "symptom":
        return _nothing_found(position, test, kind)
    used_km = test.odometer_km - test.spell.start_km
    if test.reason == "routine" and used_km > PREVENTIVE_KM and rng.random() < PREVENTIVE_CHANCE:
        return _replace(position, test, _close_day(position, test), "no", "preventive")
    return test.day


def _on_suspect(position: Position, test: TestRecord) -> int:
    rng = position.rng
    if rng.random() < PREVENTIVE_ON_SUSPECT:
        blank = None if rng.random() < 0.6 else ("yes" if test.defective else "no")
        return _replace(position, test, _close_day(position, test), blank, "preventive")
    if rng.random() < position.bike.group.called_in_chance:
        position.called_day = test.day + _called_in_after_days(position)
    if test.reason == "symptom":
        _ease_symptoms(position, test)
    return test.day


def _called_in_after_days(position: Position) -> int:
    """A doubtful sensor is looked at again after some riding, not after some days."""
    wait = position.rng.uniform(*CALLED_IN_KM) / position.bike.km_per_day
    return int(np.clip(wait, *CALLED_IN_DAYS))


def _repair_sensor(position: Position, test: TestRecord) -> int:
    rng = position.rng
    close = _close_day(position, test)
    if test.defective:
        confirmed = None if rng.random() < CONFIRMED_BLANK else "yes"
        if PARTS[test.sensor.part_no].wears and rng.random() < CLEANED:
            return _clean(position, test, close, confirmed)
        return _replace(position, test, close, confirmed, "faulty")
    confirmed = "no" if rng.random() < FALSE_CONFIRMED_NO else None
    return _replace(position, test, close, confirmed, "other" if confirmed else "faulty")


def _replace(
    position: Position, test: TestRecord, close: int, confirmed: str | None, why: str
) -> int:
    part = PARTS[current_part(test.sensor.part_no, close)]
    if SHORTAGE.holds_up(part.part_no, test.shop_id, date_of(close)):
        return _wait_for_part(position, test, why)
    if close > min(position.bike.last_day, LAST_DAY):  # still open when the history ends
        return position.bike.last_day
    _close(position, test, close, "sensor_replaced", confirmed, why, part.unit_price)
    sensor, km = position.sensor, position.bike.km_on(close)
    sensor.removed_day, sensor.removed_km, sensor.removed_reason = close, km, why
    sensor.spell.ended_km, sensor.spell.ended_by = km, "replaced"
    position.called_day = LAST_DAY + 10_000
    position.sensor = position.fit(part.part_no, "fitted_here", close, close, float(km))
    return _after_repair(position, close)


def _wait_for_part(position: Position, test: TestRecord, why: str) -> int:
    """The delivery comes after the history's end: a failed sensor's bike stands until then.

    The shop reads the odometers of what stands there on the last day. A sensor that still passes
    is not replaced by way of precaution while the part is short. Standing is for bikes with one
    sensor only: a second one's records would have gone ahead of it.
    """
    if why == "preventive":
        return test.day
    position.bike.stand_from(test.day)
    position.book.read_odometer(position.bike, position.bike.last_day)
    return position.bike.last_day


def _clean(position: Position, test: TestRecord, close: int, confirmed: str | None) -> int:
    if close > min(position.bike.last_day, LAST_DAY):
        return position.bike.last_day
    _close(position, test, close, "sensor_cleaned", confirmed, "faulty", None)
    sensor, km = position.sensor, float(position.bike.km_on(close))
    sensor.spell.ended_km, sensor.spell.ended_by = km, "cleaned"
    part, number = PARTS[sensor.part_no], len(sensor.spells)
    fresh = draw_spell(position.rng, position.bike, part, sensor.number, number, km)
    fresh.band_pct, fresh.width_pct = sensor.spell.band_pct, sensor.spell.width_pct
    sensor.spells.append(fresh)
    return _after_repair(position, close)


def _repair_lead(position: Position, test: TestRecord) -> int:
    close = _close_day(position, test)
    if close > min(position.bike.last_day, LAST_DAY):
        return position.bike.last_day
    action = "connector_repaired" if position.rng.random() < 0.6 else "wiring_repaired"
    _close(position, test, close, action, "no", "lead", 6.0)
    position.clear_of_lead(float(position.bike.km_on(close)))
    _ease_symptoms(position, test)
    return _after_repair(position, close)


def _nothing_found(position: Position, test: TestRecord, kind: str) -> int:
    close = _close_day(position, test)
    _ease_symptoms(position, test)
    if close > min(position.bike.last_day, LAST_DAY):
        return position.bike.last_day
    rng = position.rng
    elsewhere = kind == "other" and rng.random() < 0.6
    action = "other_repair" if elsewhere else "no_fault_found"
    _close(position, test, close, action, "no" if rng.random() < 0.6 else None, "none", None)
    return close


def _ease_symptoms(position: Position, test: TestRecord) -> None:
    """A complaint that was not cured comes back after some km."""
    rng, km, spell = position.rng, float(test.odometer_km), position.sensor.spell
    if spell.notice_km <= km:
        spell.notice_km = km + rng.exponential(NOTICE_KM)
    if spell.failure_km <= km:
        spell.failure_km = km + 50.0 + rng.exponential(AGAIN_KM)
    if position.lead_notice_km <= km:
        position.lead_notice_km = km + 50.0 + rng.exponential(AGAIN_KM)
    if position.other_km <= km:
        position.other_km = km + rng.exponential(OTHER_KM)


def _after_repair(position: Position, close: int) -> int:
    rng = position.rng
    if position.lead is not None and position.lead_notice_km <= position.bike.km_on(close):
        position.lead_notice_km = position.bike.km_on(close) + rng.exponential(AGAIN_KM)
    if rng.random() < RETEST_AFTER_REPAIR:
        test = position.test(close, "after_repair", "routine", hour=float(rng.uniform(15.0, 18.0)))
        if test.verdict == "suspect":
            position.called_day = close + _called_in_after_days(position)
    return close


def _close_day(position: Position, test: TestRecord) -> int:
    """Most jobs close the same day, some wait a few days for the part."""
    rng = position.rng
    return test.day if rng.random() < 0.55 else test.day + int(rng.integers(1, 6))


def _close(
    position: Position,
    test: TestRecord,
    close: int,
    action: str,
    confirmed: str | None,
    why: str,
    parts_cost: float | None,
) -> None:
    rng, book = position.rng, position.book
    by = _confirmed_by(rng, confirmed, action)
    on_road, failed_day, failed_km = _failure(position, test, why)
    recent = position.last_outcome
    comeback = recent if recent is not None and test.day - recent.day < 45 else None
    outcome = OutcomeRecord(
        number=len(book.outcomes),
        sensor=position.sensor,
        test=test,
        day=close,
        odometer_km=position.bike.km_on(close),
        action=action,
        fault_confirmed=confirmed,
        confirmed_by=by,
        on_road=on_road,
        failed_day=failed_day,
        failed_km=failed_km,
        parts_cost=parts_cost,
        labour_hours=round(float(rng.gamma(6.0, 0.2)), 1),
        days_off_road=close - test.day,
        comeback_of=comeback if test.reason == "symptom" else None,
        relearn_done=("yes" if rng.random() < 0.9 else None) if "sensor_" in action else None,
    )
    book.outcomes.append(outcome)
    position.last_outcome = outcome


def _failure(
    position: Position, test: TestRecord, why: str
) -> tuple[str | None, int | None, int | None]:
    """Whether it let the rider down, and when and at what km, as far as it was noted."""
    if not (test.road_failure and why == "faulty"):
        return ("no" if position.rng.random() < 0.85 else None), None, None
    spell = test.spell
    day = min(position.bike.day_at(spell.failure_km), test.day)
    noted = position.rng.random() < FAILED_KM_NOTED
    return "yes", day, (min(int(spell.failure_km), test.odometer_km) if noted else None)


def _confirmed_by(rng: np.random.Generator, confirmed: str | None, action: str) -> str | None:
    if confirmed is None:
        return "verdict_only" if rng.random() < 0.5 else None
    if action in ("connector_repaired", "wiring_repaired", "no_fault_found", "other_repair"):
        return None
    at = rng.random()
    for name, share in CONFIRMED_BY:
        at -= share
        if at < 0.0:
            # A sound sensor found so was tested again or opened; no swap cured anything.
            return "bench_retest" if confirmed == "no" and name == "swap_cured" else name
    return "opened"


def current_part(part_no: str, day: int) -> str:
    """The part number that is fitted on a day, once a superseded one has run out."""
    part = PARTS[part_no]
    if part.replaced_by is None or part.supply_ends_on is None:
        return part_no
    gone = part.supply_ends_on + dt.timedelta(days=OLD_PART_STOCK_DAYS)
    return part.replaced_by if date_of(day) > gone else part_no
