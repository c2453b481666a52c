"""Checks of a reading against its limits: the state, the words and where an outlier points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from models.statics.bands import unit_of
from models.statics.check_rows import (
    IN_BAND,
    NO_BAND,
    NOT_READ,
    OUT_OF_BAND,
    PLACES,
    CheckRows,
    CheckWords,
)
from models.statics.coded import Coded, coded_values, places_of, said_once
from models.statics.doubts import LABELS
from models.statics.limits import Limits
from models.statics.wording import PlacesInBand

_LABELS = {"supply": "Supply", "ground": "Ground difference"}
_NEXT_STEP = {
    "supply": "look at the supply and its wiring first",
    "ground": "look at the ground pin and its wiring first",
    "connector": "see to the plug before the sensor is blamed",
    "wiring": "see to the plug and the lead before the sensor is blamed",
    "sensor": "this points to the sensor, though one reading alone does not condemn it",
    "control_unit": "the signal's ends are in range, so its closed position may need relearning",
    "supply_first": "put the supply right and read again before the sensor is blamed",
}


def measured(
    check: str, row: np.ndarray, value: np.ndarray, limits: Limits, points_to: np.ndarray | int
) -> CheckRows:
    """Rows of one numeric check.

    Parameters
    ----------
    check : str
        Its name, a reading or one worked out of readings.
    row : array of shape (m,)
        The bench tests it is of, as places among all n.
    value : array of shape (n,)
        What was read, blank where not.
    limits : Limits
        Of n bench tests.
    points_to : array of shape (n,), or one for all
        Where a value outside its limits points: places in PLACES.
    """
    unit = unit_of(check) if check in LABELS else "V"
    value, which = value[row], limits.which[row]
    points_to = np.broadcast_to(points_to, limits.which.shape)[row]
    low, high = limits.low[which], limits.high[which]
    side = (value > high).astype(int) - (value < low)
    state = _states(value, low, high, side != 0)
    points_to = np.where(state == OUT_OF_BAND, points_to, PLACES.index(""))

    def words() -> CheckWords:
        told = coded_values(value, unit)
        of_each = _Words(check, unit, told.said, limits)
        alike = [which, told.numbers, state, points_to, side + 1]
        text = said_once(alike, of_each.sentence)
        return CheckWords(told, text, Coded(which, limits.source))

    shown_value = np.where(np.isfinite(value), value, np.nan)
    return CheckRows(check, row, state, points_to, words, shown_value, low, high, unit)


def _states(value: np.ndarray, low: np.ndarray, high: np.ndarray, out: np.ndarray) -> np.ndarray:
    no_band = (np.isnan(low) & np.isnan(high)) | np.isinf(value)
    state = np.where(no_band, NO_BAND, np.where(out, OUT_OF_BAND, IN_BAND))
    return np.where(np.isnan(value), NOT_READ, state)


@dataclass(frozen=True)
class _Words:
    """What is said of one check: its values as shown and its sets of limits, by number."""

    check: str
    unit: str
    values: Sequence[str]
    limits: Limits

    @cached_property
    def _places(self) -> list[PlacesInBand]:
        both = zip(self.limits.low, self.limits.high, strict=True)
        return [PlacesInBand(low, high, self.unit) for low, high in both]

    def sentence(self, which: int, value: int, state: int, points_to: int, side: int) -> str:
        """One plain sentence with numbers and units."""
        label = _LABELS.get(self.check) or LABELS[self.check]
        if state == NOT_READ:
            return f"{label}: not read."
        value_text, words = self.values[value], self.limits.words[which]
        if state == NO_BAND:
            why = "no good range for this part number yet" if words is None else words
            return f"{label} {value_text}: not judged ({why})."
        place = self._places[which].of(side - 1, value_text)
        following = _NEXT_STEP.get(PLACES[points_to])
        following = f": {following}" if following else ""
        return f"{label} {value_text}, {place} ({words}){following}."


def with_question(rows: CheckRows, asked: Mapping[int, str]) -> CheckRows:
    """Put questions, by bench test, in place of the sentence; what is in doubt is never in band."""
    places = places_of(rows.row, asked)
    if not len(places):
        return rows
    state, points_to = rows.state.copy(), rows.points_to.copy()
    state[places] = np.where(state[places] == IN_BAND, NO_BAND, state[places])
    points_to[places] = PLACES.index("reading")

    def words() -> CheckWords:
        said = rows.words()
        return replace(said, text=said.text.with_questions(rows.row, asked))

    return replace(rows, state=state, points_to=points_to, words=words)
