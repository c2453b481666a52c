"""Parts asked for in the days ahead, by shop and number: sensors, repeats and walk-ins together.

Given a fit, sensors ask independently of one another. They are not independent as far as we know,
since all rest on one fit: the distribution is therefore mixed over fits drawn from what the records
allow (law of total variance), which a single fit would make too narrow.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.stock.counts import CountDistribution, negative_binomial
from models.stock.needs import SensorNeeds
from models.stock.poisson_binomial import TAIL, by_group, counts_needed, poisson_binomial
from models.stock.repeats import asks_twice
from models.stock.supersession import Numbers, asked_beyond_old

_KEY = ["shop_id", "part_no"]
#: Chances, one a sensor, draw and day, from which a group's numbers are counted at a time.
_CHANCES_AT_ONCE = 500_000


class _ByDays(NamedTuple):
    """Askers within the groups' days under some needs.

    ``once`` and ``twice`` are the chances that each sensor asks for a part and for two, of shape
    (n, draws, k), 0 outside the groups; ``walk_ins`` of shape (classes, 1, k).
    """

    needs: SensorNeeds
    once: np.ndarray
    twice: np.ndarray
    walk_ins: CountDistribution


@dataclass(frozen=True)
class Demand:
    """Who may ask for parts: sensors by the number that can meet their need, and walk-ins.

    Attributes
    ----------
    needs : SensorNeeds
        Chances of the sensors in service.
    meets : array of shape (n,)
        Oldest number that can meet each sensor's need.
    walk_ins : frame
        WALK_INS.
    repeat_rate : float
        Rate per day at which a new part fails again.
    numbers : Numbers
        How part numbers follow one another.
    groups : frame
        ``shop_id``, ``part_no``: shops and the numbers they order.
    """

    needs: SensorNeeds
    meets: np.ndarray
    walk_ins: pd.DataFrame
    repeat_rate: float
    numbers: Numbers
    groups: pd.DataFrame
    _last: dict[bytes, CountDistribution] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )
    _before: dict[bytes, _ByDays] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )

    def under(self, needs: SensorNeeds) -> Demand:
        """The same sensors and walk-ins, with other chances of the sensors in the same order."""
        other = replace(self, needs=needs)
        same = ("classes", "class_of_sensor", "_rows_by_group", "_walk_in_gamma", "_before")
        vars(other).update({name: getattr(self, name) for name in same})  # as kept once worked out
        return other

    @cached_property
    def classes(self) -> pd.DataFrame:
        """One row a shop and number that can meet needs, with the row of the group it ends in."""
        rows = self.groups.assign(group=np.arange(len(self.groups)))
        met = [(s, p) for s, p in zip(rows["shop_id"], rows["part_no"], strict=True)]
        place = {key: i for i, key in enumerate(met)}
        out = [
            (shop, number, place[shop, ordered])
            for shop, ordered in met
            for number in (ordered, *self.numbers.older(ordered))
        ]
        return pd.DataFrame(out, columns=[*_KEY, "group"])

    @cached_property
    def class_of_sensor(self) -> np.ndarray:
        """Row of ``classes`` of each sensor, shape (n,); -1 outside the groups."""
        index = pd.MultiIndex.from_frame(self.classes[_KEY])
        shops = self.needs.sensors["shop_id"]
        return index.get_indexer(pd.MultiIndex.from_arrays([shops, self.meets]))

    def by_class(self, days: np.ndarray) -> CountDistribution:
        """Parts asked for by each class within its group's days, by draw.

        Parameters
        ----------
        days : array of shape (groups, k)
            Days ahead.

        Returns
        -------
        CountDistribution of shape (classes, draws, k)
        """
        days = np.asarray(days, float)
        key = days.tobytes()
        found = self._last.get(key)
        if found is None:  # else under another target, say
            found = self._by_class(days)
            self._last.clear()
            self._last[key] = found
        return found

    def _by_class(self, days: np.ndarray) -> CountDistribution:
        known = self._by_days(days)
        inside = self.class_of_sensor >= 0
        once, twice = known.once, known.twice
        if not inside.all():
            once, twice = once[inside], twice[inside]
        row = self.class_of_sensor[inside]
        sensors = poisson_binomial(once, row, len(self.classes), twice=twice)
        return sensors.plus(known.walk_ins)

    def _by_days(self, days: np.ndarray) -> _ByDays:
        """What is known of askers within the groups' days, of shape (groups, k).

        What the run before worked out for the same days is taken over where chances are as then.
        """
        key = days.tobytes()
        before = self._before.get(key)
        if before is not None and before.needs is self.needs:
            return before
        within = self._sensor_days(days)
        if before is None:
            once = self.needs.by_days(within)
            walk_ins = self._walk_ins(days[self.classes["group"]])
        else:
            moved = self.needs.moved_from(before.needs)
            once, walk_ins = before.once.copy(), before.walk_ins
            once[moved] = self.needs.of(moved).by_days(within[moved])
        twice = asks_twice(once, within[:, None, :], self.repeat_rate)
        found = _ByDays(self.needs, once, twice, walk_ins)
        self._before.clear()
        self._before[key] = found
        return found

    def asked(self, days: np.ndarray, old_stock: Mapping[tuple, np.ndarray]) -> CountDistribution:
        """Parts asked for by each group beyond the stock of older numbers, by draw.

        Parameters
        ----------
        days : array of shape (groups, k)
            Days ahead.
        old_stock : mapping of (shop, number) to array of shape (k,)
            Stock of numbers out of supply that is there by then.

        Returns
        -------
        CountDistribution of shape (groups, draws, k)
        """
        classes = self.by_class(days)
        at = {row: row for row in range(len(self.classes))}
        found = [
            self._beyond_old(g, classes, at, old_stock) for g in range(len(self._rows_by_group))
        ]
        return _stacked(found, (1, days.shape[1]))

    def asked_by_any(
        self, days: np.ndarray, old_stock: Mapping[tuple, np.ndarray]
    ) -> CountDistribution:
        """The same, mixed over the draws: for many days, a group and some of them at a time.

        Returns
        -------
        CountDistribution of shape (groups, k)
        """
        days = np.asarray(days, float)
        size, walk_ins = self._counts(days), self._walk_ins(days[self.classes["group"]])
        found = [
            self._mixed_by_days(group, own_days, size, walk_ins, old_stock)
            for group, own_days in enumerate(days)
        ]
        return _stacked(found, days.shape[1:])

    def _mixed_by_days(
        self,
        group: int,
        days: np.ndarray,
        size: int,
        walk_ins: CountDistribution,
        old_stock: Mapping[tuple, np.ndarray],
    ) -> CountDistribution:
        """What a group asks for beyond old stock within days of shape (k,), whatever the draw."""
        shop, numbers = self._rows_by_group[group]
        rows = list(numbers.values())
        some = np.flatnonzero(np.isin(self.class_of_sensor, rows))
        at = {row: place for place, row in enumerate(rows)}
        old = {(shop, n): old_stock[shop, n] for n in numbers if (shop, n) in old_stock}
        found = []
        for now in self._days_at_once(len(some), len(days)):
            asked = self._sensors_of(rows, some, days[now], size)
            own = asked.plus(walk_ins.of((rows, slice(None), now)))
            then = {key: np.broadcast_to(there, days.shape)[now] for key, there in old.items()}
            found.append(self._beyond_old(group, own, at, then).mixed(axis=0))
        return _over_days(found)

    def _days_at_once(self, n_sensors: int, n_days: int) -> list[slice]:
        """Days taken at a time: few where many sensors ask, and at least one."""
        chances = max(n_sensors * self.needs.chances.shape[1], 1)
        step = max(_CHANCES_AT_ONCE // chances, 1)
        return [slice(start, start + step) for start in range(0, n_days, step)]

    def _sensors_of(
        self, rows: list[int], sensors: np.ndarray, days: np.ndarray, size: int
    ) -> CountDistribution:
        """Parts asked for by the sensors of some classes, shape (classes, draws, k)."""
        once, twice = self._of_some(sensors, days)
        row = np.searchsorted(rows, self.class_of_sensor[sensors])
        return poisson_binomial(once, row, len(rows), twice=twice, size=size)

    def _of_some(self, sensors: np.ndarray, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Chances that some sensors ask for a part and for two within days of shape (k,)."""
        once = self.needs.of(sensors).by_days(days)
        return once, asks_twice(once, days, self.repeat_rate)

    def _counts(self, days: np.ndarray) -> int:
        """Counts kept of any class: as many as that needs which asks for most by its last day."""
        own, most = self.class_of_sensor, 0.0
        for group, last in enumerate(days.max(axis=1, initial=0.0)):
            rows = list(self._rows_by_group[group][1].values())
            some = np.flatnonzero(np.isin(own, rows))
            once, twice = self._of_some(some, last[None])
            row = np.searchsorted(rows, own[some])
            mean = by_group(once, row, len(rows)) + by_group(twice, row, len(rows))
            most = max(most, float(mean.max(initial=0.0)))
        members = np.bincount(own[own >= 0], minlength=1).max()
        return min(2 * int(members), counts_needed(np.array(most), 2)) + 1

    def _beyond_old(
        self,
        group: int,
        classes: CountDistribution,
        at: Mapping[int, int],
        old_stock: Mapping[tuple, np.ndarray],
    ) -> CountDistribution:
        """What a group asks for beyond old stock; ``at`` the place of each class's row."""
        shop, rows = self._rows_by_group[group]
        own = {number: classes.of(at[row]) for number, row in rows.items()}
        stock = {number: old_stock.get((shop, number), np.array(0)) for number in rows}
        return asked_beyond_old(self.groups["part_no"].iloc[group], own, stock, self.numbers)

    def expected_by_source(self, days: np.ndarray) -> pd.DataFrame:
        """Parts expected by each group by the last of its days, and who asks for them.

        ``days`` of shape (groups, k).
        """
        days = np.asarray(days, float)
        known = self._by_days(days)
        once, twice = (chances[..., -1].mean(axis=1) for chances in (known.once, known.twice))
        own = self.class_of_sensor
        many = len(self.classes)
        inside = own >= 0
        table = pd.DataFrame(
            {
                "n_sensors": np.bincount(own[inside], minlength=many),
                "sensors": np.bincount(own[inside], once[inside], many),
                "repeats": np.bincount(own[inside], twice[inside], many),
                "walk_ins": known.walk_ins.mean[:, 0, -1],
            }
        )
        totals = table.groupby(self.classes["group"].to_numpy()).sum()
        return totals.reindex(np.arange(len(self.groups)), fill_value=0.0)

    @cached_property
    def _rows_by_group(self) -> list[tuple[str, dict[str, int]]]:
        rows: list[tuple[str, dict[str, int]]] = [(shop, {}) for shop in self.groups["shop_id"]]
        for row, (number, group) in enumerate(
            zip(self.classes["part_no"], self.classes["group"], strict=True)
        ):
            rows[group][1][number] = row
        return rows

    def _sensor_days(self, days: np.ndarray) -> np.ndarray:
        """Days ahead of each sensor, shape (n, k); of one outside the groups none."""
        group = self.classes["group"].to_numpy()
        known = self.class_of_sensor
        if not len(group):
            return np.zeros((len(known), days.shape[1]))
        return np.where(known[:, None] >= 0, np.asarray(days, float)[group[known]], 0.0)

    @cached_property
    def _walk_in_gamma(self) -> tuple[np.ndarray, np.ndarray]:
        """Shape and rate in days of each class's walk-ins; a rate of none where not known."""
        rows = self.walk_ins.set_index(_KEY)[["shape", "rate_days"]]
        own = rows.reindex(pd.MultiIndex.from_frame(self.classes[_KEY]))
        return own["shape"].fillna(1.0).to_numpy(float), own["rate_days"].to_numpy(float)

    def _walk_in_means(self, days: np.ndarray) -> np.ndarray:
        shape, rate_days = self._walk_in_gamma
        mean = shape[:, None] * days / rate_days[:, None]
        return np.where(np.isnan(mean), 0.0, mean)

    def _walk_ins(self, days: np.ndarray) -> CountDistribution:
        """Negative binomial numbers of shape (classes, 1, k): the same whatever the draw."""
        mean = self._walk_in_means(days)
        shape = np.broadcast_to(self._walk_in_gamma[0][:, None], mean.shape)
        asked = negative_binomial(shape, mean, _counts_kept(shape, mean))
        return CountDistribution(asked.pmf[:, None], asked.mean[:, None])


def _over_days(parts: list[CountDistribution]) -> CountDistribution:
    """One after another over their last axis but the counts, of which all keep as many."""
    return CountDistribution(
        np.concatenate([one.pmf for one in parts]), np.concatenate([one.mean for one in parts])
    )


def _stacked(found: list[CountDistribution], shape: tuple[int, ...]) -> CountDistribution:
    """One a group, each of the shape given, with as many counts as the longest."""
    if not found:
        return CountDistribution(np.zeros((0, *shape, 1)), np.zeros((0, *shape)))
    size = max(one.pmf.shape[-1] for one in found)
    return CountDistribution(
        np.stack([one.resized(size).pmf for one in found]), np.stack([o.mean for o in found])
    )


def _counts_kept(shape: np.ndarray, mean: np.ndarray) -> int:
    """Counts beyond which less than ``TAIL`` lies: Chernoff's bound, P(D >= k) <= E[2^..] at s."""
    if not mean.size or not mean.max() > 0:
        return 1
    # with s between 1 and 1 + shape/mean, P(D >= k) <= G(s) s^-k, G(s) = (1 + (1-s) m/a)^-a
    s = 1 + 0.5 * shape / np.maximum(mean, 1e-9)
    log = -shape * np.log1p(-0.5) - np.log(TAIL)
    return int(np.ceil(np.max(log / np.log(s)))) + 1
