"""Reference bands: what a good sensor of a part number reads.

Learned from sensors later shown good, as statistical tolerance intervals with stated coverage and
confidence: distribution-free (order statistics) where there are enough sensors, else by normal
theory and named so, and none below a stated number. A maker's limits stand above learned ones.
Absolute volts and ohms are never pooled over part numbers; ratios may be, within a family.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from models.frames import FrameError
from models.statics.coded import category, category_of, check_coded, same_text
from models.statics.doubts import (
    PAIRS,
    UNITS,
    first_question,
    order_doubts,
    signs_by_majority,
    signs_by_output,
    unit_doubts,
)
from models.statics.schemas import BANDS, GOOD_READINGS, READING_VALUES, READINGS
from models.statics.tolerance import (
    one_sided_factor,
    sample_size_needed,
    trimmed_gaps,
    two_sided_factor,
)

RATIOS = {
    "closed_ratio": ("closed_v", "supply_v"),
    "open_ratio": ("open_v", "supply_v"),
    "closed_ohm_ratio": ("closed_ohm", "track_ohm"),
    "open_ohm_ratio": ("open_ohm", "track_ohm"),
}
_RESISTANCES = ("track_ohm", *PAIRS["ohm"], "closed_ohm_ratio", "open_ohm_ratio")
# The supply is the bike's and not the sensor's: it has no band of its own here.
SENSOR_READINGS = tuple(name for name in UNITS if not name.startswith("supply")) + tuple(RATIOS)
# What a workshop meter tells apart, at least (common practice, no source): volts, per cent and
# ratios as they stand, ohms as a share of the reading. A range narrower than this either side
# would judge the meter and not the sensor.
METER_REACH = {"V": 0.01, "%": 1.0, "": 0.005, "ohm": 0.01}
# Less of these is never a fault; the names are those of the sweep measures.
UPPER_LIMIT_ONLY = (
    "smoothness_pct",
    "hysteresis_pct",
    "noise_pct",
    "linearity_independent_pct",
    "linearity_terminal_pct",
)


def unit_of(reading: str) -> str:
    """V, ohm or % by the reading's name; blank for a ratio."""
    ends = {"_v": "V", "_ohm": "ohm", "_pct": "%"}
    return next((unit for end, unit in ends.items() if reading.endswith(end)), "")


def ratio_values(readings: pd.DataFrame) -> pd.DataFrame:
    """Each ratio reading (columns as in `RATIOS`) of each bench test; blank where not read."""
    return pd.DataFrame(
        {
            name: readings[part] / readings[whole].where(readings[whole] > 0)
            for name, (part, whole) in RATIOS.items()
        },
        index=readings.index,
    )


def reading_values(
    readings: pd.DataFrame, ohm_signs: Mapping[str, int] | None = None
) -> pd.DataFrame:
    """READING_VALUES of `coded_reading_values`, each text written out. Takes the same."""
    return READING_VALUES.check(coded_reading_values(readings, ohm_signs))


def coded_reading_values(
    readings: pd.DataFrame, ohm_signs: Mapping[str, int] | None = None
) -> pd.DataFrame:
    """Every reading of the sensors as one long frame, ratios worked out.

    Parameters
    ----------
    readings : DataFrame
        READINGS.
    ohm_signs : mapping of part number to +1 or -1, optional
        Which way the resistance goes with opening, from `signs_by_majority` of all bench tests;
        where not given, from `readings`, which then must be all of them.

    Returns
    -------
    DataFrame
        READING_VALUES, texts as categories. `doubt` holds the question where a reading looks
        miswritten; a ratio inherits it. Nothing is corrected. Contactless parts give no
        resistances.
    """
    readings = READINGS.check(readings).reset_index(drop=True)
    asked = first_question(
        unit_doubts(readings),
        order_doubts(readings, signs_by_output(readings), _signs_by_part(readings, ohm_signs)),
    )
    for name, (part, whole) in RATIOS.items():
        asked[name] = asked[whole] | asked[part]
    ratios = ratio_values(readings)
    resistive = readings["kind"].ne("contactless").to_numpy()
    row, values, doubts = {}, [], []
    for name in SENSOR_READINGS:
        value = (ratios if name in RATIOS else readings)[name].to_numpy()
        read = np.isfinite(value)
        row[name] = np.flatnonzero(read & resistive if name in _RESISTANCES else read)
        values.append(value[row[name]])
        doubts.append(same_text("", len(row[name])).with_questions(row[name], asked[name]))
    rows = np.concatenate(list(row.values()))
    keys = {key: category_of(readings[key], rows) for key in ("session_id", "sensor_id", "part_no")}
    long = {
        "reading": category([same_text(name, len(some)) for name, some in row.items()]),
        "unit": category([same_text(unit_of(name), len(some)) for name, some in row.items()]),
        "value": np.concatenate(values),
        "doubt": category(doubts),
    }
    return check_coded(READING_VALUES, pd.DataFrame(keys | long))


def _signs_by_part(readings: pd.DataFrame, known: Mapping[str, int] | None) -> np.ndarray:
    known = signs_by_majority(readings) if known is None else known
    which, parts = pd.factorize(readings["part_no"])
    return np.array([known.get(part, 0) for part in parts], dtype=int)[which]


def learn_bands(
    good: pd.DataFrame,
    *,
    coverage: float = 0.95,
    confidence: float = 0.95,
    min_sensors: int = 5,
    families: Mapping[str, str] | None = None,
    kinds: Mapping[str, str] | None = None,
    meter_reach: Mapping[str, float] = METER_REACH,
) -> pd.DataFrame:
    """Learn the good range of each part number and reading.

    Parameters
    ----------
    good : DataFrame
        GOOD_READINGS, one value a sensor and reading.
    coverage, confidence : float
        Share of good sensors inside, and how sure of that.
    min_sensors : int
        Fewest sensors for any range; below it the limits stay blank and the method says so.
    families : mapping of part number to family, optional
        Parts that supersede one another. Where a part number has too few sensors of its own, a
        ratio (never volts or ohms) is learned over its family, and the method says so.
    kinds : mapping of part number to kind, optional
        The same where the family has too few as well.
    meter_reach : mapping of unit to float
        Least half-width of a learned range; a range widened to it says so.

    Returns
    -------
    DataFrame
        BANDS, one row a part number and reading in `good`, two-sided except `UPPER_LIMIT_ONLY`.

    Raises
    ------
    FrameError
        A sensor has two values of one reading, or a value is not finite.
    """
    good = _checked(GOOD_READINGS.check(good))
    settings = (coverage, confidence, min_sensors)
    rows = []
    for (part_no, reading), own in good.groupby(["part_no", "reading"], sort=True):
        used, pooled = own, ""
        if reading in RATIOS or reading in UPPER_LIMIT_ONLY:  # shares of the supply or the track
            same = good[good["reading"] == reading]
            used, pooled = groups_for(same, own, min_sensors, families, kinds)
        band = _one_band(np.sort(used["value"].to_numpy()), reading, *settings)
        band = _widened(band, meter_reach.get(unit_of(reading), 0.0), unit_of(reading))
        band["method"] += pooled
        rows.append({"part_no": part_no, "reading": reading, "unit": unit_of(reading), **band})
    return BANDS.check(pd.DataFrame(rows, columns=BANDS.names)) if rows else BANDS.empty()


def groups_for(
    good: pd.DataFrame,
    own: pd.DataFrame,
    min_sensors: int,
    families: Mapping[str, str] | None,
    kinds: Mapping[str, str] | None,
) -> tuple[pd.DataFrame, str]:
    """The sensors to learn from: the part's own; too few, its family's; then those of its kind.

    ``own`` are the rows of one part number within ``good``. The words say what was pooled.
    """
    part_no = own["part_no"].iloc[0]
    for grouping, related in ((families, "related part numbers"), (kinds, "parts of its kind")):
        if own["sensor_id"].nunique() >= min_sensors:
            break
        group_of = dict(grouping or {})
        if part_no not in group_of:
            continue
        wider = good[good["part_no"].map(group_of) == group_of[part_no]]
        if wider["sensor_id"].nunique() >= min_sensors:
            return wider, f"; pooled over {wider['part_no'].nunique()} {related}"
    return own, ""


def _checked(good: pd.DataFrame) -> pd.DataFrame:
    twice = good.duplicated(["part_no", "sensor_id", "reading"])
    if twice.any():
        first = good[twice].iloc[0]
        raise FrameError(
            f"good_readings: sensor {first['sensor_id']} has two values of {first['reading']}, "
            "one value a sensor is expected"
        )
    if not np.isfinite(good["value"]).all():
        row = good.index[~np.isfinite(good["value"])][0]
        raise FrameError(f"good_readings.value: not finite at row {row}, a number is required")
    return good.reset_index(drop=True)


def _one_band(
    values: np.ndarray, reading: str, coverage: float, confidence: float, min_sensors: int
) -> dict:
    """Limits, method and counts from sorted values of one reading."""
    sides = 1 if reading in UPPER_LIMIT_ONLY else 2
    shares = {"coverage": coverage, "confidence": confidence}
    n = len(values)
    needed = sample_size_needed(sides=sides, **shares)
    gaps = trimmed_gaps(n, sides=sides, **shares)
    promise = f"{100 * coverage:g} in 100 good sensors, {100 * confidence:g} % confidence"
    low = high = np.nan
    if n < min_sensors:
        method = f"no range: {_sensors(n)} known, at least {min_sensors} needed"
    elif gaps:
        low, high = values[gaps - 1], values[n - gaps]
        method = f"learned from {_sensors(n)} by rank, no curve assumed ({promise})"
    elif np.ptp(values) == 0:
        method = f"no range: all {n} good sensors read the same, the spread is not known"
    else:
        low, high = _normal_limits(values, sides, shares)
        method = f"learned from {_sensors(n)}, normal curve assumed ({promise}); " + (
            f"{needed - n} more needed for a range without that assumption"
        )
    return {
        "low": np.nan if sides == 1 else low,
        "high": high,
        "source": "learned",
        "method": method,
        "sensor_count": n,
        "more_needed": max(0, needed - n),
    }


def _sensors(n: int) -> str:
    return f"{n} good sensor" if n == 1 else f"{n} good sensors"


def _widened(band: dict, reach: float, unit: str) -> dict:
    """At least the meter's reach to either side of the middle, where both limits are known."""
    middle = (band["low"] + band["high"]) / 2
    least = reach * abs(middle) if unit == "ohm" else reach
    if not band["high"] - band["low"] < 2 * least:
        return band
    method = f"{band['method']}; widened to what a workshop meter tells apart"
    return band | {"low": middle - least, "high": middle + least, "method": method}


def _normal_limits(values: np.ndarray, sides: int, shares: dict) -> tuple[float, float]:
    factor = one_sided_factor if sides == 1 else two_sided_factor
    half_width = factor(len(values), **shares) * values.std(ddof=1)
    return values.mean() - half_width, values.mean() + half_width


def with_maker_limits(bands: pd.DataFrame, parts: pd.DataFrame) -> pd.DataFrame:
    """Put the maker's limits of the closed and open signal above the learned ones.

    Parameters
    ----------
    bands : DataFrame
        BANDS.
    parts : DataFrame
        part_no with maker_closed_v_low, maker_closed_v_high, maker_open_v_low, maker_open_v_high
        and supply_nominal_v (V, each may be blank); READINGS will do.

    Returns
    -------
    DataFrame
        BANDS. Each side that the maker names is the maker's; the other side stays as learned,
        unless the two contradict each other. Where the nominal supply is known the ratios follow.
    """
    known = {(b["part_no"], b["reading"]): b for b in BANDS.check(bands).to_dict("records")}
    for part in parts.drop_duplicates("part_no").to_dict("records"):
        for end in ("closed", "open"):
            limits = np.array([part[f"maker_{end}_v_{side}"] for side in ("low", "high")], float)
            _place(known, part["part_no"], f"{end}_v", limits, "maker's limits")
            ratio = limits / part["supply_nominal_v"]
            _place(known, part["part_no"], f"{end}_ratio", ratio, "maker's limits over the supply")
    return BANDS.check(pd.DataFrame(list(known.values()), columns=BANDS.names))


def _place(known: dict, part_no: str, reading: str, maker: np.ndarray, words: str) -> None:
    """Set the maker's sides of one band in place."""
    given = np.isfinite(maker)
    if not given.any():
        return
    old = known.get((part_no, reading), {})
    learned = np.array([old.get("low", np.nan), old.get("high", np.nan)], float)
    limits = np.where(given, maker, learned)
    if limits[0] > limits[1]:
        limits = maker
    kept = np.isfinite(limits) & ~given
    if kept.any():
        words += f"; {'lower' if kept[0] else 'upper'} limit {old['method']}"
    known[part_no, reading] = {
        "part_no": part_no,
        "reading": reading,
        "unit": unit_of(reading),
        "low": limits[0],
        "high": limits[1],
        "source": "maker",
        "method": words,
        "sensor_count": old.get("sensor_count", 0),
        "more_needed": old.get("more_needed"),
    }
