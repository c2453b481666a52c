"""Fault codes of the throttle position circuits and whether an unplugged sensor explains them.

Meanings are the generic ones of SAE J2012, written from memory of the standard. Whether unplugging
sets a code is common practice without a source: with the plug off and the key on the control unit
sees an open circuit and stores a low, high or malfunction code by itself.
"""

from __future__ import annotations

import re

import pandas as pd

_CIRCUIT = "Throttle/pedal position sensor/switch"
_ENDINGS = {
    "0": "circuit malfunction",
    "1": "circuit range/performance",
    "2": "circuit low input",
    "3": "circuit high input",
    "4": "circuit intermittent",
}
MEANINGS = {
    f"P0{circuit}2{last}": f"{_CIRCUIT} {letter}: {ending}"
    for circuit, letter in (("1", "A"), ("2", "B"))
    for last, ending in _ENDINGS.items()
} | {"P2135": f"{_CIRCUIT} A/B: voltage correlation"}

SET_BY_UNPLUGGING = frozenset({"P0120", "P0122", "P0123", "P0220", "P0222", "P0223"})
PERHAPS_SET_BY_UNPLUGGING = frozenset({"P0124", "P0224", "P2135"})

# Letter of the system, a digit 0 to 3, three hexadecimal digits; a failure type may follow.
_PATTERN = re.compile(r"[PCBU][0-3][0-9A-F]{3}(-[0-9A-F]{2})?")
_SEPARATORS = re.compile(r"[\s,;]+")


def parse_codes(text: object) -> list[str]:
    """Codes in the order written, in capitals, each once; an empty list where blank."""
    if pd.isna(text):
        return []
    return list(dict.fromkeys(code for code in _SEPARATORS.split(str(text).upper()) if code))


def is_well_formed(code: str) -> bool:
    """Whether it is written as SAE J2012 writes a code, e.g. P0122."""
    return _PATTERN.fullmatch(code) is not None


def meaning(code: str) -> str:
    """The generic meaning; says so where the code is not known here or not a code."""
    if not is_well_formed(code):
        return "not written as a fault code"
    return MEANINGS.get(code[:5], "not one of the throttle position codes known here")


def unplugging_explains(code: str, unplugged_key_on: object) -> str:
    """Whether the plug having been off with the key on accounts for the code.

    Parameters
    ----------
    code : str
        SAE J2012 code.
    unplugged_key_on : str or blank
        ``yes``, ``no`` or blank, as in the test session.

    Returns
    -------
    str
        ``explained``, ``not_explained`` or ``cannot_tell``; ``unknown_code`` for any code whose
        meaning is not known here.
    """
    base = code[:5]
    if base not in MEANINGS or not is_well_formed(code):
        return "unknown_code"
    if base not in SET_BY_UNPLUGGING | PERHAPS_SET_BY_UNPLUGGING or unplugged_key_on == "no":
        return "not_explained"
    if unplugged_key_on == "yes":
        return "explained" if base in SET_BY_UNPLUGGING else "cannot_tell"
    return "cannot_tell"


def code_sentence(code: str, unplugged_key_on: object) -> str:
    """One sentence: the code, what it means and what it is worth after this test."""
    start = f"{code} ({meaning(code)})"
    if not is_well_formed(code):
        return (
            f"{code} is not written as a fault code (a letter and four characters, such as "
            "P0122): what did the control unit show?"
        )
    explained = unplugging_explains(code, unplugged_key_on)
    if explained == "cannot_tell" and unplugged_key_on == "yes":
        return f"{start}: {_PERHAPS}"
    return f"{start}{_SENTENCE_ENDINGS[explained]}"


_PERHAPS = (
    "the plug was off with the key on, which may have set it: it means nothing until it is "
    "cleared and comes back."
)
_SENTENCE_ENDINGS = {
    "explained": (
        ": explained by the plug having been off with the key on; it means nothing until it is "
        "cleared and comes back."
    ),
    "not_explained": (
        ": unplugging does not explain it; it names the circuit and not the part, so supply, "
        "ground, plug, lead and sensor are all in question."
    ),
    "cannot_tell": (
        ": it was not recorded whether the plug was off with the key on, so unplugging may have "
        "set it; clear it and read again."
    ),
    "unknown_code": "; look it up in the maker's list.",
}
