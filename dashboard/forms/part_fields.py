"""The part number of a sensor: one on record, or a new one with what is known of it."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from dashboard.forms.fields import WIDTH, ask
from pipeline.access.register_view import Choices

_KINDS = {"potentiometer": "potentiometer, with a track", "contactless": "contactless"}


@dataclass(frozen=True)
class TypedPart:
    """A part number typed, and a row of ``parts`` where it is a new one."""

    part_no: str
    row: dict[str, str]
    fits_model: str


def part_choice(choices: Choices, model_code: str, mount: str, *, key: str, label: str) -> str:
    """Ask for a part number, those that fit the place first; outside a form: it unfolds more."""
    known = choices.parts_for(model_code, mount)

    # the words of a choice stay the same: one whose words change is taken for another one
    def words(part_no: str) -> str:
        row = choices.parts.get(part_no)
        return (
            part_no if row is None else f"{part_no}: {row.get('description') or 'no description'}"
        )

    chosen = (
        st.selectbox(
            label,
            known,
            index=None,
            key=key,
            format_func=words,
            accept_new_options=True,
            placeholder="Choose one, or type a new part number",
            width=520,
        )
        or ""
    )
    if chosen in choices.parts and not choices.fits(chosen, model_code, mount):
        place = f"on a {model_code}" if model_code else "there"
        st.caption(f"Part {chosen} is not on record as fitting {place}: saving puts it on record.")
    return chosen


def part_particulars(
    choices: Choices, part_no: str, model_code: str, mount: str, *, key: str
) -> TypedPart:
    """What is asked of a part number that is not on record yet."""
    fits = "" if not part_no or choices.fits(part_no, model_code, mount) else model_code
    if not part_no or part_no in choices.parts:
        return TypedPart(part_no, {}, fits)
    st.caption(f"Part {part_no} is new here: what is known of it?")
    with st.container(horizontal=True):
        cells = {
            "part_no": part_no,
            "description": st.text_input("Description", key=f"{key}_description", width=WIDTH),
            "kind": ask("parts", "kind", "Kind", key=f"{key}_kind", words=_KINDS),
            "tracks": ask("parts", "tracks", "Tracks in the housing", key=f"{key}_tracks"),
            "supply_nominal_v": ask(
                "parts", "supply_nominal_v", "Nominal supply", key=f"{key}_supply"
            ),
            "output": ask("parts", "output", "Output with opening", key=f"{key}_output"),
        }
    return TypedPart(part_no, {name: cell for name, cell in cells.items() if cell}, fits)
