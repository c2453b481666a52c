"""Checks of the static readings, in the technician's order of reasoning.

Supply and ground first, for every later reading is measured against them; then the connector and
its lead; then the fault codes and whether unplugging explains them; then the sensor itself.
A reading that looks miswritten is asked about (``points_to`` is ``reading``) and never corrected.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.statics.bands import (
    RATIOS,
    SENSOR_READINGS,
    first_question,
    ratio_values,
    unit_of,
    with_maker_limits,
)
from models.statics.doubts import (
    LABELS,
    PAIRS,
    order_doubts,
    signs_by_output,
    unit_doubts,
)
from models.statics.schemas import BANDS, CHECKS, READINGS
from models.statics.worded_checks import (
    COMMON_PRACTICE,
    code_rows,
    connector_rows,
    no_resistance_rows,
    wiggle_rows,
)
from models.statics.wording import place_on_side, said_once, shown

_NEXT_STEP = {
    "supply": "look at the supply and its wiring first",
    "ground": "look at the ground pin and its wiring first",
    "connector": "see to the plug before the sensor is blamed",
    "wiring": "see to the plug and the lead before the sensor is blamed",
    "sensor": "this points to the sensor, though one reading alone does not condemn it",
    "control_unit": "the signal's ends are in range, so its closed position may need relearning",
    "supply_first": "put the supply right and read again before the sensor is blamed",
}


@dataclass(frozen=True)
class _Limits:
    """Limits of one reading, one value a bench test; their source at length and in short."""

    low: pd.Series
    high: pd.Series
    source: pd.Series
    words: pd.Series

    def take(self, index: pd.Index) -> _Limits:
        """The limits of some of the bench tests."""
        return _Limits(*(s.loc[index] for s in (self.low, self.high, self.source, self.words)))


def check_readings(
    readings: pd.DataFrame,
    bands: pd.DataFrame,
    *,
    supply_band_v: tuple[float, float] = (4.75, 5.25),
    usual_supply_v: float = 5.0,
    ground_difference_max_v: float = 0.10,
    closed_pct_band: tuple[float, float] = (-2.0, 3.0),
    open_pct_band: tuple[float, float] = (95.0, 102.0),
) -> pd.DataFrame:
    """Check every static reading of each bench test.

    Parameters
    ----------
    readings : DataFrame
        READINGS, one row a bench test.
    bands : DataFrame
        BANDS; makers' limits in `readings` are put above them.
    supply_band_v : tuple of float
        Supply of a part of `usual_supply_v`; scaled in proportion for another nominal supply.
    usual_supply_v : float
        Nominal supply where the part names none.
    ground_difference_max_v : float
        Greatest difference of the supply to battery negative and to the plug's ground pin.
    closed_pct_band, open_pct_band : tuple of float
        The control unit's figures where no band of the part number is known.

    Returns
    -------
    DataFrame
        CHECKS; `step` counts from 1 within a session, so session_id and step name a row. All the
        defaults are common practice without a source, and the rows say so. A reading in doubt is
        never ``in_band``.

    Raises
    ------
    FrameError
        `readings` or `bands` do not fit their schema.
    """
    readings = READINGS.check(readings).reset_index(drop=True)
    if readings.empty:
        return CHECKS.empty()
    bands = with_maker_limits(BANDS.check(bands), readings)
    limits = {name: _band_limits(readings, bands, name) for name in SENSOR_READINGS}
    limits["closed_pct"] = _or_usual(limits["closed_pct"], closed_pct_band)
    limits["open_pct"] = _or_usual(limits["open_pct"], open_pct_band)
    nominal = readings["supply_nominal_v"].fillna(usual_supply_v) / usual_supply_v
    limits["supply_v"] = _fixed(nominal * supply_band_v[0], nominal * supply_band_v[1])
    reach = pd.Series(ground_difference_max_v, index=readings.index)
    asked = first_question(
        unit_doubts(readings, usual_supply_v=usual_supply_v),
        order_doubts(readings, _volt_signs(readings, limits), _band_signs(limits, PAIRS["ohm"])),
    )
    supply = _measured(readings, "supply", readings["supply_v"], limits["supply_v"], "supply")
    supply = _with_question(supply, asked["supply_v"])
    blocks = [
        supply,
        _ground(readings, asked, _fixed(-reach, reach)),
        connector_rows(readings),
        wiggle_rows(readings),
        code_rows(readings),
        *_sensor(readings, limits, asked, supply["state"].eq("out_of_band")),
    ]
    return _in_order(blocks)


def _in_order(blocks: list[pd.DataFrame]) -> pd.DataFrame:
    """Stack the blocks, sessions as handed in, steps counted within each."""
    rows = [block.assign(block=number) for number, block in enumerate(blocks)]
    # A stable sort keeps several rows of one block, such as fault codes, as they were written.
    out = pd.concat(rows).sort_values(["row", "block"], kind="stable", ignore_index=True)
    out["step"] = out.groupby("row").cumcount() + 1
    return CHECKS.check(out)


def _fixed(low: pd.Series, high: pd.Series) -> _Limits:
    words = pd.Series(COMMON_PRACTICE, index=low.index)
    return _Limits(low, high, words, words)


def _band_limits(readings: pd.DataFrame, bands: pd.DataFrame, reading: str) -> _Limits:
    band = bands[bands["reading"] == reading].drop_duplicates("part_no").set_index("part_no")
    band["words"] = [_source_words(row) for row in band.to_dict("records")]
    part_no = readings["part_no"]
    return _Limits(*(part_no.map(band[name]) for name in ("low", "high", "method", "words")))


def _source_words(band: dict) -> str:
    """Where a range comes from, in a few words; the method at length where there is no range."""
    if pd.isna(band["low"]) and pd.isna(band["high"]):
        return band["method"]
    if band["source"] == "maker":
        return "the maker's limits"
    count = band["sensor_count"]
    return f"learned from {count} good sensors" if band["source"] == "learned" else COMMON_PRACTICE


def _or_usual(limits: _Limits, usual: tuple[float, float]) -> _Limits:
    none = limits.low.isna() & limits.high.isna()
    return _Limits(
        limits.low.where(~none, usual[0]),
        limits.high.where(~none, usual[1]),
        limits.source.where(~none, COMMON_PRACTICE),
        limits.words.where(~none, COMMON_PRACTICE),
    )


def _volt_signs(readings: pd.DataFrame, limits: dict[str, _Limits]) -> pd.Series:
    """Which way the signal goes with opening: the part's output, else the good ranges."""
    declared = signs_by_output(readings)
    return declared.where(declared != 0, _band_signs(limits, PAIRS["V"]))


def _band_signs(limits: dict[str, _Limits], pair: tuple[str, str]) -> pd.Series:
    """+1 where the open range lies wholly above the closed one, -1 below, 0 where not known."""
    closed, opened = (limits[name] for name in pair)
    return (opened.low > closed.high).astype(int) - (opened.high < closed.low).astype(int)


def _measured(
    readings: pd.DataFrame, check: str, value: pd.Series, limits: _Limits, points_to: str
) -> pd.DataFrame:
    """Rows of one numeric check: state, words and where an outlier points."""
    unit = unit_of(check) if check in LABELS else "V"
    state = _state(value, limits)
    block = pd.DataFrame(
        {
            "row": readings.index,
            "session_id": readings["session_id"],
            "check": check,
            "state": state,
            "value": value.where(np.isfinite(value)),
            "value_text": said_once([value], lambda v: shown(v, unit)),
            "unit": unit,
            "low": limits.low,
            "high": limits.high,
            "band_source": limits.source,
            "words": limits.words,
            "points_to": np.where(state == "out_of_band", points_to, ""),
        }
    )
    return _with_text(block)


def _state(value: pd.Series, limits: _Limits) -> np.ndarray:
    outside = (value < limits.low) | (value > limits.high)
    no_band = (limits.low.isna() & limits.high.isna()) | np.isinf(value)
    return np.select(
        [value.isna(), no_band, outside], ["not_read", "no_band", "out_of_band"], "in_band"
    )


def _label(check: str) -> str:
    return _LABELS.get(check) or LABELS[check]


_LABELS = {"supply": "Supply", "ground": "Ground difference"}


def _with_text(block: pd.DataFrame) -> pd.DataFrame:
    """Rows that say the same are worded once: values shown alike, on the same side of a limit."""
    value, low, high = block["value"], block["low"], block["high"]
    side = np.where(value < low, -1, np.where(value > high, 1, 0))
    told = [block[name] for name in ("check", "state", "value_text", "unit", "words", "points_to")]
    return block.assign(text=said_once([*told, low, high, side], _sentence))


def _sentence(
    check: str,
    state: str,
    value_text: str,
    unit: str,
    words: str,
    points_to: str,
    low: float,
    high: float,
    side: int,
) -> str:
    """One plain sentence with numbers and units."""
    label = _label(check)
    if state == "not_read":
        return f"{label}: not read."
    if state == "no_band":
        why = "no good range for this part number yet" if pd.isna(words) else words
        return f"{label} {value_text}: not judged ({why})."
    place = place_on_side(side, value_text, low, high, unit)
    following = f": {_NEXT_STEP[points_to]}" if points_to in _NEXT_STEP else ""
    return f"{label} {value_text}, {place} ({words}){following}."


def _with_question(block: pd.DataFrame, question: pd.Series) -> pd.DataFrame:
    """Put a question in place of the sentence; a reading in doubt is never in band."""
    doubt = question.ne("").to_numpy()
    never_good = doubt & block["state"].eq("in_band").to_numpy()
    return block.assign(
        state=block["state"].mask(never_good, "no_band"),
        points_to=block["points_to"].mask(doubt, "reading"),
        text=block["text"].mask(doubt, question.to_numpy()),
    )


def _ground(readings: pd.DataFrame, asked: pd.DataFrame, limits: _Limits) -> pd.DataFrame:
    """Difference of the two supply readings; not worked out while one of them is in doubt."""
    pair = ["supply_v", "supply_to_ground_v"]
    question = first_question(asked[pair[1]], asked[pair[0]])
    difference = (readings[pair[0]] - readings[pair[1]]).where(
        np.isfinite(readings[pair]).all(axis=1)
    )
    block = _measured(readings, "ground", difference, limits, "ground")
    # The plug's ground cannot lie below battery negative by itself.
    below = difference < limits.low
    exchanged = pd.Series("", index=readings.index, dtype=object)
    exchanged[below] = [
        f"Supply to the plug's ground pin {shown(b, 'V')} is more than to battery negative "
        f"{shown(a, 'V')}: were the two exchanged?"
        for a, b in readings.loc[below, pair].to_numpy()
    ]
    return _with_question(block, question.where(question != "", exchanged))


def _sensor(
    readings: pd.DataFrame, limits: dict, asked: pd.DataFrame, supply_out: pd.Series
) -> list[pd.DataFrame]:
    """Signal at the ends, resistances, the control unit's figures."""
    contactless = readings["kind"].eq("contactless")
    resistive = readings[~contactless]
    volts = _ends(readings, "V", limits, asked, ("closed_ratio", "open_ratio"))
    volts = [_supply_first(block, supply_out) for block in volts]
    ohms = _ends(resistive, "ohm", limits, asked, ("closed_ohm_ratio", "open_ohm_ratio"))
    track = _single(resistive, "track_ohm", limits, asked)
    ends = pd.concat([*volts, *ohms])
    return [
        *volts,
        track,
        *ohms,
        no_resistance_rows(readings[contactless]),
        *_per_cent(readings, limits, asked, ends),
    ]


def _single(readings, name: str, limits: dict, asked, points_to: str = "sensor") -> pd.DataFrame:
    own = limits[name].take(readings.index)
    block = _measured(readings, name, readings[name], own, points_to)
    return _with_question(block, asked.loc[readings.index, name])


def _ends(readings, unit: str, limits: dict, asked, ratios: tuple[str, str]) -> list[pd.DataFrame]:
    """Both ends as read, then as ratios where both parts of a ratio were read without doubt."""
    blocks = [_single(readings, name, limits, asked) for name in PAIRS[unit]]
    values = ratio_values(readings)
    for ratio in ratios:
        sure = asked.loc[readings.index, list(RATIOS[ratio])].eq("").all(axis=1)
        rows = readings[sure & np.isfinite(values[ratio])]
        with_ratio = rows.assign(**{ratio: values.loc[rows.index, ratio]})
        no_question = pd.DataFrame("", index=rows.index, columns=[ratio])
        blocks.append(_single(with_ratio, ratio, limits, no_question))
    return blocks


def _supply_first(block: pd.DataFrame, supply_out: pd.Series) -> pd.DataFrame:
    """A signal out of band while the supply is out of band speaks of the supply."""
    moved = block["points_to"].eq("sensor") & supply_out[block["row"]].to_numpy()
    moved &= block["check"].isin(PAIRS["V"])
    text = block["text"].copy()
    text[moved] = _with_text(block[moved].assign(points_to="supply_first"))["text"]
    return block.assign(points_to=block["points_to"].mask(moved, "supply"), text=text)


def _per_cent(readings, limits: dict, asked, ends: pd.DataFrame) -> list[pd.DataFrame]:
    """The control unit's figures; where they are off, the signal's ends say where to look."""
    blocks = []
    for end in ("closed", "open"):
        judged = ends[
            ends["check"].str.startswith(end) & ends["state"].isin(["in_band", "out_of_band"])
        ]
        off = judged[judged["state"] == "out_of_band"]["row"]
        points_to = pd.Series("", index=readings.index)
        points_to[judged["row"]] = "control_unit"
        points_to[off] = "sensor"
        blocks.append(_single(readings, f"{end}_pct", limits, asked, points_to))
    return blocks
