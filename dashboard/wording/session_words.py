"""One bench test in words, for its page and its job sheet: particulars and states of readings."""

from __future__ import annotations

from dashboard.words import MOUNTS, STATES, WORDED_STATES, km, known, moment, number, plain

_WORDED = ("connector_corrosion", "wiggle_test", "fault_codes")


def session_facts(test: dict) -> list[tuple[str, str]]:
    """Names and values of a test's particulars; ``test`` is one row of SESSION."""
    return [
        ("Bike", f"{test['label']}, {test['model_code']}"),
        ("Sensor", f"{test['sensor_id']}, {plain(test['mount'], MOUNTS)}"),
        ("Part", f"{test['part_no']}, {plain(test['kind'])}"),
        ("Tested", moment(test["tested_at"])),
        ("Odometer", km(test["odometer_km"])),
        ("Run by the sensor", km(test["sensor_age_km"])),
        ("Why tested", _why(test)),
        ("Tested by", f"{plain(test['technician'], {})}, shop {plain(test['shop_id'], {})}"),
        ("Temperature", number(test["temp_c"], "°C", 0)),
    ]


def _why(test: dict) -> str:
    why = plain(test["reason"], blank="not recorded")
    return f"{why}: {test['symptom']}" if known(test["symptom"]) else why


def reading_state(row: dict) -> str:
    """The state of a check; those answered in words have no range to lie in."""
    in_words = not known(row["value"]) and row["check"] in _WORDED
    return plain(row["state"], WORDED_STATES if in_words else STATES)
