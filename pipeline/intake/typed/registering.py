"""Bikes, sensors and odometer readings from the screen, saved as rows of the contract.

A row replaces the earlier one of its key whole, so whatever changes a bike begins from its row as
it stands.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.typed.entries import Trouble, refuse, save_entry

Cells = Mapping[str, object]
_LONGEST = 64


@dataclass(frozen=True)
class NewSensor:
    """A sensor to be put on record: its row of ``sensors``, and what was not known before.

    ``part`` is a row of ``parts`` where its part number is new, ``fits_model`` the model that the
    part is to be put on record as fitting.
    """

    row: Cells
    part: Cells = field(default_factory=dict)
    fits_model: str = ""


def save_bike(
    home: Home,
    unit: Cells,
    *,
    shop: Cells | None = None,
    sensors: Iterable[NewSensor] = (),
    odometer: Cells | None = None,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save a bike, and beside it a new shop, its sensors and a reading; the hand-in's number.

    Raises
    ------
    EntryError
        A cell is not what the contract expects. Nothing was saved then.
    """
    rows: dict[str, list[Cells]] = {"units": [unit]}
    if shop:
        rows["shops"] = [shop]
    if odometer:
        rows["odometer"] = [odometer]
    return save_entry(home, _with_sensors(rows, sensors), now=now, asker=asker)


def save_sensors(
    home: Home,
    sensors: Iterable[NewSensor],
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save sensors of bikes on record; raises as :func:`save_bike`."""
    return save_entry(home, _with_sensors({}, sensors), now=now, asker=asker)


def save_odometer(
    home: Home,
    unit_id: str,
    read_on: date | None,
    odometer_km: float | None,
    *,
    now: datetime | None = None,
    asker: Asker | None = None,
) -> int:
    """Save one reading; raises as :func:`save_bike`."""
    row = {"unit_id": unit_id, "read_on": read_on, "odometer_km": odometer_km}
    return save_entry(home, {"odometer": [row]}, now=now, asker=asker)


def _with_sensors(
    rows: dict[str, list[Cells]], sensors: Iterable[NewSensor]
) -> dict[str, list[Cells]]:
    """Rows with those of sensors, their parts and what they fit; each part once."""
    for new in sensors:
        rows.setdefault("sensors", []).append(new.row)
        if new.part and new.part not in rows.get("parts", []):
            rows.setdefault("parts", []).append(new.part)
        if new.fits_model:
            fits = {name: new.row.get(name) for name in ("part_no", "mount")}
            rows.setdefault("fitments", []).append(fits | {"model_code": new.fits_model})
    return rows


def new_sensor_id(unit_id: str, mount: str, on: date, taken: Collection[str]) -> str:
    """An identifier for a sensor nobody has numbered: bike, mount and day, a number if need be."""
    tail = f"-{mount}-{on:%Y%m%d}"
    head = unit_id[: _LONGEST - len(tail) - 3]
    names = (f"{head}{tail}{'' if n == 1 else f'-{n}'}" for n in range(1, 100))
    return next(name for name in names if name not in taken)


def refuse_taken(table: str, column: str, value: str | None, taken: bool) -> None:
    """Refuse an identifier that another record has: saving it would replace that one.

    Raises
    ------
    EntryError
        It is taken.
    """
    if value and taken:
        reason = "is on record already; expected one that no other record has"
        refuse([Trouble(table, 1, column, value, reason)])
