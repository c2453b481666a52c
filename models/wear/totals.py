"""What tests showed, in double precision: some tests at a time, for the memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

TESTS_AT_ONCE = 10_000


@dataclass(frozen=True)
class Totals:
    """Drop-outs and exposure of tests, or their roughness and which of it is known.

    y : drop-outs, or roughness with NaN where not known, shape (n, bins).
    exposure : passes that would have shown a drop-out, same shape; None for roughness.
    sensor : number of each test's sensor, shape (n,).
    stray_share : of each sensor's drop-outs those that are no wear, shape (sensors, bins), if any.
    """

    y: np.ndarray
    exposure: np.ndarray | None
    sensor: np.ndarray
    stray_share: np.ndarray | None = None

    @property
    def n_sensors(self) -> int:
        """Sensors numbered."""
        return int(self.sensor.max()) + 1

    def part(self, rows: np.ndarray | slice) -> tuple[np.ndarray, np.ndarray]:
        """Drop-outs less strays and exposure of some tests; or roughness and 1 where known."""
        y = np.asarray(self.y[rows], dtype=float)
        if self.exposure is None:
            known = np.isfinite(y)
            return np.where(known, y, 0.0), known.astype(float)
        if self.stray_share is not None:
            y = y * (1.0 - self.stray_share[self.sensor[rows]])
        return y, np.asarray(self.exposure[rows], dtype=float)

    def parts(self) -> Iterator[tuple[slice, np.ndarray, np.ndarray]]:
        """``part`` by ``part``, with the rows that it is of."""
        for begin in range(0, len(self.y), TESTS_AT_ONCE):
            rows = slice(begin, begin + TESTS_AT_ONCE)
            yield rows, *self.part(rows)

    def summed(self, number: np.ndarray, groups: int) -> tuple[np.ndarray, np.ndarray]:
        """Sums of both over the tests of each group, shape (groups, bins), in the tests' order."""
        total, seen = np.zeros((groups, self.y.shape[1])), np.zeros((groups, self.y.shape[1]))
        for rows, y, e in self.parts():
            np.add.at(total, number[rows], y)
            np.add.at(seen, number[rows], e)
        return total, seen

    def by_sensor(self) -> tuple[np.ndarray, np.ndarray]:
        """``summed`` by sensor."""
        return self.summed(self.sensor, self.n_sensors)


def gamma_effect(shown: Totals, own: np.ndarray, known: np.ndarray) -> float:
    """Dispersion of roughness times the clustering of a sensor's bins over its tests.

    ``own`` and ``known`` are what ``by_sensor`` gives; the first is used up.
    """
    mean = np.maximum(own.sum(axis=0) / np.maximum(known.sum(axis=0), 1.0), 1e-12)
    n_known, square = known.sum(), 0.0
    own[:] = 0.0  # of many sensors one more such table would be felt
    for rows, total, seen in shown.parts():
        rest = np.where(seen > 0, total / mean - 1.0, 0.0)
        np.add.at(own, shown.sensor[rows], rest)
        square += float((rest**2).sum())
    clustering = float(np.vdot(own, own) / max(square, 1e-12))
    return max(1e-3, square / n_known * max(clustering, 1.0))
