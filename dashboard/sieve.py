"""The worklist's filters, order, leaves of a long list and export, apart from any page."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from dashboard.wording.answer_words import STATES
from dashboard.words import ACTIONS, MOUNTS
from pipeline.intake.harmless import harmless

ROWS_A_LEAF = 25
PRIVATE, NO_DUTY = "no fleet", "duty not known"

# Words for the reader: (column, whether the greatest comes first).
ORDERS = {
    "Most pressing": ("urgency", False),
    "Chance of a defect now": ("defect_now", False),
    "Chance of a defect within 5,000 km": ("defect_5000_km", False),
    "Farthest run since a test": ("km_since_test", False),
    "Longest since a test": ("last_tested_on", True),
    "Bike": ("label", True),
}

# Every number of the export carries its unit in its name.
_EXPORT_NAMES = {"urgency": "urgency_rank", "km_since_test": "since_test_km"}
_CHANCES = "defect_"


@dataclass(frozen=True)
class Sieve:
    """What the reader asked for; an empty choice lets everything through."""

    words: str = ""
    actions: tuple[str, ...] = ()
    shops: tuple[str, ...] = ()
    fleets: tuple[str, ...] = ()
    duties: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    order: str = next(iter(ORDERS))
    chosen: bool = field(init=False)

    def __post_init__(self) -> None:
        chosen = (self.actions, self.shops, self.fleets, self.duties, self.answers)
        object.__setattr__(self, "chosen", any(map(bool, (self.words.strip(), *chosen))))


def address(asked: Sieve, leaf_number: int) -> dict[str, str | list[str]]:
    """What the filters are called in the page's address; those at rest are left out."""
    whole = {
        "find": asked.words.strip(),
        "action": list(asked.actions),
        "shop": list(asked.shops),
        "fleet": list(asked.fleets),
        "duty": list(asked.duties),
        "answer": list(asked.answers),
        "order": "" if asked.order == Sieve.order else asked.order,
        "leaf": "" if leaf_number == 1 else str(leaf_number),
    }
    return {name: value for name, value in whole.items() if value}


def shop_names(rows: pd.DataFrame) -> pd.Series:
    """A name for each row's shop; two shops of one name are told apart by their identifiers."""
    shops = rows[["shop_id", "shop_name"]].drop_duplicates()  # few, however many the rows
    shared = shops["shop_name"][shops["shop_name"].duplicated()]
    alone = ~rows["shop_name"].isin(shared)
    return rows["shop_name"].where(alone, rows["shop_name"] + " (" + rows["shop_id"] + ")")


def choices(rows: pd.DataFrame) -> dict[str, list[str]]:
    """What can be chosen for each filter, in the order shown."""
    return {
        "action": list(ACTIONS.values()),
        "shop": sorted(set(shop_names(rows))),
        "fleet": sorted(set(_filled(rows["fleet_id"], PRIVATE))),
        "duty": sorted(set(_filled(rows["duty"], NO_DUTY))),
        "answer": list(STATES.values()),
    }


def sieved(rows: pd.DataFrame, asked: Sieve) -> pd.DataFrame:
    """The rows asked for, in the order asked for; ties by bike and mount."""
    keep = pd.Series(True, index=rows.index)
    for column, wanted in (
        (lambda: rows["action"].map(ACTIONS), asked.actions),
        (lambda: shop_names(rows), asked.shops),
        (lambda: _filled(rows["fleet_id"], PRIVATE), asked.fleets),
        (lambda: _filled(rows["duty"], NO_DUTY), asked.duties),
        (lambda: _filled(rows["answer"], "none").map(STATES), asked.answers),
    ):
        if wanted:  # else nothing is worked out of all those rows
            keep &= column().isin(wanted)
    for word in asked.words.casefold().split():
        keep &= _searched(rows).str.contains(word, regex=False)
    column, rising = ORDERS[asked.order]
    return rows[keep].sort_values(
        [column, "label", "unit_id", "mount"],
        ascending=[rising, True, True, True],
        na_position="last",
    )


def _filled(values: pd.Series, words: str) -> pd.Series:
    return values.where(values.notna() & values.ne(""), words)


def _searched(rows: pd.DataFrame) -> pd.Series:
    """The text looked through: who the bike and the sensor are."""
    mount = rows["mount"].map(MOUNTS).fillna(rows["mount"])
    parts = [rows["label"], rows["unit_id"], rows["sensor_id"], rows["model_code"], mount]
    return parts[0].str.cat([*parts[1:], rows["part_no"]], sep=" ", na_rep="").str.casefold()


def leaf_count(row_count: int) -> int:
    """How many leaves the rows fill, at least one."""
    return max(1, -(-row_count // ROWS_A_LEAF))


def leaf(rows: pd.DataFrame, number: int) -> pd.DataFrame:
    """The rows of one leaf, counted from 1; the last one where there are fewer."""
    number = min(max(number, 1), leaf_count(len(rows)))
    return rows.iloc[(number - 1) * ROWS_A_LEAF : number * ROWS_A_LEAF]


def tally(rows: pd.DataFrame) -> dict[str, int]:
    """How many sensors there are of each action, none left out."""
    found = rows["action"].value_counts()
    return {action: int(found.get(action, 0)) for action in ACTIONS}


def exported(rows: pd.DataFrame) -> bytes:
    """CSV of the rows as filtered, every number's unit in its column's name."""
    names = {name: f"chance_of_{name}_0_to_1" for name in rows.columns if name.startswith(_CHANCES)}
    return csv(rows.rename(columns=_EXPORT_NAMES | names))


def csv(rows: pd.DataFrame) -> bytes:
    """CSV in UTF-8; text that a spreadsheet would run as a formula is set in front of by ``'``."""
    safe = rows.copy()
    for name in safe.columns:
        if isinstance(
            safe[name].dtype, (pd.StringDtype, pd.CategoricalDtype, np.dtypes.ObjectDType)
        ):
            safe[name] = safe[name].astype(object).map(_harmless)
    return safe.to_csv(index=False, date_format="%Y-%m-%d").encode("utf-8-sig")


def _harmless(value: object) -> object:
    return harmless(value) if isinstance(value, str) else value
