"""The worklist's filters and order as a reader names them, leaves of a list, and export."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from dashboard.wording.answer_words import STATES
from dashboard.words import ACTIONS, MOUNTS
from pipeline.access.worklist_view import ROWS_A_LEAF, WorklistAsked, leaf_count
from pipeline.intake.harmless import harmless

PRIVATE, NO_DUTY = "no fleet", "duty not known"

# Words for the reader, and the column meant.
ORDERS = {
    "Most pressing": "urgency",
    "Chance of a defect now": "defect_now",
    "Chance of a defect within 5,000 km": "defect_5000_km",
    "Farthest run since a test": "km_since_test",
    "Longest since a test": "last_tested_on",
    "Bike": "label",
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
    """What can be chosen for each filter, in the order shown; ``rows`` WORKLIST_CHOICES."""
    return {
        "action": list(ACTIONS.values()),
        "shop": sorted(set(shop_names(rows))),
        "fleet": sorted(set(_filled(rows["fleet_id"], PRIVATE))),
        "duty": sorted(set(_filled(rows["duty"], NO_DUTY))),
        "answer": list(STATES.values()),
    }


def asked_of(asked: Sieve, offered: pd.DataFrame) -> WorklistAsked:
    """What is asked for, in the words of the records; ``offered`` WORKLIST_CHOICES."""
    named = zip(shop_names(offered), offered["shop_id"], strict=True)
    return WorklistAsked(
        words=tuple(asked.words.casefold().split()),
        actions=_meant(asked.actions, ACTIONS.items()),
        shops=_meant(asked.shops, ((shop, name) for name, shop in sorted(set(named)))),
        fleets=_or_blank(asked.fleets, PRIVATE),
        duties=_or_blank(asked.duties, NO_DUTY),
        answers=_meant(asked.answers, STATES.items()),
        ordered_by=ORDERS[asked.order],
        mount_words=tuple(MOUNTS.items()),
    )


def _meant(wanted: tuple[str, ...], words: Iterable[tuple[str, str]]) -> tuple[str, ...] | None:
    """The values whose words are among those wanted; None where none are, and all go through."""
    return tuple(value for value, said in words if said in wanted) if wanted else None


def _or_blank(wanted: tuple[str, ...], blank: str) -> tuple[str, ...] | None:
    return (*wanted, *([""] if blank in wanted else [])) or None


def _filled(values: pd.Series, words: str) -> pd.Series:
    return values.where(values.notna() & values.ne(""), words)


def leaf(rows: pd.DataFrame, number: int) -> pd.DataFrame:
    """The rows of one leaf, counted from 1; the last one where there are fewer."""
    number = min(max(number, 1), leaf_count(len(rows)))
    return rows.iloc[(number - 1) * ROWS_A_LEAF : number * ROWS_A_LEAF]


def tally(summary: Mapping[str, int]) -> dict[str, int]:
    """How many sensors there are of each action, none left out."""
    return {action: int(summary[action]) for action in ACTIONS}


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
