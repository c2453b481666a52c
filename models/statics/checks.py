"""Checks of the static readings, in the technician's order of reasoning.

Supply and ground first, for every later reading is measured against them; then the connector and
its lead; then the fault codes and whether unplugging explains them; then the sensor itself.
A reading that looks miswritten is asked about (``points_to`` is ``reading``) and never corrected.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.statics.bands import (
    RATIOS,
    SENSOR_READINGS,
    ratio_values,
    with_maker_limits,
)
from models.statics.check_rows import (
    IN_BAND,
    OUT_OF_BAND,
    OUTSIDE,
    PLACES,
    CheckRows,
    in_order,
    outcomes,
    points_outside,
)
from models.statics.doubts import (
    PAIRS,
    Questions,
    first_question,
    order_doubts,
    signs_by_output,
    unit_doubts,
)
from models.statics.limits import Limits, fixed, limits_by_part, or_usual, scaled, signs_by_limits
from models.statics.measured_checks import measured, with_question
from models.statics.schemas import BANDS, CHECK_OUTCOMES, CHECKS, READINGS
from models.statics.worded_checks import (
    code_rows,
    connector_rows,
    no_resistance_rows,
    wiggle_rows,
)
from models.statics.wording import shown

_SENSOR, _SUPPLY_FIRST = PLACES.index("sensor"), PLACES.index("supply_first")


def check_readings(readings: pd.DataFrame, bands: pd.DataFrame, **practice) -> pd.DataFrame:
    """Check every static reading of each bench test.

    Parameters
    ----------
    readings : DataFrame
        READINGS, one row a bench test.
    bands : DataFrame
        BANDS; makers' limits in `readings` are put above them.
    **practice
        Limits of `check_blocks`.

    Returns
    -------
    DataFrame
        CHECKS; `step` counts from 1 within a session, so session_id and step name a row. Limits by
        common practice are without a source, and the rows say so. A reading in doubt is never
        ``in_band``.

    Raises
    ------
    FrameError
        `readings` or `bands` do not fit their schema.
    """
    readings = READINGS.check(readings).reset_index(drop=True)
    if readings.empty:
        return CHECKS.empty()
    blocks = check_blocks(readings, bands, **practice)
    return CHECKS.check(in_order(blocks, readings["session_id"]))


def check_outcomes(readings: pd.DataFrame, bands: pd.DataFrame, **practice) -> pd.DataFrame:
    """CHECK_OUTCOMES: what the checks of each bench test come down to.

    Takes and raises the same as `check_readings`. Only what points outside the sensor is put into
    words, which takes longer than all the rest.
    """
    readings = READINGS.check(readings).reset_index(drop=True)
    if readings.empty:
        return CHECK_OUTCOMES.empty()
    of_sensor, outside = outcomes(check_blocks(readings, bands, **practice), len(readings))
    lines = _elsewhere(readings[outside > 0].reset_index(drop=True), bands, **practice)
    return CHECK_OUTCOMES.check(
        pd.DataFrame(
            {
                "session_id": readings["session_id"],
                "checks_out_of_band": of_sensor,
                "elsewhere": readings["session_id"].map(lines),
            }
        )
    )


def _elsewhere(readings: pd.DataFrame, bands: pd.DataFrame, **practice) -> pd.Series:
    """What points outside the sensor, in words by bench test: each has some."""
    if readings.empty:
        return pd.Series(dtype="str")
    blocks = [
        rows for rows in check_blocks(readings, bands, **practice) if points_outside(rows).any()
    ]
    said = in_order(blocks, readings["session_id"])
    said = said[said["state"].eq("out_of_band") & said["points_to"].isin(OUTSIDE)]
    told: dict[str, list[str]] = {}
    for session_id, text in zip(said["session_id"].tolist(), said["text"].tolist(), strict=True):
        told.setdefault(session_id, []).append(text)
    return pd.Series({session_id: "\n".join(texts) for session_id, texts in told.items()})


def check_blocks(
    readings: pd.DataFrame,
    bands: pd.DataFrame,
    *,
    supply_band_v: tuple[float, float] = (4.75, 5.25),
    usual_supply_v: float = 5.0,
    ground_difference_max_v: float = 0.10,
    closed_pct_band: tuple[float, float] = (-2.0, 3.0),
    open_pct_band: tuple[float, float] = (95.0, 102.0),
) -> list[CheckRows]:
    """Rows of each check, in the order of reasoning.

    Parameters
    ----------
    readings : DataFrame
        READINGS, checked, at least one row.
    bands : DataFrame
        BANDS.
    supply_band_v : tuple of float
        Supply of a part of `usual_supply_v`; scaled in proportion for another nominal supply.
    usual_supply_v : float
        Nominal supply where the part names none.
    ground_difference_max_v : float
        Greatest difference of the supply to battery negative and to the plug's ground pin.
    closed_pct_band, open_pct_band : tuple of float
        The control unit's figures where no band of the part number is known.
    """
    bands = with_maker_limits(BANDS.check(bands), readings)
    limits = limits_by_part(readings["part_no"], bands, SENSOR_READINGS)
    limits["closed_pct"] = or_usual(limits["closed_pct"], closed_pct_band)
    limits["open_pct"] = or_usual(limits["open_pct"], open_pct_band)
    nominal = readings["supply_nominal_v"].fillna(usual_supply_v) / usual_supply_v
    limits["supply"] = scaled(nominal.to_numpy(), *supply_band_v)
    limits["ground"] = fixed(-ground_difference_max_v, ground_difference_max_v, len(readings))
    asked = first_question(
        unit_doubts(readings, usual_supply_v=usual_supply_v),
        order_doubts(
            readings,
            _volt_signs(readings, limits),
            signs_by_limits(*(limits[name] for name in PAIRS["ohm"])),
        ),
    )
    tests = _Tests(readings, ratio_values(readings), limits, asked)
    supply = tests.held("supply", tests.all, "supply_v", PLACES.index("supply"))
    return [
        supply,
        _ground(tests),
        connector_rows(readings),
        wiggle_rows(readings),
        code_rows(readings),
        *_sensor(tests, supply.state == OUT_OF_BAND),
    ]


@dataclass(frozen=True)
class _Tests:
    """n bench tests: READINGS, their ratios, the limits by check and the questions by reading."""

    readings: pd.DataFrame
    ratios: pd.DataFrame
    limits: Mapping[str, Limits]
    asked: Questions

    @property
    def all(self) -> np.ndarray:
        """The place of each."""
        return np.arange(len(self.readings))

    def held(
        self, check: str, row: np.ndarray, reading: str, points_to: np.ndarray | int = _SENSOR
    ) -> CheckRows:
        """A reading of the tests at ``row`` against its limits, asked about where in doubt."""
        value = self.readings[reading].to_numpy()
        rows = measured(check, row, value, self.limits[check], points_to)
        return with_question(rows, self.asked[reading])

    def held_ratio(self, ratio: str, row: np.ndarray) -> CheckRows:
        """A ratio against its limits, of those where both its parts were read without doubt."""
        value = self.ratios[ratio].to_numpy()
        sure = np.isfinite(value)
        for part in RATIOS[ratio]:
            sure[list(self.asked[part])] = False
        return measured(ratio, row[sure[row]], value, self.limits[ratio], _SENSOR)


def _volt_signs(readings: pd.DataFrame, limits: Mapping[str, Limits]) -> np.ndarray:
    """Which way the signal goes with opening: the part's output, else the good ranges."""
    declared = signs_by_output(readings)
    learned = signs_by_limits(*(limits[name] for name in PAIRS["V"]))
    return np.where(declared != 0, declared, learned)


def _ground(tests: _Tests) -> CheckRows:
    """Difference of the two supply readings; not worked out while one of them is in doubt."""
    pair = ["supply_v", "supply_to_ground_v"]
    to_negative, to_ground = (tests.readings[name].to_numpy() for name in pair)
    read = np.isfinite(to_negative) & np.isfinite(to_ground)
    difference = np.full(len(read), np.nan)
    difference[read] = to_negative[read] - to_ground[read]
    rows = measured("ground", tests.all, difference, tests.limits["ground"], PLACES.index("ground"))
    asked = tests.asked[pair[0]] | tests.asked[pair[1]]
    # The plug's ground cannot lie below battery negative by itself.
    for place in np.flatnonzero(difference < rows.low).tolist():
        exchanged = (
            f"Supply to the plug's ground pin {shown(to_ground[place], 'V')} is more than to "
            f"battery negative {shown(to_negative[place], 'V')}: were the two exchanged?"
        )
        asked.setdefault(place, exchanged)
    return with_question(rows, asked)


def _sensor(tests: _Tests, supply_out: np.ndarray) -> list[CheckRows]:
    """Signal at the ends, resistances, the control unit's figures."""
    contactless = tests.readings["kind"].eq("contactless").to_numpy()
    resistive = np.flatnonzero(~contactless)
    # A signal out of band while the supply is out of band speaks of the supply.
    points_to = np.where(supply_out, PLACES.index("supply_first"), _SENSOR)
    volts = [
        *(tests.held(name, tests.all, name, points_to) for name in PAIRS["V"]),
        *(tests.held_ratio(name, tests.all) for name in ("closed_ratio", "open_ratio")),
    ]
    ohms = [
        *(tests.held(name, resistive, name) for name in PAIRS["ohm"]),
        *(tests.held_ratio(name, resistive) for name in ("closed_ohm_ratio", "open_ohm_ratio")),
    ]
    return [
        *volts,
        tests.held("track_ohm", resistive, "track_ohm"),
        *ohms,
        no_resistance_rows(np.flatnonzero(contactless)),
        *_per_cent(tests, [*volts, *ohms]),
    ]


def _per_cent(tests: _Tests, ends: list[CheckRows]) -> list[CheckRows]:
    """The control unit's figures; where they are off, the signal's ends say where to look."""
    blocks = []
    for end in ("closed", "open"):
        points_to = np.full(len(tests.all), PLACES.index(""))
        own = [rows for rows in ends if rows.check.startswith(end)]
        for state, place in ((IN_BAND, "control_unit"), (OUT_OF_BAND, "sensor")):
            for rows in own:
                points_to[rows.row[rows.state == state]] = PLACES.index(place)
        blocks.append(tests.held(f"{end}_pct", tests.all, f"{end}_pct", points_to))
    return blocks
