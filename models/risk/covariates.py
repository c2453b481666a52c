"""Columns for what stays the same through a life: part, duty, shop, riding, earlier repairs.

Each column is multiplied by the standard deviation expected of its coefficient, so that one ridge
penalty of 1 on all coefficients is the stated normal prior of each: groups with few defects are
drawn to the common curve (partial pooling).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, TransformerMixin
from sklearn.utils.validation import check_is_fitted

from models.risk.assumed import EARLIER_SD, GROUP_SD, REPAIRED_SD, RIDING_SD

GROUPS = ("part_no", "duty", "shop_id")
#: Stands for a blank; never a category, so a blank has the common hazard.
_BLANK = ""
#: Steps in which riding is told apart, standard deviations of log km a day, and the furthest.
_RIDING_STEP, _RIDING_MOST = 0.5, 2.0
#: More earlier repairs than this count as so many.
_MOST_REPAIRS = 2


class LifeColumns(TransformerMixin, BaseEstimator):
    """One column a part, duty and shop, and one each for a cleaned life, riding, earlier repairs.

    A blank, a group never seen in the fit or an absent column has the common hazard.

    Parameters
    ----------
    group_sd, repaired_sd, riding_sd, earlier_sd : float
        Standard deviations of the coefficients on the log hazard.
    """

    def __init__(
        self,
        group_sd: float = GROUP_SD,
        repaired_sd: float = REPAIRED_SD,
        riding_sd: float = RIDING_SD,
        earlier_sd: float = EARLIER_SD,
    ):
        self.group_sd = group_sd
        self.repaired_sd = repaired_sd
        self.riding_sd = riding_sd
        self.earlier_sd = earlier_sd

    def fit(self, X: pd.DataFrame, y: object = None) -> LifeColumns:
        """Take up the groups and the spread of km a day found in the lives ``X``."""
        self.groups_ = {name: np.unique(_told(_group(X, name))) for name in GROUPS}
        pace = _log_pace(X)
        seen = pace[np.isfinite(pace)]
        self.middle_pace_ = float(np.median(seen)) if seen.size else 0.0
        self.pace_sd_ = float(seen.std()) if seen.size > 1 else 0.0
        return self

    @property
    def usual_pace(self) -> float:
        """Median km a day of the lives fitted to, 0 where that of none is known."""
        return float(np.exp(self.middle_pace_)) if self.middle_pace_ else 0.0

    def transform(self, X: pd.DataFrame) -> np.ndarray:
        """Columns of each life, shape (n, columns)."""
        check_is_fitted(self)
        hot = [_one_hot(_group(X, name), self.groups_[name]) * self.group_sd for name in GROUPS]
        scale = (self.repaired_sd, self.riding_sd, self.earlier_sd)
        return np.hstack([*hot, np.column_stack(self._others(X)) * scale])

    def coded(self, X: pd.DataFrame) -> pd.DataFrame:
        """What the columns tell apart; equal rows have equal columns."""
        check_is_fitted(self)
        repaired, riding, earlier = self._others(X)
        groups = {name: _group(X, name) for name in GROUPS}
        others = {"repaired": repaired, "riding": riding, "earlier": earlier}
        return pd.DataFrame(groups | others, index=X.index)

    def _others(self, X: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Whether cleaned, riding in steps, and earlier repairs, of each life."""
        pace = (_log_pace(X) - self.middle_pace_) / (self.pace_sd_ or np.inf)
        riding = np.clip(np.round(pace / _RIDING_STEP) * _RIDING_STEP, -_RIDING_MOST, _RIDING_MOST)
        repaired = X["repaired"].astype("boolean").fillna(False).to_numpy(dtype=float)
        earlier = np.minimum(np.nan_to_num(_number(X, "earlier_repairs")), _MOST_REPAIRS)
        return repaired, np.nan_to_num(riding) + 0.0, earlier

    def patterns(self, X: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
        """Places of the first row of each distinct pattern, and the pattern number of each row."""
        coded = self.coded(X).reset_index(drop=True)
        number = coded.groupby(list(coded.columns), sort=True).ngroup().to_numpy()
        return np.unique(number, return_index=True)[1], number


def _group(frame: pd.DataFrame, name: str) -> np.ndarray:
    """Names of one grouping as text, blank where not known."""
    if name not in frame:
        return np.full(len(frame), _BLANK, dtype=object)
    values = frame[name].to_numpy(dtype=object)
    return np.where(pd.isna(values), _BLANK, values)


def _told(names: np.ndarray) -> np.ndarray:
    return names[names != _BLANK].astype(str)


def _one_hot(names: np.ndarray, known: np.ndarray) -> np.ndarray:
    """A column a known name; all nought for a blank or a name never seen."""
    place = pd.Index(known).get_indexer(pd.Index(names, dtype=object))
    return np.vstack([np.eye(len(known)), np.zeros(len(known))])[place]


def _log_pace(frame: pd.DataFrame) -> np.ndarray:
    pace = _number(frame, "km_per_day")
    return np.log(np.where(pace > 0, pace, np.nan))


def _number(frame: pd.DataFrame, name: str) -> np.ndarray:
    if name not in frame:
        return np.full(len(frame), np.nan)
    return frame[name].astype("float64").to_numpy()
