"""Slips of the pen, planted on purpose so that the demo shows what intake does with them.

Each is listed in the truth with its table, key, column, the value as written, the right value,
what it is, and what is expected: ``set_aside`` (the row is broken), ``waits`` (its parent is not
there, whatever depends on it waits too), ``cell_blank`` (an optional cell is left out),
``accepted`` (nothing a file check can see: the static checks ask about it) or
``retracted`` (withdrawn by the shop itself).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

COLUMNS = ["table", "key", "column", "value", "right_value", "slip", "expected"]


@dataclass
class _Desk:
    """The tables while someone copies them out, and the slips made so far."""

    rng: np.random.Generator
    frames: dict[str, pd.DataFrame]
    slips: list[tuple] = field(default_factory=list)
    used: set[str] = field(default_factory=set)

    def pick(self, rows: pd.DataFrame, key: str) -> int | None:
        """Index of one row not yet touched, or None where no row is left."""
        free = rows[~rows[key].isin(self.used)]
        if free.empty:
            return None
        at = free.index[int(self.rng.integers(len(free)))]
        self.used.add(free.loc[at, key])
        return at

    def write(self, table: str, at: int, key: str, column: str, value: object, note: tuple) -> None:
        """Write a wrong value and list it."""
        frame = self.frames[table]
        right = frame.loc[at, column]
        if frame[column].dtype != object:
            frame[column] = frame[column].astype(object)
        frame.loc[at, column] = value
        self.slips.append((table, key, column, _text(value), _text(right), *note))


def plant(
    rng: np.random.Generator, frames: dict[str, pd.DataFrame]
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Copies of the tables with slips in them (and a ``retract`` table), and the list of slips.

    A slip for which a small scenario offers no fitting row is left out.
    """
    touched = ("units", "odometer", "sensors", "test_sessions", "repair_outcomes", "stock")
    desk = _Desk(rng, frames | {name: frames[name].copy() for name in touched})
    for slip in (
        _lost_sensor, _odometer_slip, _before_fitting, _day_first, _unknown_sensor, _swapped_volts,
        _swapped_volts, _kilohms, _lost_point, _odd_verdict, _odd_duty, _odd_action, _two_readings,
        _blank_count, _entered_twice,
    ):  # fmt: skip
        slip(desk)
    return desk.frames, pd.DataFrame(desk.slips, columns=COLUMNS)


def _quiet_tests(desk: _Desk) -> pd.DataFrame:
    """Tests that passed, that no repair refers to, of sensors not touched."""
    tests, repairs = desk.frames["test_sessions"], desk.frames["repair_outcomes"]
    quiet = (tests["verdict"] == "pass") & (tests["reason"] == "routine")
    quiet &= ~tests["session_id"].isin(repairs["session_id"]) & ~tests["sensor_id"].isin(desk.used)
    return tests[quiet]


def _lost_sensor(desk: _Desk) -> None:
    """A sensor in service is written down under a bike that is not in the list."""
    sensors, tests = desk.frames["sensors"], desk.frames["test_sessions"]
    counts = tests["sensor_id"].value_counts()
    few = sensors["sensor_id"].map(counts).fillna(0).between(1, 3) & sensors["removed_on"].isna()
    few &= ~sensors["sensor_id"].isin(desk.frames["repair_outcomes"]["sensor_id"])
    at = desk.pick(sensors[few], "sensor_id")
    if at is not None:
        wrong = sensors.loc[at, "unit_id"].replace("U-", "UU-")
        note = ("bike number mistyped; the sensor's tests and sweeps wait with it", "waits")
        desk.write("sensors", at, sensors.loc[at, "sensor_id"], "unit_id", wrong, note)


def _odometer_slip(desk: _Desk) -> None:
    tests = desk.frames["test_sessions"]
    quiet = _quiet_tests(desk)
    earlier = tests.groupby("sensor_id")["odometer_km"].transform("min")
    rows = quiet[
        (quiet["odometer_km"] > 15_000) & (earlier[quiet.index] > quiet["odometer_km"] / 9)
    ]
    at = desk.pick(rows[rows["odometer_km"] > earlier[rows.index]], "session_id")
    if at is not None:
        note = ("last digit left out, so the odometer seems to run backwards", "set_aside")
        wrong = int(tests.loc[at, "odometer_km"]) // 10
        desk.write("test_sessions", at, tests.loc[at, "session_id"], "odometer_km", wrong, note)


def _before_fitting(desk: _Desk) -> None:
    tests, sensors = desk.frames["test_sessions"], desk.frames["sensors"]
    here = sensors[sensors["origin"] == "fitted_here"].set_index("sensor_id")["fitted_on"]
    rows = _quiet_tests(desk)
    rows = rows[rows["sensor_id"].isin(here.index)]
    written = rows["tested_at"].map(lambda text: _years_earlier(text, 3)).dropna()
    rows = rows.loc[written.index]
    early = [
        dt.date.fromisoformat(text[:10]) < here[sensor]
        for text, sensor in zip(written, rows["sensor_id"], strict=True)
    ]
    at = desk.pick(rows[np.array(early, dtype=bool)], "session_id")
    if at is not None:
        note = ("year mistyped: a test before the sensor was fitted", "set_aside")
        wrong = written[at]
        desk.write("test_sessions", at, tests.loc[at, "session_id"], "tested_at", wrong, note)


def _years_earlier(text: str, years: int) -> str | None:
    wrong = f"{int(text[:4]) - years}{text[4:]}"
    return None if wrong[5:10] == "02-29" else wrong


def _day_first(desk: _Desk) -> None:
    tests = desk.frames["test_sessions"]
    at = desk.pick(_quiet_tests(desk), "session_id")
    if at is not None:
        right = dt.datetime.fromisoformat(tests.loc[at, "tested_at"])
        note = ("date written day first, without an offset", "set_aside")
        wrong = right.strftime("%d.%m.%Y %H:%M")
        desk.write("test_sessions", at, tests.loc[at, "session_id"], "tested_at", wrong, note)


def _unknown_sensor(desk: _Desk) -> None:
    tests = desk.frames["test_sessions"]
    at = desk.pick(_quiet_tests(desk), "session_id")
    if at is not None:
        wrong = tests.loc[at, "sensor_id"] + "7"
        note = ("one digit too many: no such sensor; the sweep waits with the test", "waits")
        desk.write("test_sessions", at, tests.loc[at, "session_id"], "sensor_id", wrong, note)


def _swapped_volts(desk: _Desk) -> None:
    tests, rows = desk.frames["test_sessions"], _quiet_tests(desk)
    at = desk.pick(rows[rows["closed_v"].notna() & rows["open_v"].notna()], "session_id")
    if at is not None:
        key, volts = tests.loc[at, "session_id"], tests.loc[at, ["closed_v", "open_v"]].tolist()
        note = ("closed and open voltage swapped", "accepted")
        desk.write("test_sessions", at, key, "closed_v", volts[1], note)
        desk.write("test_sessions", at, key, "open_v", volts[0], note)


def _kilohms(desk: _Desk) -> None:
    tests, rows = desk.frames["test_sessions"], _quiet_tests(desk)
    at = desk.pick(rows[rows["track_ohm"].notna()], "session_id")
    if at is not None:
        wrong = round(float(tests.loc[at, "track_ohm"]) / 1000.0, 2)
        note = ("kilohms written where ohms belong", "accepted")
        desk.write("test_sessions", at, tests.loc[at, "session_id"], "track_ohm", wrong, note)


def _lost_point(desk: _Desk) -> None:
    tests, rows = desk.frames["test_sessions"], _quiet_tests(desk)
    at = desk.pick(rows[rows["open_pct"].notna()], "session_id")
    if at is not None:
        wrong = round(float(tests.loc[at, "open_pct"]) * 10.0)
        note = ("decimal point left out", "cell_blank")
        desk.write("test_sessions", at, tests.loc[at, "session_id"], "open_pct", wrong, note)


def _odd_verdict(desk: _Desk) -> None:
    tests = desk.frames["test_sessions"]
    at = desk.pick(_quiet_tests(desk), "session_id")
    if at is not None:
        note = ("a word of the technician's own", "cell_blank")
        desk.write("test_sessions", at, tests.loc[at, "session_id"], "verdict", "good", note)


def _odd_duty(desk: _Desk) -> None:
    units = desk.frames["units"]
    at = desk.pick(units[units["duty"] == "training"], "unit_id")
    if at is not None:
        note = ("a word of the shop's own", "cell_blank")
        desk.write("units", at, units.loc[at, "unit_id"], "duty", "driving school", note)


def _odd_action(desk: _Desk) -> None:
    repairs = desk.frames["repair_outcomes"]
    plain = repairs["action"].isin(["other_repair", "no_fault_found"])
    plain &= ~repairs["outcome_id"].isin(repairs["comeback_of"].dropna())
    at = desk.pick(repairs[plain], "outcome_id")
    if at is not None:
        note = ("not one of the contract's words", "set_aside")
        key = repairs.loc[at, "outcome_id"]
        desk.write("repair_outcomes", at, key, "action", "adjusted idle", note)


def _two_readings(desk: _Desk) -> None:
    """A bike's odometer handed in twice for one day, with two of its digits changed over."""
    odometer = desk.frames["odometer"]
    digits = odometer["odometer_km"].astype(str)
    rows = odometer[(digits.str.len() >= 5) & (digits.str[-2] != digits.str[-1])]
    at = desk.pick(rows, "unit_id")
    if at is None:
        return
    row = odometer.loc[[at]].copy()
    text = digits[at]
    row["odometer_km"] = int(text[:-2] + text[-1] + text[-2])
    desk.frames["odometer"] = pd.concat(
        [odometer.loc[:at], row, odometer.loc[at + 1 :]], ignore_index=True
    )
    key = f"{row.loc[at, 'unit_id']}/{row.loc[at, 'read_on']}"
    note = ("two readings for one day; neither stands until one is chosen", "set_aside")
    wrong = str(row.loc[at, "odometer_km"])
    desk.slips += [
        ("odometer", key, "odometer_km", text, text, *note),
        ("odometer", key, "odometer_km", wrong, text, *note),
    ]


def _blank_count(desk: _Desk) -> None:
    stock = desk.frames["stock"]
    at = desk.pick(stock[stock["counted_on"] < stock["counted_on"].max()], "part_no")
    if at is not None:
        row = stock.loc[at]
        key = f"{row['shop_id']}/{row['part_no']}/{row['counted_on']}"
        desk.write("stock", at, key, "on_hand", None, ("count left out", "set_aside"))


def _entered_twice(desk: _Desk) -> None:
    """One repair entered under two numbers; the shop noticed, and withdraws the second."""
    repairs = desk.frames["repair_outcomes"]
    rows = repairs[repairs["action"].isin(["connector_repaired", "wiring_repaired"])]
    at = desk.pick(rows, "outcome_id")
    if at is None:
        return
    key = repairs.loc[at, "outcome_id"]
    twice = repairs.loc[[at]].assign(outcome_id=key + "b")
    desk.frames["repair_outcomes"] = pd.concat([repairs, twice], ignore_index=True)
    reason = f"entered twice, see {key}"
    columns = ["table", "key", "reason"]
    desk.frames["retract"] = pd.DataFrame([("repair_outcomes", key + "b", reason)], columns=columns)
    note = ("one repair entered under two numbers, the second withdrawn", "retracted")
    desk.slips.append(("repair_outcomes", key + "b", "outcome_id", key + "b", key, *note))


def _text(value: object) -> str:
    return "" if value is None or value is pd.NA else str(value)
