"""Readings that look miswritten: wrong unit, lost decimal point, exchanged, not a number.

Such a reading is asked about and never corrected: each function returns the question to put to
the technician, blank where there is none. All limits here are common practice without a source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from models.statics.wording import shown

#: By reading (keys of `UNITS`) the questions, by the place of the bench test; few are asked about.
Questions = dict[str, dict[int, str]]

UNITS = {
    "supply_v": "V",
    "supply_to_ground_v": "V",
    "closed_v": "V",
    "open_v": "V",
    "track_ohm": "ohm",
    "closed_ohm": "ohm",
    "open_ohm": "ohm",
    "closed_pct": "%",
    "open_pct": "%",
}
LABELS = {
    "supply_v": "Supply",
    "supply_to_ground_v": "Supply to the plug's ground pin",
    "closed_v": "Closed signal",
    "open_v": "Open signal",
    "track_ohm": "Track resistance",
    "closed_ohm": "Closed resistance",
    "open_ohm": "Open resistance",
    "closed_pct": "Control unit's closed figure",
    "open_pct": "Control unit's open figure",
    "closed_ratio": "Closed signal as a share of the supply",
    "open_ratio": "Open signal as a share of the supply",
    "closed_ohm_ratio": "Closed resistance as a share of the track",
    "open_ohm_ratio": "Open resistance as a share of the track",
}
PAIRS = {"V": ("closed_v", "open_v"), "ohm": ("closed_ohm", "open_ohm")}
PCT_PAIR = ("closed_pct", "open_pct")


@np.errstate(invalid="ignore", over="ignore")
def unit_doubts(
    readings: pd.DataFrame,
    *,
    highest_possible_v: float = 30.0,
    usual_supply_v: float = 5.0,
    lowest_track_ohm: float = 50.0,
    pct_possible: tuple[float, float] = (-20.0, 120.0),
) -> Questions:
    """Ask about each reading that cannot stand in its unit.

    Parameters
    ----------
    readings : DataFrame
        READINGS, one row a bench test.
    highest_possible_v : float
        More volts than a 12 V bike can show, charging or not.
    usual_supply_v : float
        Nominal supply where the part names none.
    lowest_track_ohm : float
        A track of fewer ohms would draw more than a reference supply gives: kilohms meant?
    pct_possible : tuple of float
        Per cent that a control unit may show.

    Returns
    -------
    Questions
    """
    asked: Questions = {name: {} for name in UNITS}
    nominal = readings["supply_nominal_v"].fillna(usual_supply_v).to_numpy()
    values = {name: readings[name].to_numpy(dtype=float) for name in UNITS}
    for name in ("supply_v", "supply_to_ground_v", *PAIRS["V"]):
        near = nominal if name.startswith("supply") else None
        _ask(asked, name, values[name] > highest_possible_v, _volt_question, values, near)
        _ask(asked, name, values[name] < -0.1, _negative_question, values)
    _ask_about_kilohms(asked, values, lowest_track_ohm)
    _ask_about_per_cent(asked, values, pct_possible)
    for name in UNITS:
        _ask(asked, name, np.isinf(values[name]), _endless_question, values)
    return asked


def first_question(*asked: Questions) -> Questions:
    """The first question asked of each reading."""
    out: Questions = {name: {} for name in UNITS}
    for later in asked:
        for name, questions in later.items():
            out[name] = questions | out[name]
    return out


def _ask(
    asked: Questions,
    name: str,
    where: np.ndarray,
    question: Callable[[str, float, float | None], str],
    values: dict[str, np.ndarray],
    near: np.ndarray | None = None,
) -> None:
    """Write question(name, value, near) for the bench tests named by `where`, shape (n,)."""
    for place in np.flatnonzero(where).tolist():
        beside = None if near is None else near[place]
        asked[name][place] = question(name, values[name][place], beside)


def _volt_question(name: str, value: float, near: float | None) -> str:
    start = f"{LABELS[name]} {shown(value, 'V')} is more than a bike can give: "
    for divisor, guess in ((1000, "is it in millivolts"), (100, "is the decimal point missing")):
        meant = value / divisor
        fits = abs(meant - near) < 0.2 * near if near else divisor == 1000 and meant < 20
        if fits:
            return f"{start}{guess} ({shown(meant, 'V')})?"
    return f"{start}what did the meter show?"


def _negative_question(name: str, value: float, _near: float | None) -> str:
    return (
        f"{LABELS[name]} {shown(value, UNITS[name])} is negative: were the meter's leads swapped?"
    )


def _endless_question(name: str, _value: float, _near: float | None) -> str:
    return f"{LABELS[name]} is not a finite number: what did the meter show, an open circuit?"


def _kilohm_question(name: str, value: float, _near: float | None) -> str:
    return (
        f"{LABELS[name]} {shown(value, 'ohm')} is very little: "
        f"is it in kilohms ({shown(1000 * value, 'ohm')})?"
    )


def _ask_about_kilohms(asked: Questions, values: dict, lowest_track_ohm: float) -> None:
    track = values["track_ohm"]
    small_track = (track >= 0.2) & (track < lowest_track_ohm)
    _ask(asked, "track_ohm", small_track, _kilohm_question, values)
    for name in PAIRS["ohm"]:
        value = values[name]
        beside_track = (value < track / 100) & (1000 * value <= 1.05 * track)
        alone = (np.isnan(track) & (value < 20)) | (small_track & (value < lowest_track_ohm))
        _ask(asked, name, (value >= 0.05) & (beside_track | alone), _kilohm_question, values)
    for name in ("track_ohm", *PAIRS["ohm"]):
        _ask(asked, name, values[name] < 0, _negative_question, values)


def _ask_about_per_cent(asked: Questions, values: dict, possible: tuple[float, float]) -> None:
    closed, opened = (values[name] for name in PCT_PAIR)
    as_share = (opened >= 0.5) & (opened <= 1.5) & (closed >= -0.5) & (closed <= 0.5)
    for name in PCT_PAIR:
        outside = (values[name] < possible[0]) | (values[name] > possible[1])
        _ask(asked, name, outside, _pct_question, values)
    _ask(asked, "open_pct", as_share & (opened > closed), _share_question, values)


def _pct_question(name: str, value: float, _near: float | None) -> str:
    return f"{LABELS[name]} {shown(value, '%')} cannot be: what did the control unit show?"


def _share_question(name: str, value: float, _near: float | None) -> str:
    return (
        f"{LABELS[name]} {value:g} % is next to nothing: "
        f"is it a share from 0 to 1 ({shown(100 * value, '%')})?"
    )


@np.errstate(invalid="ignore", over="ignore")
def order_doubts(
    readings: pd.DataFrame,
    volt_sign: np.ndarray,
    ohm_sign: np.ndarray,
    *,
    least_difference: float = 0.1,
) -> Questions:
    """Ask where closed and open stand the wrong way round.

    Parameters
    ----------
    readings : DataFrame
        READINGS.
    volt_sign, ohm_sign : array of shape (n,)
        +1 where open is expected above closed, -1 below, 0 where not known.
    least_difference : float
        Readings closer together than this share of the greater are not called exchanged.

    Returns
    -------
    Questions
        As `unit_doubts`; the same question stands with both readings of a pair.
    """
    asked: Questions = {name: {} for name in UNITS}
    for unit, sign in (("V", volt_sign), ("ohm", ohm_sign), ("%", np.ones(len(readings), int))):
        pair = PCT_PAIR if unit == "%" else PAIRS[unit]
        closed, opened = (readings[name].to_numpy(dtype=float) for name in pair)
        greater = np.maximum(np.abs(closed), np.abs(opened))
        apart = np.abs(opened - closed) > least_difference * greater
        wrong = apart & (np.sign(opened - closed) * sign < 0)
        for place in np.flatnonzero(wrong).tolist():
            question = _order_question(unit, pair, closed[place], opened[place], sign[place])
            for name in pair:
                asked[name][place] = question
    return asked


def _order_question(unit: str, pair, closed: float, opened: float, sign: int) -> str:
    start = (
        f"{LABELS[pair[0]]} {shown(closed, unit)} and "
        f"{LABELS[pair[1]][0].lower()}{LABELS[pair[1]][1:]} {shown(opened, unit)}"
    )
    usual = "rises" if sign > 0 else "falls"
    endings = {
        "V": f"where the output {usual} with opening: were the two exchanged, "
        "or is the part's output entered wrongly?",
        "ohm": f"where the resistance {usual} with opening: were the two exchanged, "
        "or taken to the other end pin?",
        "%": "stand the wrong way round: were the two exchanged?",
    }
    return f"{start}{' ' if unit == '%' else ', '}{endings[unit]}"


def signs_by_output(readings: pd.DataFrame) -> np.ndarray:
    """+1 where the part's output rises with opening, -1 where it falls, 0 where not known."""
    rising, falling = (readings["output"].eq(way).to_numpy(int) for way in ("rising", "falling"))
    return rising - falling


def signs_by_majority(
    readings: pd.DataFrame, *, least_count: int = 5, least_share: float = 0.8
) -> dict[str, int]:
    """Which way each part number's resistance goes, by what most of its tests show.

    The contract lets the shop choose the end pin, so the part's output does not tell. A part
    number is left out where fewer than `least_count` tests, or no share of `least_share`, agree.

    Parameters
    ----------
    readings : DataFrame
        part_no, closed_ohm and open_ohm of all bench tests; READINGS will do.
    least_count : int
        Fewest tests.
    least_share : float
        Share of them that must agree.
    """
    closed, opened = (readings[name] for name in PAIRS["ohm"])
    sign = np.sign(opened - closed).where(lambda s: s != 0)
    told = sign.groupby(readings["part_no"]).agg(["mean", "count"])
    clear = (told["count"] >= least_count) & (told["mean"].abs() >= 2 * least_share - 1)
    return np.sign(told.loc[clear, "mean"]).astype(int).to_dict()
