"""A sensor to be put on record: where it sits, what it is, since when it is there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import streamlit as st

from dashboard.forms.fields import WIDTH, as_cell, ask
from dashboard.forms.part_fields import TypedPart, part_choice, part_particulars
from dashboard.words import MOUNTS
from pipeline.access.register_view import Choices
from pipeline.intake.contract import MOUNTS as EVERY_MOUNT
from pipeline.intake.typed.registering import NewSensor, new_sensor_id

ORIGINS = {
    "original": "on the bike since new",
    "fitted_here": "fitted by this shop",
    "unknown": "not known",
}


@dataclass(frozen=True)
class SensorChoice:
    """What is chosen before the form: the rest of the form depends on it."""

    mount: str
    part_no: str
    origin: str


def sensor_choice(choices: Choices, model_code: str, *, key: str) -> SensorChoice:
    """Where the sensor sits, its part number, and where it comes from."""
    with st.container(horizontal=True):
        mount = st.selectbox(
            "Where it sits", EVERY_MOUNT, key=f"{key}_mount", format_func=MOUNTS.get, width=WIDTH
        )
        part_no = part_choice(
            choices, model_code, mount, key=f"{key}_part", label="Its part number"
        )
        origin = st.selectbox(
            "Where it comes from",
            list(ORIGINS),
            key=f"{key}_origin",
            format_func=ORIGINS.get,
            width=WIDTH,
        )
    return SensorChoice(mount, part_no, origin)


def sensor_form(choices: Choices, chosen: SensorChoice, model_code: str, *, key: str) -> dict:
    """The rest, inside a form: what the save needs, to be given to :func:`new_sensor`."""
    part = part_particulars(
        choices, chosen.part_no, model_code, chosen.mount, key=f"{key}_new_part"
    )
    with st.container(horizontal=True):
        number = st.text_input(
            "Its own number (blank: one is made)", key=f"{key}_id", autocomplete="off", width=WIDTH
        )
        fitted_on = fitted_km = None
        if chosen.origin == "fitted_here":
            fitted_on = ask("sensors", "fitted_on", "Fitted on", key=f"{key}_fitted_on")
            fitted_km = ask("sensors", "fitted_km", "Odometer then", key=f"{key}_fitted_km")
    return {"part": part, "number": number, "fitted_on": fitted_on, "fitted_km": fitted_km}


def new_sensor(
    unit_id: str,
    chosen: SensorChoice,
    typed: dict,
    taken: set[str],
    seen_on: date,
    seen_km: str | None,
) -> NewSensor:
    """The sensor as typed; one of unknown origin enters where it was first seen."""
    part: TypedPart = typed["part"]
    made_up = new_sensor_id(unit_id, chosen.mount, seen_on, taken)
    row = {
        "sensor_id": as_cell("sensors", "sensor_id", typed["number"]) or made_up,
        "unit_id": unit_id,
        "mount": chosen.mount,
        "part_no": part.part_no,
        "origin": chosen.origin,
    }
    if chosen.origin == "fitted_here":
        row |= {"fitted_on": typed["fitted_on"], "fitted_km": typed["fitted_km"]}
    else:
        row |= {"first_seen_on": seen_on.isoformat(), "first_seen_km": seen_km}
    return NewSensor(row, part.row, part.fits_model)
