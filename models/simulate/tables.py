"""From the book to the contract's tables, and to the truth beside them."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from models.simulate.book import Book, OutcomeRecord, SensorRecord, TestRecord
from models.simulate.readings import load_ohm
from models.simulate.riding import Bike, date_of
from models.simulate.wear import Spell, rough_ohm
from models.simulate.world import AS_OF, LAST_DAY, MODELS, PARTS, SHOPS, SHORTAGE, UTC_OFFSET_H

READING_COLUMNS = [
    "supply_v", "supply_to_ground_v", "track_ohm", "closed_ohm", "open_ohm", "closed_v", "open_v",
    "closed_pct", "open_pct", "corrosion", "wiggle_test", "fault_codes", "unplugged_key_on",
]  # fmt: skip
OUTCOME_COLUMNS = [
    "outcome_id", "sensor_id", "session_id", "closed_on", "odometer_km", "action",
    "fault_confirmed", "confirmed_by", "on_road", "failed_on", "failed_km", "parts_cost",
    "labour_hours", "days_off_road", "comeback_of", "relearn_done",
]  # fmt: skip
TRUE_SESSION_COLUMNS = [
    "session_id", "sensor_id", "shop_id", "spell_no", "defective", "km_since_onset", "rough_ohm",
    "lead_fault", "road_failure", "rate_hz",
]  # fmt: skip


def sensor_id(record: SensorRecord) -> str:
    """Key of a sensor, in order of fitting into the book."""
    return f"S-{record.number + 1:05d}"


def in_time(tests: list[TestRecord]) -> list[TestRecord]:
    """Tests in order of their time, which is the order of their keys."""
    return sorted(tests, key=lambda test: (test.day, test.hour, test.number))


def session_ids(tests: list[TestRecord]) -> dict[int, str]:
    """Key of each test by its number in the book."""
    return {test.number: f"B-{k + 1:05d}" for k, test in enumerate(in_time(tests))}


def shops() -> pd.DataFrame:
    """Contract table ``shops``."""
    rows = [(shop.shop_id, shop.name, shop.bay_hours_per_day) for shop in SHOPS.values()]
    return pd.DataFrame(rows, columns=["shop_id", "name", "bay_hours_per_day"])


def parts() -> pd.DataFrame:
    """Contract table ``parts``."""
    rows = []
    for part in PARTS.values():
        closed, opened = part.maker_closed_v or (None, None), part.maker_open_v or (None, None)
        rows.append(
            {
                "part_no": part.part_no,
                "description": part.description,
                "kind": part.kind,
                "tracks": part.tracks,
                "supply_nominal_v": 5.0,
                "output": part.output,
                "maker_closed_v_low": closed[0],
                "maker_closed_v_high": closed[1],
                "maker_open_v_low": opened[0],
                "maker_open_v_high": opened[1],
                "unit_price": part.unit_price,
                "pack_size": part.pack_size,
                "lead_time_days": part.lead_time_days,
                "replaced_by": part.replaced_by,
                "supply_ends_on": part.supply_ends_on,
            }
        )
    return pd.DataFrame(rows)


def fitments() -> pd.DataFrame:
    """Contract table ``fitments``: each model's part and whatever replaces it."""
    rows = []
    for model in MODELS.values():
        names = [model.part_no, PARTS[model.part_no].replaced_by]
        rows += [(name, model.code, mount) for name in names if name for mount in model.mounts]
    return pd.DataFrame(rows, columns=["part_no", "model_code", "mount"])


def units(bikes: list[Bike]) -> pd.DataFrame:
    """Contract table ``units``."""
    rows = [
        {
            "unit_id": bike.unit_id,
            "shop_id": bike.group.shop_id,
            "fleet_id": bike.group.fleet_id,
            "label": f"{bike.group.fleet_id.split('-')[0]} {bike.number + 1}"
            if bike.group.fleet_id
            else None,
            "model_code": bike.model_code,
            "model_year": date_of(bike.in_service_day).year,
            "duty": bike.duty,
            "in_service_on": date_of(bike.in_service_day) if bike.past_known else None,
            "out_of_service_on": date_of(bike.last_day) if bike.gone == "retired" else None,
        }
        for bike in bikes
    ]
    return pd.DataFrame(rows)


def odometer(book: Book, bikes: list[Bike]) -> pd.DataFrame:
    """Contract table ``odometer``."""
    rows = [
        (bikes[number].unit_id, date_of(day), km)
        for (number, day), km in sorted(book.readings.items())
    ]
    return pd.DataFrame(rows, columns=["unit_id", "read_on", "odometer_km"])


def sensors(book: Book) -> pd.DataFrame:
    """Contract table ``sensors``."""
    rows = [
        {
            "sensor_id": sensor_id(record),
            "unit_id": record.bike.unit_id,
            "mount": record.mount,
            "part_no": record.part_no,
            "origin": record.origin,
            "fitted_on": _date(record.fitted_day),
            "fitted_km": record.fitted_km,
            "first_seen_on": date_of(record.first_seen_day),
            "first_seen_km": record.first_seen_km,
            "removed_on": _date(record.removed_day),
            "removed_km": record.removed_km,
            "removed_reason": record.removed_reason,
        }
        for record in book.sensors
    ]
    return _whole(pd.DataFrame(rows), "fitted_km", "first_seen_km", "removed_km")


def test_sessions(tests: list[TestRecord], readings: pd.DataFrame) -> pd.DataFrame:
    """Contract table ``test_sessions``; tests and readings in the same order."""
    ids = session_ids(tests)
    frame = pd.DataFrame(
        {
            "session_id": [ids[test.number] for test in tests],
            "sensor_id": [sensor_id(test.sensor) for test in tests],
            "shop_id": [test.shop_id for test in tests],
            "tested_at": [_moment(test) for test in tests],
            "odometer_km": [test.odometer_km for test in tests],
            "reason": [test.reason for test in tests],
            "symptom": [test.symptom for test in tests],
            "technician": [test.technician for test in tests],
        }
    )
    frame[READING_COLUMNS] = readings[READING_COLUMNS]
    frame["sweep_channel"] = [test.channel if test.rate_hz else None for test in tests]
    frame["meter_load_ohm"] = [round(load_ohm(test)) if test.rate_hz else None for test in tests]
    frame["temp_c"] = readings["temp_c"]
    frame["verdict"] = [test.verdict for test in tests]
    frame["note"] = readings["note"]
    whole = ("track_ohm", "closed_ohm", "open_ohm", "temp_c", "meter_load_ohm")
    return _whole(frame, *whole)


def repair_outcomes(book: Book) -> pd.DataFrame:
    """Contract table ``repair_outcomes``, in order of closing."""
    ids = session_ids(book.tests)
    closed = sorted(book.outcomes, key=lambda outcome: (outcome.day, outcome.number))
    keys = {outcome.number: f"R-{k + 1:05d}" for k, outcome in enumerate(closed)}
    rows = [_outcome_row(outcome, keys, ids) for outcome in closed]
    frame = pd.DataFrame(rows, columns=OUTCOME_COLUMNS)
    return _whole(frame, "failed_km", "days_off_road")


def _outcome_row(outcome: OutcomeRecord, keys: dict[int, str], ids: dict[int, str]) -> dict:
    return {
        "outcome_id": keys[outcome.number],
        "sensor_id": sensor_id(outcome.sensor),
        "session_id": ids[outcome.test.number] if outcome.test else None,
        "closed_on": date_of(outcome.day),
        "odometer_km": outcome.odometer_km,
        "action": outcome.action,
        "fault_confirmed": outcome.fault_confirmed,
        "confirmed_by": outcome.confirmed_by,
        "on_road": outcome.on_road,
        "failed_on": _date(outcome.failed_day),
        "failed_km": outcome.failed_km,
        "parts_cost": outcome.parts_cost,
        "labour_hours": outcome.labour_hours,
        "days_off_road": outcome.days_off_road,
        "comeback_of": keys[outcome.comeback_of.number] if outcome.comeback_of else None,
        "relearn_done": outcome.relearn_done,
    }


def stock(rng: np.random.Generator) -> pd.DataFrame:
    """Contract table ``stock``: three counts a shop and part, the last two days before AS_OF."""
    rows = []
    for shop_id in SHOPS:
        for part in PARTS.values():
            for days_ago in (185, 93, 2):
                day = AS_OF - dt.timedelta(days=days_ago)
                ended = part.supply_ends_on is not None and part.supply_ends_on < day
                on_hand = 0 if ended else int(rng.poisson(2.2 if part.unit_price < 150 else 0.8))
                order = (
                    0 if ended or rng.random() < 0.6 else part.pack_size * int(rng.integers(1, 4))
                )
                wait = int(rng.integers(1, part.lead_time_days + 1))
                if SHORTAGE.holds_up(part.part_no, shop_id, day):
                    on_hand, order = 0, max(order, 3)
                    wait = (SHORTAGE.delivery_day - day).days
                due = day + dt.timedelta(days=wait) if order else None
                rows.append((shop_id, part.part_no, day, on_hand, order, due))
    columns = ["shop_id", "part_no", "counted_on", "on_hand", "on_order", "order_due_on"]
    return pd.DataFrame(rows, columns=columns).astype({"on_hand": object})


def calendar(rng: np.random.Generator, bikes: list[Bike]) -> pd.DataFrame:
    """Contract table ``calendar``: windows of the next weeks for fleet bikes in service."""
    rows = []
    for bike in bikes:
        if bike.group.fleet_id is None or bike.gone is not None:
            continue
        day = LAST_DAY + int(rng.integers(1, 12))
        for _ in range(int(rng.integers(1, 4))):
            end = day + int(rng.integers(0, 4))
            rows.append((bike.unit_id, date_of(day), date_of(end)))
            day = end + int(rng.integers(5, 20))
    return pd.DataFrame(rows, columns=["unit_id", "free_from", "free_to"])


def true_spells(book: Book) -> pd.DataFrame:
    """Truth, one row a life of a sensor between fitting, cleaning and removal, in odometer km."""
    rows = [_spell_row(record, spell) for record in book.sensors for spell in record.spells]
    return pd.DataFrame(rows)


def _spell_row(record: SensorRecord, spell: Spell) -> dict:
    bike = record.bike
    end_km = spell.ended_km
    if end_km is None:
        end_km = float(bike.odometer_km[bike.last_day])
    return {
        "sensor_id": sensor_id(record),
        "spell_no": spell.spell_no,
        "unit_id": bike.unit_id,
        "start_km": round(spell.start_km, 1),
        "entry_km": round(max(spell.start_km, record.first_seen_km), 1),
        "defect_onset_km": round(spell.defect_km, 1) if np.isfinite(spell.defect_km) else None,
        "road_failure_km": round(spell.failure_km, 1) if np.isfinite(spell.failure_km) else None,
        "end_km": round(end_km, 1),
        "ended_by": spell.ended_by or bike.gone or "as_of",
        "defective_at_end": spell.defective(end_km),
        "early_weak": spell.early,
        "worn_centre_pct": round(spell.band_pct, 2),
        "worn_width_pct": round(spell.width_pct, 2),
    }


def true_sessions(tests: list[TestRecord]) -> pd.DataFrame:
    """Truth, one row a bench test: the state of sensor and lead on the day."""
    ids = session_ids(tests)
    rows = [
        {
            "session_id": ids[test.number],
            "sensor_id": sensor_id(test.sensor),
            "shop_id": test.shop_id,
            "spell_no": test.spell.spell_no,
            "defective": test.defective,
            "km_since_onset": round(1000.0 * test.spell.severity(test.odometer_km)),
            "rough_ohm": round(rough_ohm(test.spell, test.odometer_km), 1),
            "lead_fault": test.lead,
            "road_failure": test.road_failure,
            "rate_hz": test.rate_hz,
        }
        for test in tests
    ]
    return pd.DataFrame(rows, columns=TRUE_SESSION_COLUMNS)


def true_bikes(bikes: list[Bike]) -> pd.DataFrame:
    """Truth, one row a bike: frailty, mean km a day, and how it left view."""
    rows = [
        {
            "unit_id": bike.unit_id,
            "duty": bike.duty,
            "frailty": round(bike.frailty, 4),
            "km_per_day": round(bike.km_per_day, 2),
            "first_seen_on": date_of(bike.first_day),
            "last_in_view_on": date_of(bike.last_day),
            "gone": bike.gone,
            "final_km": round(float(bike.odometer_km[bike.last_day]), 1),
        }
        for bike in bikes
    ]
    return pd.DataFrame(rows)


def _date(day: int | None) -> dt.date | None:
    return None if day is None else date_of(day)


def _moment(test: TestRecord) -> str:
    """ISO 8601 with offset."""
    minutes = round(test.hour * 60.0)
    hour, minute = divmod(minutes, 60)
    return f"{date_of(test.day)}T{hour:02d}:{minute:02d}:00+{UTC_OFFSET_H:02d}:00"


def _whole(frame: pd.DataFrame, *names: str) -> pd.DataFrame:
    return frame.astype({name: "Int64" for name in names})
