"""The intake contract: what a shop hands over, declared table by table.

Everything that reads, checks or explains a handed-in file goes by this declaration. The limits
of numbers are ours: wide enough for any real reading, narrow enough to catch a slip of the pen.
"""

from __future__ import annotations

from dataclasses import dataclass

DUTIES = ("commute", "tour", "courier", "training", "hire", "offroad", "other")
MOUNTS = ("throttle", "throttle_left", "throttle_right", "grip_a", "grip_b")
REASONS = ("routine", "symptom", "called_in", "after_repair", "first_visit")
ACTIONS = (
    "sensor_replaced",
    "sensor_cleaned",
    "connector_repaired",
    "wiring_repaired",
    "other_repair",
    "no_fault_found",
)
YES_NO = ("yes", "no")
ADVISED = ("leave", "not_enough_known", "test", "replace")  # by rising urgency
ANSWERS = ("accept", "put_off", "overrule")
BECAUSE = "set_aside_because"  # our own column in to_correct/; passed over when handed in again


@dataclass(frozen=True)
class Field:
    """One column of a contract table.

    ``kind`` is ``id``, ``text``, ``word`` (one of ``words``), ``number``, ``whole``, ``date``,
    ``moment`` (a time with an offset) or ``codes`` (SAE J2012 codes). ``past`` marks what cannot
    lie after the day it was handed in. ``parent`` is the table whose key the value names.
    """

    name: str
    kind: str
    required: bool = False
    words: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    unit: str = ""
    parent: str = ""
    past: bool = False


@dataclass(frozen=True)
class Table:
    """One contract table: its fields, and those that make its key."""

    name: str
    key: tuple[str, ...]
    fields: tuple[Field, ...]
    bulk: bool = False

    @property
    def names(self) -> list[str]:
        """Column names in the contract's order."""
        return [field.name for field in self.fields]

    @property
    def required(self) -> list[str]:
        """Columns that may not be blank."""
        return [field.name for field in self.fields if field.required]


def _id(name: str, parent: str = "", required: bool = True) -> Field:
    return Field(name, "id", required, parent=parent)


def _text(name: str, required: bool = False) -> Field:
    return Field(name, "text", required)


def _word(name: str, words: tuple[str, ...], required: bool = False) -> Field:
    return Field(name, "word", required, words=words)


def _number(
    name: str, low: float | None, high: float | None, unit: str, required: bool = False
) -> Field:
    return Field(name, "number", required, low=low, high=high, unit=unit)


def _whole(name: str, low: float, high: float, required: bool = False, unit: str = "") -> Field:
    return Field(name, "whole", required, low=low, high=high, unit=unit)


def _date(name: str, required: bool = False, past: bool = False) -> Field:
    return Field(name, "date", required, past=past)


def _km(name: str, required: bool = False) -> Field:
    return _number(name, 0, 2_000_000, "km", required)


def _volt(name: str) -> Field:
    return _number(name, 0, 30, "V")


def _ohm(name: str) -> Field:
    return _number(name, 0, 100_000_000, "ohm")


def _pct(name: str) -> Field:
    return _number(name, -20, 120, "%")


TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table(
            "shops",
            ("shop_id",),
            (
                _id("shop_id"),
                _text("name", required=True),
                _number("bay_hours_per_day", 0, 1000, "h"),
            ),
        ),
        Table(
            "units",
            ("unit_id",),
            (
                _id("unit_id"),
                _id("shop_id", "shops"),
                _id("fleet_id", required=False),
                _text("label"),
                _text("model_code", required=True),
                _whole("model_year", 1950, 2100),
                _word("duty", DUTIES),
                _date("in_service_on", past=True),
                _date("out_of_service_on", past=True),
            ),
        ),
        Table(
            "odometer",
            ("unit_id", "read_on"),
            (
                _id("unit_id", "units"),
                _date("read_on", required=True, past=True),
                _km("odometer_km", required=True),
            ),
        ),
        Table(
            "parts",
            ("part_no",),
            (
                _id("part_no"),
                _text("description", required=True),
                _word("kind", ("potentiometer", "contactless")),
                _whole("tracks", 1, 2),
                _volt("supply_nominal_v"),
                _word("output", ("rising", "falling")),
                _volt("maker_closed_v_low"),
                _volt("maker_closed_v_high"),
                _volt("maker_open_v_low"),
                _volt("maker_open_v_high"),
                _number("unit_price", 0, 1_000_000, "the shop's currency"),
                _whole("pack_size", 1, 10_000),
                _whole("lead_time_days", 0, 3650, unit="days"),
                _id("replaced_by", "parts", required=False),
                _date("supply_ends_on"),
            ),
        ),
        Table(
            "fitments",
            ("part_no", "model_code", "mount"),
            (
                _id("part_no", "parts"),
                _text("model_code", required=True),
                _word("mount", MOUNTS, required=True),
            ),
        ),
        Table(
            "sensors",
            ("sensor_id",),
            (
                _id("sensor_id"),
                _id("unit_id", "units"),
                _word("mount", MOUNTS, required=True),
                _id("part_no", "parts"),
                _word("origin", ("fitted_here", "original", "unknown"), required=True),
                _date("fitted_on", past=True),
                _km("fitted_km"),
                _date("first_seen_on", past=True),
                _km("first_seen_km"),
                _date("removed_on", past=True),
                _km("removed_km"),
                _word("removed_reason", ("faulty", "preventive", "bike_gone", "other")),
            ),
        ),
        Table(
            "test_sessions",
            ("session_id",),
            (
                _id("session_id"),
                _id("sensor_id", "sensors"),
                _id("shop_id", "shops", required=False),
                Field("tested_at", "moment", True, past=True),
                _km("odometer_km", required=True),
                _word("reason", REASONS),
                _text("symptom"),
                _text("technician"),
                _volt("supply_v"),
                _volt("supply_to_ground_v"),
                _ohm("track_ohm"),
                _ohm("closed_ohm"),
                _ohm("open_ohm"),
                _volt("closed_v"),
                _volt("open_v"),
                _pct("closed_pct"),
                _pct("open_pct"),
                _word("corrosion", ("none", "light", "heavy")),
                _word("wiggle_test", ("steady", "jumps")),
                Field("fault_codes", "codes"),
                _word("unplugged_key_on", YES_NO),
                _word("sweep_channel", ("volt", "ohm", "percent")),
                _number("meter_load_ohm", 1, 1e12, "ohm"),
                _number("temp_c", -50, 100, "°C"),
                _word("verdict", ("pass", "suspect", "fail")),
                _text("note"),
            ),
        ),
        Table(
            "sweeps",
            ("session_id",),
            (
                _id("session_id", "test_sessions"),
                _number("t_s", None, None, "s", required=True),
                _number("signal", None, None, "V, ohm or %", required=True),
                _number("signal_b", None, None, "V, ohm or %"),
                _number("travel_pct", None, None, "%"),
            ),
            bulk=True,
        ),
        Table(
            "repair_outcomes",
            ("outcome_id",),
            (
                _id("outcome_id"),
                _id("sensor_id", "sensors"),
                _id("session_id", "test_sessions", required=False),
                _date("closed_on", required=True, past=True),
                _km("odometer_km", required=True),
                _word("action", ACTIONS, required=True),
                _word("fault_confirmed", YES_NO),
                _word("confirmed_by", ("swap_cured", "bench_retest", "opened", "verdict_only")),
                _word("on_road", YES_NO),
                _date("failed_on", past=True),
                _km("failed_km"),
                _number("parts_cost", 0, 1_000_000, "the shop's currency"),
                _number("labour_hours", 0, 1000, "h"),
                _number("days_off_road", 0, 3650, "days"),
                _id("comeback_of", "repair_outcomes", required=False),
                _word("relearn_done", YES_NO),
            ),
        ),
        Table(
            "stock",
            ("shop_id", "part_no", "counted_on"),
            (
                _id("shop_id", "shops"),
                _id("part_no", "parts"),
                _date("counted_on", required=True, past=True),
                _whole("on_hand", 0, 1_000_000, required=True),
                _whole("on_order", 0, 1_000_000),
                _date("order_due_on"),
            ),
        ),
        Table(
            "calendar",
            ("unit_id", "free_from", "free_to"),
            (
                _id("unit_id", "units"),
                _date("free_from", required=True),
                _date("free_to", required=True),
            ),
        ),
        Table(
            "ride_log",
            ("unit_id", "started_at", "t_s"),
            (
                _id("unit_id", "units"),
                Field("started_at", "moment", True, past=True),
                _number("t_s", 0, 1e7, "s", required=True),
                _number("travel_pct", -20, 120, "%", required=True),
            ),
        ),
        Table(
            "advice_answers",  # a table of ours: what a shop said to an advice
            ("sensor_id", "answered_at"),
            (
                _id("sensor_id", "sensors"),
                Field("answered_at", "moment", True, past=True),
                _word("answer", ANSWERS, required=True),
                _word("advised_action", ADVISED, required=True),
                _date("until"),
                _text("reason"),
                _text("answered_by"),
            ),
        ),
        Table(
            "retract",
            ("table", "key"),
            (
                _text("table", required=True),
                _text("key", required=True),
                _text("reason", required=True),
            ),
        ),
    )
}


def table_of(file_name: str) -> Table | None:
    """The table whose name begins a file's name, or None; the longest name wins."""
    fitting = [name for name in TABLES if file_name.lower().startswith(name)]
    return TABLES[max(fitting, key=len)] if fitting else None
