"""A job closed on screen: what was done, and where a sensor was changed, both lives in one save."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from secrets import token_hex

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.typed.entries import Trouble, refuse, save_entry
from pipeline.intake.typed.registering import Cells, NewSensor, new_sensor_id

REPLACED = "sensor_replaced"
#: Columns of ``repair_outcomes`` that the form fills, its keys apart.
TYPED = (
    "session_id",
    "closed_on",
    "odometer_km",
    "action",
    "fault_confirmed",
    "confirmed_by",
    "on_road",
    "failed_on",
    "failed_km",
    "parts_cost",
    "labour_hours",
    "days_off_road",
    "comeback_of",
    "relearn_done",
)


@dataclass(frozen=True)
class Fitted:
    """The part fitted in a sensor's place: its number, and what was not known of it before.

    ``part`` is a row of ``parts`` where the number is new, ``fits_model`` the model it is to be put
    on record as fitting, ``sensor_id`` the new sensor's own number where it has one.
    """

    part_no: str
    part: Cells
    fits_model: str = ""
    sensor_id: str = ""


def close_job(
    home: Home,
    old: Mapping[str, str],
    job: Mapping[str, object],
    fitted: Fitted | None = None,
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save a closed job; a sensor changed ends the old life and begins the new one with it.

    Parameters
    ----------
    home : Home
        Where to.
    old : mapping
        The sensor's row of ``sensors`` as it stands.
    job : mapping
        Cells of ``repair_outcomes``, of :data:`TYPED`, and ``removed_reason`` of a sensor
        replaced; blanks may be left out.
    fitted : Fitted, optional
        The part fitted; needed where the sensor was replaced.
    now : datetime, optional
        When it is saved; the present moment.
    asker : Asker, optional
        Who saves it; whoever is at this machine.

    Raises
    ------
    EntryError
        A cell is not what the contract expects, a date or distance lies before the sensor was
        fitted, or the part fitted is missing. Nothing was saved then.
    """
    refuse(_contradictions(old, job, fitted))
    sensor_id = old["sensor_id"]
    outcome = {name: job.get(name) for name in TYPED}
    outcome |= {"outcome_id": f"{sensor_id[:48]}-{token_hex(5)}", "sensor_id": sensor_id}
    rows: dict[str, list[Cells]] = {"repair_outcomes": [outcome]}
    if fitted is not None and job.get("action") == REPLACED:
        new = _begun(old, job, fitted)
        rows["sensors"] = [_ended(old, job), new.row]
        if new.part:
            rows["parts"] = [new.part]
        if new.fits_model:
            fits = {"part_no": fitted.part_no, "mount": old["mount"]}
            rows["fitments"] = [fits | {"model_code": new.fits_model}]
    return save_entry(home, rows, now=now, asker=asker)


def _ended(old: Mapping[str, str], job: Mapping[str, object]) -> Cells:
    """The old life's row with its end; all that it held before stays."""
    reason = job.get("removed_reason") or (
        "faulty" if job.get("fault_confirmed") == "yes" else "other"
    )
    ends = {"removed_on": job.get("closed_on"), "removed_km": job.get("odometer_km")}
    return {**old, **ends, "removed_reason": reason}


def _begun(old: Mapping[str, str], job: Mapping[str, object], fitted: Fitted) -> NewSensor:
    closed_on = date.fromisoformat(str(job["closed_on"]))
    made_up = new_sensor_id(old["unit_id"], old["mount"], closed_on, {old["sensor_id"]})
    row = {
        "sensor_id": fitted.sensor_id or made_up,
        "unit_id": old["unit_id"],
        "mount": old["mount"],
        "part_no": fitted.part_no,
        "origin": "fitted_here",
        "fitted_on": job.get("closed_on"),
        "fitted_km": job.get("odometer_km"),
    }
    return NewSensor(row, fitted.part, fitted.fits_model)


def _contradictions(
    old: Mapping[str, str], job: Mapping[str, object], fitted: Fitted | None
) -> list[Trouble]:
    """What no reader of a single row can see."""
    found = []
    for column, floor in (("closed_on", "fitted_on"), ("odometer_km", "fitted_km")):
        typed, least = job.get(column), old.get(floor)
        if typed and least and _before(str(typed), least):
            reason = f"lies before the sensor was fitted ({least}); expected that or later"
            found.append(Trouble("repair_outcomes", 1, column, str(typed), reason))
    if job.get("action") == REPLACED:
        if fitted is None or not fitted.part_no:
            found.append(Trouble("sensors", 1, "part_no", "", "the part fitted is missing"))
        if not job.get("closed_on"):
            found.append(Trouble("repair_outcomes", 1, "closed_on", "", "the day is missing"))
    if fitted is not None and fitted.sensor_id == old["sensor_id"]:
        reason = "is the number of the sensor taken off; expected another one"
        found.append(Trouble("sensors", 1, "sensor_id", fitted.sensor_id, reason))
    return found


def _before(typed: str, least: str) -> bool:
    try:
        return float(typed) < float(least)
    except ValueError:
        return typed < least  # ISO dates sort as text
