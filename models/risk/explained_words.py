"""What moves a sensor's chance from the middle one, in words with their numbers."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import norm

_SIGN_WORDS = {"fail": "failed", "suspect": "was suspect", "dropouts_seen": "showed drop-outs"}


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
    changes : array of shape (n, told)
        The middle one's chance, and the share of each factor.
    told : tuple of str
        What each column of ``changes`` is.
    """
    records = (own.to_dict("records"), middle.to_dict("records"), sensors["part_no"])
    values = list(zip(*records, strict=True))
    first, *rows = [_rows(sensors, name, changes[:, k], values) for k, name in enumerate(told)]
    return _in_order(first, pd.concat(rows))


def _rows(
    sensors: pd.DataFrame, name: str, change: np.ndarray, values: list[tuple[dict, dict, str]]
) -> pd.DataFrame:
    """One factor of each sensor, ``values`` its own, the middle ones and its part."""
    return pd.DataFrame(
        {
            "sensor_id": sensors["sensor_id"],
            "factor": name,
            "change": change,
            "words": [factor_words(name, *row) for row in values],
        }
    )


def _in_order(first: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """By sensor as handed in: the middle, then the factors, the largest share first."""
    place = pd.Series(range(len(first)), first["sensor_id"])
    table = pd.concat([first, rows], ignore_index=True)
    keys = {
        "place": table["sensor_id"].map(place),
        "later": table["factor"].ne("middle"),
        "size": -table["change"].abs(),
    }
    ordered = table.assign(**keys).sort_values(list(keys), kind="stable")
    return ordered.drop(columns=list(keys)).reset_index(drop=True)


def factor_words(name: str, own: dict, middle: dict, part_no: str) -> str:
    """A factor in words, by the sensor's own values and the middle ones."""
    if name == "middle":
        return f"a middling sensor of part {part_no}: {_km(middle['age_now_km'])} old"
    if name == "age":
        seen = "" if own["age_known"] else " since it was first seen, its age before not known"
        return f"{_km(own['age_now_km'])} run{seen}, {_km(middle['age_now_km'])} being the middle"
    if name in _BY_OWN:
        return _BY_OWN[name](own)
    if name == "test":
        if pd.isna(own["since_test"]):
            return "no test has found it without the defect"
        return f"last good test {_km(own['since_test'])} ago, {_km(middle['since_test'])} usual"
    if name == "silence":
        if pd.isna(own["since_contact"]):
            return "not known until when nothing was heard of it"
        return f"last odometer reading or other contact {_km(own['since_contact'])} ago"
    if name == "reading":
        return _reading_words(own["score"])
    return _sign_words(own)


def _season_words(own: dict) -> str:
    now_on = own["now_on"]
    if pd.isna(now_on):
        return "the season, which is not known of its km"
    return f"the season in which its last km were run, until {now_on.day} {now_on:%B}"


def _sign_words(own: dict) -> str:
    signs = [_SIGN_WORDS.get(own[k]) for k in ("last_verdict", "last_conclusion")]
    said = " and ".join(word for word in signs if word)
    if not said:
        return "no sign of a defect in its last test"
    worn = pd.notna(own["last_band"]) and own["last_band"]
    return f"last test {said}{', with a worn band in its sweep' if worn else ''}"


def _riding_words(own: dict) -> str:
    known = [
        "duty not known" if pd.isna(own["duty"]) else f"duty {own['duty']}",
        "" if pd.isna(own["km_per_day"]) else f"{own['km_per_day']:,.0f} km a day",
        "" if pd.isna(own["shop_id"]) else f"shop {own['shop_id']}",
    ]
    return ", ".join(words for words in known if words)


def _repair_words(own: dict) -> str:
    said = "cleaned after a fault" if own["repaired"] else "not cleaned before"
    count = 0 if pd.isna(own["earlier_repairs"]) else int(own["earlier_repairs"])
    if not count:
        return said
    return f"{said}, {count} other repair{'' if count == 1 else 's'} at this sensor before"


def _reading_words(score: float) -> str:
    if pd.isna(score):
        return "no sweep that tells its roughness, or too few on record to learn from"
    rougher = int(np.clip(np.floor(100 * norm.cdf(score)), 1, 99))
    return f"its sweeps and checks, the last sweep rougher than {rougher} in 100 of all sweeps"


def _km(value: float) -> str:
    return "unknown km" if pd.isna(value) else f"{max(value, 0.0):,.0f} km"


#: Factors that are told by the sensor's own values alone.
_BY_OWN = {"riding": _riding_words, "repair": _repair_words, "season": _season_words}
