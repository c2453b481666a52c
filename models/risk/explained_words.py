"""What moves a sensor's chance from the middle one, in words with their numbers."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pandas as pd
from scipy.stats import norm

_SIGN_WORDS = {"fail": "failed", "suspect": "was suspect", "dropouts_seen": "showed drop-outs"}
#: Columns of the sensor's own values and of the middle ones, by name, as plain values.
_Values = dict[str, list]


def told_rows(
    sensors: pd.DataFrame,
    own: pd.DataFrame,
    middle: pd.DataFrame,
    changes: np.ndarray,
    told: tuple[str, ...],
) -> pd.DataFrame:
    """Rows of some sensors in their order: the middle, then the factors, the largest share first.

    Parameters
    ----------
    sensors, own, middle : frames of shape (n, ...)
        The sensors, their own values and the middle ones.
    changes : array of shape (n, told or more)
        The middle one's chance, and the share of each factor.
    told : tuple of str
        What each column of ``changes`` is.
    """
    values = _plain(own)
    of_middle = _plain(middle[["age_now_km", "since_test"]]) | _plain(sensors[["part_no"]])
    words = [_WORDS[name](values, of_middle) for name in told]
    size = np.abs(changes[:, 1 : len(told)])
    order = np.argsort(-size, axis=1, kind="stable") + 1
    column = np.hstack([np.zeros((len(order), 1), dtype=int), order]).ravel()
    row = np.repeat(np.arange(len(sensors)), len(told))
    return pd.DataFrame(
        {
            "sensor_id": sensors["sensor_id"].array.take(row),
            "factor": np.array(told, dtype=object)[column],
            "change": changes[row, column],
            "words": np.array(words, dtype=object)[column, row],
        }
    )


def _plain(frame: pd.DataFrame) -> _Values:
    """Columns as lists, a blank being None or unlike itself; a moment is told by its day."""
    return {
        # numpy makes plain days of moments in a tenth of the time that pandas takes over its own
        name: column.to_numpy().astype("datetime64[D]").tolist()
        if column.dtype.kind == "M"
        else column.astype(object).tolist()
        for name, column in frame.items()
    }


def _middle_words(own: _Values, middle: _Values) -> list[str]:
    rows = zip(middle["part_no"], _km(middle["age_now_km"]), strict=True)
    return [f"a middling sensor of part {part}: {old} old" for part, old in rows]


def _age_words(own: _Values, middle: _Values) -> list[str]:
    unseen = " since it was first seen, its age before not known"
    rows = zip(_km(own["age_now_km"]), own["age_known"], _km(middle["age_now_km"]), strict=True)
    return [
        f"{run} run{'' if known else unseen}, {usual} being the middle"
        for run, known, usual in rows
    ]


def _test_words(own: _Values, middle: _Values) -> list[str]:
    ago, usual = _km(own["since_test"]), _km(middle["since_test"])
    return [
        f"last good test {one} ago, {other} usual"
        if tested
        else "no test has found it without the defect"
        for tested, one, other in zip(_known(own["since_test"]), ago, usual, strict=True)
    ]


def _silence_words(own: _Values, middle: _Values) -> list[str]:
    since = own["since_contact"]
    return [
        f"last odometer reading or other contact {ago} ago"
        if seen
        else "not known until when nothing was heard of it"
        for seen, ago in zip(_known(since), _km(since), strict=True)
    ]


def _season_words(own: _Values, middle: _Values) -> list[str]:
    return _each(_of_season, own["now_on"])


def _of_season(now_on: date | None) -> str:
    if now_on is None:
        return "the season, which is not known of its km"
    return f"the season in which its last km were run, until {now_on.day} {now_on:%B}"


def _sign_words(own: _Values, middle: _Values) -> list[str]:
    return _each(_of_sign, own["last_verdict"], own["last_conclusion"], own["last_band"])


def _of_sign(verdict: object, conclusion: object, band: object) -> str:
    said = " and ".join(filter(None, map(_SIGN_WORDS.get, (verdict, conclusion))))
    if not said:
        return "no sign of a defect in its last test"
    worn = pd.notna(band) and band
    return f"last test {said}{', with a worn band in its sweep' if worn else ''}"


def _riding_words(own: _Values, middle: _Values) -> list[str]:
    duty = _each(lambda name: "duty not known" if pd.isna(name) else f"duty {name}", own["duty"])
    shop = _each(lambda name: "" if pd.isna(name) else f", shop {name}", own["shop_id"])
    km_per_day = own["km_per_day"]
    pace = [
        f", {km:,.0f} km a day" if known else ""
        for known, km in zip(_known(km_per_day), km_per_day, strict=True)
    ]
    return [f"{one}{two}{three}" for one, two, three in zip(duty, pace, shop, strict=True)]


def _repair_words(own: _Values, middle: _Values) -> list[str]:
    return _each(_of_repairs, own["repaired"], own["earlier_repairs"])


def _of_repairs(repaired: object, earlier: object) -> str:
    said = "cleaned after a fault" if repaired else "not cleaned before"
    count = 0 if pd.isna(earlier) else int(earlier)  # type: ignore[call-overload]
    if not count:
        return said
    return f"{said}, {count} other repair{'' if count == 1 else 's'} at this sensor before"


def _reading_words(own: _Values, middle: _Values) -> list[str]:
    share = np.floor(100 * norm.cdf(np.nan_to_num(np.array(own["score"], dtype=float))))
    rougher = np.clip(share, 1, 99).astype(int).tolist()
    return [
        f"its sweeps and checks, the last sweep rougher than {count} in 100 of all sweeps"
        if told
        else "no sweep that tells its roughness, or too few on record to learn from"
        for told, count in zip(_known(own["score"]), rougher, strict=True)
    ]


def _km(values: list) -> list[str]:
    return [
        f"{max(km, 0.0):,.0f} km" if known else "unknown km"
        for known, km in zip(_known(values), values, strict=True)
    ]


def _known(numbers: list) -> list[bool]:
    return (~np.isnan(np.array(numbers, dtype=float))).tolist()


def _each(word: Callable[..., str], *columns: list) -> list[str]:
    """Words of each row, put together once for equal rows."""
    rows = list(zip(*columns, strict=True))
    said = {row: word(*row) for row in set(rows)}
    return [said[row] for row in rows]


#: What is said of each factor, given the sensors' own values and the middle ones.
_WORDS = {
    "middle": _middle_words,
    "age": _age_words,
    "riding": _riding_words,
    "repair": _repair_words,
    "test": _test_words,
    "silence": _silence_words,
    "reading": _reading_words,
    "sign": _sign_words,
    "season": _season_words,
}
