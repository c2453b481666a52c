"""Checks answered in words: connector, wiggle test, fault codes, and what is not checked.

Each function takes READINGS and returns rows for CHECKS, with ``row`` naming the bench test's
place in `readings`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.statics import codes
from models.statics.wording import said_once

COMMON_PRACTICE = "common practice, no source"


def _worded(readings: pd.DataFrame, check: str, column: str, answers: dict) -> pd.DataFrame:
    """Rows of a check answered in words: {word: (state, points_to, sentence)}."""
    words = readings[column].where(readings[column].isin(list(answers)), "")
    found = [
        answers.get(word, ("not_read", "", f"{_WORDED[check]}: not looked at.")) for word in words
    ]
    state, points_to, text = zip(*found, strict=True)
    return _without_numbers(readings, check).assign(
        state=state,
        value_text=[word or "not read" for word in words],
        points_to=points_to,
        text=text,
    )


def _without_numbers(readings: pd.DataFrame, check: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "row": readings.index,
            "session_id": readings["session_id"],
            "check": check,
            "value": np.nan,
            "unit": "",
            "low": np.nan,
            "high": np.nan,
            "band_source": COMMON_PRACTICE,
        }
    )


_WORDED = {"connector_corrosion": "Connector corrosion", "wiggle_test": "Wiggle test"}
_CORROSION = {
    "none": ("in_band", "", "No corrosion seen on the plug's contacts."),
    "light": (
        "in_band",
        "",
        "Light corrosion on the plug's contacts: seldom a fault by itself; clean them while the "
        "plug is off.",
    ),
    "heavy": (
        "out_of_band",
        "connector",
        "Heavy corrosion on the plug's contacts: see to the plug before the sensor is blamed.",
    ),
}
_WIGGLE = {
    "steady": ("in_band", "", "The signal stays steady when plug and lead are moved by hand."),
    "jumps": (
        "out_of_band",
        "wiring",
        "The signal jumps when plug and lead are moved by hand: see to the plug and the lead "
        "before the sensor is blamed.",
    ),
}


def connector_rows(readings: pd.DataFrame) -> pd.DataFrame:
    """Corrosion on the plug's contacts."""
    return _worded(readings, "connector_corrosion", "corrosion", _CORROSION)


def wiggle_rows(readings: pd.DataFrame) -> pd.DataFrame:
    """The signal while plug and lead are moved by hand."""
    return _worded(readings, "wiggle_test", "wiggle_test", _WIGGLE)


_CODE_STATES = {
    "explained": "no_band",
    "cannot_tell": "no_band",
    "unknown_code": "no_band",
    "not_explained": "out_of_band",
}


def code_rows(readings: pd.DataFrame) -> pd.DataFrame:
    """One row a code; one ``not_read`` row where none is recorded."""
    listed = readings["fault_codes"].map(codes.parse_codes, na_action=None)
    frame = _without_numbers(readings, "fault_codes").assign(
        code=listed.map(lambda found: found or [""]), unplugged=readings["unplugged_key_on"]
    )
    frame = frame.explode("code")
    answers = said_once([frame["code"], frame["unplugged"]], _code_answer)
    state, points_to, text = zip(*answers, strict=True)
    return frame.assign(
        state=state,
        points_to=points_to,
        text=text,
        value_text=frame["code"].where(frame["code"] != "", "not read"),
        band_source="SAE J2012 meaning, from memory of the standard",
    )


def _code_answer(code: str, unplugged: object) -> tuple[str, str, str]:
    if not code:
        return "not_read", "", "No fault codes recorded: none stored, or none read."
    state = _CODE_STATES[codes.unplugging_explains(code, unplugged)]
    points_to = "" if codes.is_well_formed(code) else "reading"
    return state, points_to, codes.code_sentence(code, unplugged)


def no_resistance_rows(readings: pd.DataFrame) -> pd.DataFrame:
    """Say that a contactless part has no resistance to check."""
    return _without_numbers(readings, "resistance").assign(
        state="not_read",
        value_text="not checked",
        points_to="",
        text="Resistance is not checked: this part is contactless and has no track to measure.",
    )
