"""Which part, duty or pair of them a test belongs to, as columns of a design."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Group:
    """One set of departures: its key columns, its levels, the rows of beta that hold them."""

    keys: tuple[str, ...]
    levels: tuple[str, ...]
    level: slice
    slope: slice


def text(values: pd.Series) -> np.ndarray:
    """Values as text, blank as an empty string."""
    return values.astype("object").where(values.notna(), "").to_numpy(dtype=object)


def joined(X: pd.DataFrame, keys: tuple[str, ...]) -> np.ndarray:
    """Value of each row, blank where one of the keys is blank."""
    parts = [text(X[name]) for name in keys]
    blank = np.any([part == "" for part in parts], axis=0)
    joined = parts[0]
    for part in parts[1:]:
        joined = joined + "\x1f" + part
    return np.where(blank, "", joined)


def levels_of(X: pd.DataFrame, keys: tuple[str, ...]) -> tuple[str, ...]:
    """Distinct values in order, blanks left out."""
    found = joined(X[list(keys)].drop_duplicates(), keys)  # few, where rows are many
    return tuple(sorted({v for v in found if v != ""}))


def one_hot(X: pd.DataFrame, group: Group) -> np.ndarray:
    """Row of each test; a value never seen, or blank, has none: it follows what holds it."""
    at = pd.Index(group.levels, dtype=object).get_indexer(joined(X, group.keys))
    out = np.zeros((len(X), len(group.levels)))
    out[np.flatnonzero(at >= 0), at[at >= 0]] = 1.0
    return out
