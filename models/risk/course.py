"""The course of readings towards the defect, and the likelihood of readings about it."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np

#: Shares of the way at which the course may bend, and just beyond the defect.
KNOTS = np.array([0.0, 0.4, 0.55, 0.7, 0.85, 1.0])
#: Rises of the course: between the knots, and at the defect.
RISES = len(KNOTS)
#: Share of the way from which checks are out of band more often.
_OUT_FROM = 0.5
_NODE, _NODE_WEIGHT = np.polynomial.hermite_e.hermegauss(5)
_LOG_NODE_WEIGHT = np.log(_NODE_WEIGHT / _NODE_WEIGHT.sum())


class LifeReadings(NamedTuple):
    """Readings in order of the row of the life they belong to.

    ``row`` : place of the life; ``km`` : age at the test; ``level`` : normal score of the reading
    among the fleet's, NaN where it tells none; ``out`` : checks out of band.
    """

    row: np.ndarray
    km: np.ndarray
    level: np.ndarray
    out: np.ndarray

    def take(self, members: np.ndarray) -> LifeReadings:
        """Those of some lives, numbered by their place in ``members``."""
        first = np.searchsorted(self.row, members)
        count = np.searchsorted(self.row, members, side="right") - first
        row = np.repeat(np.arange(len(members)), count)
        own = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
        return LifeReadings(row, self.km[own], self.level[own], self.out[own])


class Course(NamedTuple):
    """Constants of wear: what ``WearGrowth`` estimates.

    ``base`` : normal score of a new sensor; ``rise`` : of the course from knot to knot, and last
    beyond the defect; ``own_sd`` : of a sensor's own level; ``factor_sd`` : of the log
    factor on its rise; ``noise_sd`` : of a reading; ``out_new``, ``out_worn`` : chance of a check
    out of band when new, and what the whole rise adds.
    """

    base: float
    rise: np.ndarray
    own_sd: float
    factor_sd: float
    noise_sd: float
    out_new: float
    out_worn: float


class Likelihood:
    """Likelihood of lives' readings by where their defect may lie.

    With n readings whose departures from the course sum to a and their squares to b, noise of
    variance v and an own level of variance w have the log density
    -(b - a^2 w / (v + n w)) / 2v - (n log v + log(1 + n w / v)) / 2, constants left out. The factor
    is integrated out over five nodes (Gauss-Hermite).

    Parameters
    ----------
    readings : LifeReadings
    way : array of shape (readings, cells)
        Share of the way at each reading, by place of the defect.
    lives : int
    """

    def __init__(self, readings: LifeReadings, way: np.ndarray, lives: int):
        told = np.isfinite(readings.level)
        self.lives, self.cells = lives, way.shape[1]
        self.level, self.way = readings.level[told], way[told]
        self.row, self.all_rows = readings.row[told], readings.row
        self.first, self.owner = _first(self.row)
        self.all_first, self.all_owner = _first(self.all_rows)
        self.beyond = self.way >= 1.0
        self.count = np.diff(np.append(self.first, len(self.row))).astype(float)[:, None, None]
        self.is_out = (readings.out > 0)[:, None]
        self.late = np.clip((way - _OUT_FROM) / (1 - _OUT_FROM), 0.0, 1.0)

    @cached_property
    def basis(self) -> np.ndarray:
        """How far each segment of the course has been climbed, for the gradient."""
        return _basis(self.way)

    def by_node(self, course: Course) -> np.ndarray:
        """Log likelihood by node, life and place of the defect, shape (nodes, lives, cells).

        Nodes come first: sums over so few are quickest there.
        """
        out = np.zeros((len(_NODE), self.lives, self.cells)) + _LOG_NODE_WEIGHT[:, None, None]
        if len(self.row):
            _add_at(out, self.owner, self._of_levels(course))
        if len(self.all_rows):
            chance = self._chance_out(course)
            log = np.log(np.where(self.is_out, chance, 1 - chance))
            _add_at(out, self.all_owner, np.add.reduceat(log, self.all_first, axis=0))
        return out

    def of_all_nodes(self, course: Course) -> np.ndarray:
        """Log likelihood by life and place of the defect, shape (lives, cells)."""
        return log_sum_exp(self.by_node(course), axis=0)

    def height(self, course: Course, log_chance: np.ndarray) -> tuple[float, np.ndarray]:
        """Log likelihood over all lives, and its gradient.

        The gradient is by the rises' logarithms over the rises, base, the logarithms of own_sd,
        factor_sd and noise_sd, out_new and out_worn.
        """
        given = np.moveaxis(self.by_node(course), 0, 2) + log_chance[:, :, None]
        each = log_sum_exp(given.reshape(len(given), -1))
        share = np.exp(given - each[:, None, None])
        gradient = np.zeros(RISES + 6)
        if len(self.row):
            self._add_levels(course, share, gradient)
        if len(self.all_rows):
            of_cell = share.sum(axis=2)[self.all_rows]
            chance = self._chance_out(course)
            pull = of_cell * np.where(self.is_out, 1 / chance, -1 / (1 - chance))
            gradient[-2], gradient[-1] = pull.sum(), (pull * self.late).sum()
        return float(each.sum()), gradient

    def _add_levels(self, course: Course, share: np.ndarray, gradient: np.ndarray) -> None:
        rest, total, square = self._departures(course)
        v, w, n = course.noise_sd**2, course.own_sd**2, self.count
        both = v + n * w
        life = np.searchsorted(self.owner, self.row)
        own = share[self.owner]
        pull = (rest - (total * (w / both))[life]) / v * own[life]
        factor = np.exp(course.factor_sd * _NODE)
        by_cell = pull @ factor
        gradient[:RISES] = np.einsum("jc,jck->k", by_cell, self.basis)
        gradient[RISES] = pull.sum()
        climbed = self.basis @ course.rise
        gradient[RISES + 2] = course.factor_sd * ((pull @ (factor * _NODE)) * climbed).sum()
        by_w = -0.5 * n / both + 0.5 * total**2 / both**2
        gradient[RISES + 1] = 2 * w * (own * by_w).sum()
        left = square - total**2 * (w / both)
        by_v = 0.5 * (left / v - n + (n - total**2 / both) * w / both) / v
        gradient[RISES + 3] = 2 * v * (own * by_v).sum()

    def _of_levels(self, course: Course) -> np.ndarray:
        """Log likelihood of the levels alone, shape (nodes, lives with any, cells).

        With d the levels over the base and c how far the course has climbed, the departures at a
        node's factor f are d - f c, so that b - a^2 w / (v + n w) is a square in f, whose terms
        are sums over a life's readings: worked out once for all nodes.
        """
        v, w, n = course.noise_sd**2, course.own_sd**2, self.count[..., 0]
        share = w / (v + n * w)
        above = (self.level - course.base)[:, None]
        climbed = _climbed(self.way, self.beyond, course.rise)
        d, d_d, c, d_c, c_c = (
            np.add.reduceat(each, self.first, axis=0)
            for each in (above, above**2, climbed, above * climbed, climbed**2)
        )
        factor = np.exp(course.factor_sd * _NODE)[:, None, None]
        square = (c_c - c**2 * share) * factor
        square -= 2 * (d_c - d * c * share)
        square *= factor
        square += d_d - d**2 * share + v * (n * np.log(v) + np.log1p(n * w / v))
        square *= -0.5 / v
        return square

    def _departures(self, course: Course) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of each reading from the course; their sum and sum of squares by life."""
        factor = np.exp(course.factor_sd * _NODE)
        climbed = self.basis @ course.rise
        rest = (self.level - course.base)[:, None, None] - climbed[..., None] * factor
        total = np.add.reduceat(rest, self.first, axis=0)
        return rest, total, np.add.reduceat(rest * rest, self.first, axis=0)

    def _chance_out(self, course: Course) -> np.ndarray:
        return np.minimum(course.out_new + course.out_worn * self.late, 0.95)


def _add_at(out: np.ndarray, owner: np.ndarray, values: np.ndarray) -> None:
    """Add values of some lives to those of all, (nodes, lives, cells); mostly they are all."""
    if len(owner) == out.shape[1]:
        out += values
    else:
        out[:, owner] += values


def log_sum_exp(values: np.ndarray, axis: int = -1) -> np.ndarray:
    """Logarithm of the sum of exponentials of finite values, over one axis.

    Without the care for endless and masked values that takes most of the time of the general one.
    """
    most = values.max(axis=axis, keepdims=True)
    return np.log(np.exp(values - most).sum(axis=axis)) + most.squeeze(axis)


def _basis(way: np.ndarray) -> np.ndarray:
    """How far each segment of the course has been climbed, shape (..., segments + 1).

    The last says whether the defect is there.
    """
    climbed = np.clip((way[..., None] - KNOTS[:-1]) / np.diff(KNOTS), 0.0, 1.0)
    return np.concatenate([climbed, (way >= 1.0)[..., None]], axis=-1)


def _climbed(way: np.ndarray, beyond: np.ndarray, rise: np.ndarray) -> np.ndarray:
    """How far the course has climbed at a share of the way: ``_basis(way) @ rise``.

    ``beyond`` : where the way is at its end.
    """
    upto = np.append(0.0, np.cumsum(rise[:-1]))
    return np.interp(way, KNOTS, upto) + rise[-1] * beyond


def _first(row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places at which each life's readings begin, and the lives, in order."""
    first = np.flatnonzero(np.append(True, row[1:] != row[:-1]))[: len(row)]
    return first, row[first]
