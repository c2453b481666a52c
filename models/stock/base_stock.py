"""How many parts to have on hand and due: for a share filled at once, or for least cost.

An order placed now is on the shelf after the lead time L and must do until the next one is, after
the review period R more. With D(t) the parts asked for within t days and B(t, S) = E[(D(t) - S)+],
the parts asked for in that review cycle and not handed over at once are

    missed(S) = B(L + R, S) - B(L, S),        filled share = 1 - missed(S) / (E D(L + R) - E D(L))

(Axsäter, Inventory Control, 3rd ed. 2015, sec. 5.3 and 5.11; Silver, Pyke & Peterson, Inventory
Management, 3rd ed. 1998, sec. 7.9; both from memory). Without a lead time this is the common
1 - E[(D - S)+] / E[D]; with one, that ratio taken over L + R would spread the shortages of one
cycle over the needs of several, and promise too much. Parts due on a day between L and L + R count
from that day on, so that the cycle is cut in two there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.stock.counts import CountDistribution, value_at
from models.stock.settings import DAYS_A_YEAR

#: Rounding forgiven where a target is just met.
_CLOSE = 1e-12


@dataclass(frozen=True)
class ReviewCycle:
    """Needs up to three days ahead, and the parts there by then if nothing is ordered.

    Attributes
    ----------
    needs : CountDistribution of shape (groups, 3)
        Parts asked for by the end of the lead time, by the day on which parts are due within the
        cycle (else the same), and by the end of the review period after it.
    there_early, there_late : arrays of shape (groups,)
        Parts on hand or arriving up to the first, and up to the last.
    """

    needs: CountDistribution
    there_early: np.ndarray
    there_late: np.ndarray

    def missed(self, more: np.ndarray) -> np.ndarray:
        """Parts missed in the cycle with so many ``more`` from its beginning, shape (groups, m).

        ``more`` of shape (m,) or (groups, m) may be negative: parts given away.
        """
        back = self.needs.back_orders
        early = self.there_early[:, None] + more
        late = self.there_late[:, None] + more
        lead, due, end = (
            _at(back[:, i], level, self.needs.mean[:, i])
            for i, level in enumerate((early, early, late))
        )
        before_end = _at(back[:, 1], late, self.needs.mean[:, 1])
        return np.maximum(due - lead, 0) + np.maximum(end - before_end, 0)

    @property
    def cycle_mean(self) -> np.ndarray:
        """Parts asked for in the cycle."""
        return self.needs.mean[:, 2] - self.needs.mean[:, 0]

    def filled(self, more: np.ndarray) -> np.ndarray:
        """Share of them handed over at once; 1 where nothing is asked for."""
        mean = self.cycle_mean[:, None]
        missed = self.missed(more)
        return np.where(mean > 0, 1 - missed / np.maximum(mean, 1e-300), 1.0)

    def short(self, more: np.ndarray, at: int = 2) -> np.ndarray:
        """Chance that a need is unmet by the first (``at`` 0) or last day, 1 - P(D <= S)."""
        there = self.there_early if at == 0 else self.there_late
        level = there[:, None] + more
        cdf = self.needs.cdf[:, at]
        return np.where(level < 0, 1.0, 1 - _at(cdf, np.maximum(level, 0), np.zeros(len(cdf)), 1.0))


def _at(table: np.ndarray, level: np.ndarray, mean: np.ndarray, beyond: float = 0.0) -> np.ndarray:
    """Table values at levels of shape (groups, m); below 0, each part lacking adds one."""
    level = np.broadcast_to(level, (len(table), np.shape(level)[-1]))
    wide = np.broadcast_to(table[:, None, :], (*level.shape, table.shape[-1]))
    found = value_at(wide, np.maximum(level, 0), beyond)
    return np.where(level < 0, mean[:, None] - level, found)


def least_for_share(cycle: ReviewCycle, target: float, pack_size: np.ndarray) -> np.ndarray:
    """Least number of packs to add so that the filled share reaches the target.

    Parameters
    ----------
    cycle : ReviewCycle of n groups
        Needs and the parts there.
    target : float
        Share to be filled, below 1.
    pack_size : array of shape (n,)
        Parts in a pack.

    Returns
    -------
    array of whole numbers, shape (n,)
    """
    # at the highest level nothing is missed
    return np.argmax(cycle.filled(_additions(cycle, pack_size)) >= target - _CLOSE, axis=1)


def _additions(cycle: ReviewCycle, pack_size: np.ndarray) -> np.ndarray:
    """Parts in 0, 1, 2, ... packs, up to more than can be asked for, shape (groups, m)."""
    gone = max(0, -int(np.min(cycle.there_early, initial=0)))
    many = -(-(cycle.needs.pmf.shape[-1] + gone) // int(np.min(pack_size, initial=1)))
    return np.asarray(pack_size)[:, None] * np.arange(many + 1)


def least_for_costs(
    cycle: ReviewCycle,
    unit_price: np.ndarray,
    *,
    review_days: float,
    holding_cost_share_per_year: float,
    shortage_cost: float,
    pack_size: np.ndarray,
) -> np.ndarray:
    """Number of packs to add at which the cycle costs least, shape (groups,).

    The cost is that of ``cycle_cost``. Where there is no lead time, the level is the newsvendor's:
    the least S with P(D <= S) >= shortage / (shortage + holding).
    """
    keep = holding_of(unit_price, review_days, holding_cost_share_per_year)
    cost = cycle_cost(cycle, _additions(cycle, pack_size), keep, shortage_cost)
    return np.argmin(np.round(cost, 9), axis=1)


def cycle_cost(
    cycle: ReviewCycle, more: np.ndarray, keep: np.ndarray, shortage_cost: float
) -> np.ndarray:
    """Cost of the cycle with so many parts more, shape (groups, m).

    Holding of what is left at its end, E[(S - D)+] = S - E D + B, at ``keep`` a part, shape
    (groups,), and each part missed.
    """
    level = cycle.there_late[:, None] + more
    back = _at(cycle.needs.back_orders[:, 2], level, cycle.needs.mean[:, 2])
    left = level - cycle.needs.mean[:, 2:3] + back
    return keep[:, None] * left + shortage_cost * cycle.missed(more)


def holding_of(unit_price: np.ndarray, days: float, share_per_year: float) -> np.ndarray:
    """Cost of keeping one part for so many days."""
    return np.asarray(unit_price, float) * share_per_year * days / DAYS_A_YEAR


def newsvendor_level(needs: CountDistribution, under: float, over: float) -> np.ndarray:
    """Least S with P(D <= S) >= under / (under + over), for whole numbers of parts.

    Parameters
    ----------
    needs : CountDistribution
        Parts asked for in the one period.
    under, over : float
        Cost of a part too few and of one too many (Arrow, Harris & Marschak, Econometrica 19
        (1951) 250; from memory).
    """
    return needs.quantile(under / (under + over))


def base_stock_for_share(needs: CountDistribution, target: float) -> np.ndarray:
    """Least S with 1 - E[(D - S)+] / E[D] of at least the target: a cycle without a lead time."""
    share = 1 - needs.back_orders / np.maximum(needs.mean, 1e-300)[..., None]
    return np.argmax((share >= target - _CLOSE) | (needs.mean <= 0)[..., None], axis=-1)
