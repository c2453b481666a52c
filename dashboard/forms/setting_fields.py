"""A field for each setting, of the kind that its bounds ask for."""

from __future__ import annotations

import streamlit as st

from dashboard.wording.check_plan_words import WEEKDAYS
from dashboard.words import plain
from pipeline.intake.settings.settings_file import known_settings

SETTINGS = known_settings()
_WIDTH = 340


def label_of(name: str) -> str:
    """What a setting is called above its field, with its unit."""
    bounds, _ = SETTINGS[name]
    named = bounds.days == "days of the week"
    unit = f" ({bounds.unit})" if bounds.unit and not named else ""
    return f"{bounds.meaning[0].upper()}{bounds.meaning[1:]}{unit}"


def setting_field(name: str, now: object, *, key: str) -> object:
    """Draw a setting's field under a key, and return what stands in it."""
    bounds, default = SETTINGS[name]
    assumed = f"Assumed default: {default if default != '' else 'none'}."
    label, how = label_of(name), {"key": key, "help": assumed, "width": _WIDTH}
    if bounds.days == "days of the week":
        wide = how | {"width": 2 * _WIDTH}  # all seven beside one another
        return st.multiselect(label, list(WEEKDAYS), str(now).split(", "), **wide)
    if bounds.words:
        at = list(bounds.words).index(str(now))
        return st.selectbox(label, list(bounds.words), at, format_func=plain, **how)
    if isinstance(default, str):
        return st.text_input(label, str(now), max_chars=400 if bounds.days else 12, **how)
    kind = type(default)
    # No bounds here: a field that refuses a value by itself leaves the page as it was, an earlier
    # "Kept" beside it.
    return st.number_input(
        label,
        value=kind(now),  # type: ignore[arg-type]
        step=_step(default),
        format="%d" if kind is int else None,
        **how,
    )


def _step(default: float) -> float:
    """One press of a field: about a tenth of what it begins with."""
    if isinstance(default, int):
        return max(1, default // 10)
    return 0.01 if default < 1 else max(0.1, round(default / 10, 1))
