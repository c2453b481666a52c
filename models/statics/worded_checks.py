"""Checks answered in words: connector, wiggle test, fault codes, and what is not checked.

Each function takes READINGS and returns the rows of its check.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from models.statics import codes
from models.statics.check_rows import NOT_READ, PLACES, STATES, CheckRows, without_numbers
from models.statics.coded import Coded, coded_column, said_once, same_text


def _worded(readings: pd.DataFrame, check: str, column: str, answers: dict) -> CheckRows:
    """Rows of a check answered in words: {word: (state, points_to, sentence)}."""
    words = coded_column(readings[column])
    unread = ("not_read", "", f"{_WORDED[check]}: not looked at.")
    found = [answers.get(word, unread) for word in words.said]
    state, points_to, text = zip(*found, strict=True)
    shown = [word if word in answers else "not read" for word in words.said]
    return without_numbers(
        check,
        np.arange(len(readings)),
        _places(state, STATES)[words.numbers],
        _places(points_to, PLACES)[words.numbers],
        Coded(words.numbers, shown),
        Coded(words.numbers, text),
    )


def _places(names: Sequence[str], among: Sequence[str]) -> np.ndarray:
    return np.array([among.index(name) for name in names], dtype=np.int64)


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


def connector_rows(readings: pd.DataFrame) -> CheckRows:
    """Corrosion on the plug's contacts."""
    return _worded(readings, "connector_corrosion", "corrosion", _CORROSION)


def wiggle_rows(readings: pd.DataFrame) -> CheckRows:
    """The signal while plug and lead are moved by hand."""
    return _worded(readings, "wiggle_test", "wiggle_test", _WIGGLE)


_CODE_STATES = {
    "explained": "no_band",
    "cannot_tell": "no_band",
    "unknown_code": "no_band",
    "not_explained": "out_of_band",
}


def code_rows(readings: pd.DataFrame) -> CheckRows:
    """One row a code; one ``not_read`` row where none is recorded."""
    row, code = _one_by_one(coded_column(readings["fault_codes"]))
    unplugged = coded_column(readings["unplugged_key_on"])
    answers = said_once(
        [code.numbers, unplugged.numbers[row]],
        lambda number, key_on: _code_answer(code.said[number], unplugged.said[key_on]),
    )
    state, points_to, text = zip(*answers.said, strict=True)
    return without_numbers(
        "fault_codes",
        row,
        _places(state, STATES)[answers.numbers],
        _places(points_to, PLACES)[answers.numbers],
        Coded(code.numbers, [name or "not read" for name in code.said]),
        Coded(answers.numbers, text),
        "SAE J2012 meaning, from memory of the standard",
    )


def _one_by_one(written: Coded) -> tuple[np.ndarray, Coded]:
    """Places of the bench tests, once for each of their codes, and the codes; blank for none."""
    listed = [codes.parse_codes(text) or [""] for text in written.said]
    count = np.array([len(some) for some in listed])
    many = count[written.numbers]
    row = np.repeat(np.arange(len(many)), many)
    within = np.arange(len(row)) - np.repeat(np.cumsum(many) - many, many)
    first = (np.cumsum(count) - count)[written.numbers]
    place, names = pd.factorize(np.array([code for some in listed for code in some], dtype=object))
    return row, Coded(place[first[row] + within], list(names))


def _code_answer(code: str, unplugged: object) -> tuple[str, str, str]:
    if not code:
        return "not_read", "", "No fault codes recorded: none stored, or none read."
    state = _CODE_STATES[codes.unplugging_explains(code, unplugged)]
    points_to = "" if codes.is_well_formed(code) else "reading"
    return state, points_to, codes.code_sentence(code, unplugged)


def no_resistance_rows(contactless: np.ndarray) -> CheckRows:
    """Say that a contactless part has no resistance to check; the bench tests' places, (m,)."""
    n = len(contactless)
    return without_numbers(
        "resistance",
        contactless,
        np.full(n, NOT_READ),
        np.full(n, PLACES.index("")),
        same_text("not checked", n),
        same_text(
            "Resistance is not checked: this part is contactless and has no track to measure.", n
        ),
    )
