"""Counts and figures that compare what was measured with what was simulated."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from models.simulate.bench import SimulatedSweep

LENGTHS_MS = ((1, 2), (2, 5), (5, 30))


@dataclass
class Recall:
    """Drop-outs simulated and found, by visibility and length; reports without a true one."""

    visible: int = 0
    visible_found: int = 0
    by_length: dict = field(default_factory=lambda: {b: [0, 0] for b in LENGTHS_MS})
    reports: int = 0
    false_reports: int = 0

    @property
    def share(self) -> float:
        """Share of visible drop-outs found."""
        return self.visible_found / max(self.visible, 1)

    def add(self, sweep: SimulatedSweep, start_s: np.ndarray, end_s: np.ndarray) -> np.ndarray:
        """Take in one sweep's reports; returns for each the index of its true event, or -1."""
        truth = sweep.dropouts
        begin = truth["start_s"].to_numpy(dtype=float)
        length = truth["length_s"].to_numpy(dtype=float)
        slack = 1.5 / sweep.rate_hz
        meets = (start_s[:, None] <= begin + length + slack) & (end_s[:, None] >= begin - slack)
        found, visible = meets.any(axis=0), truth["visible"].to_numpy(dtype=bool)
        self.visible += int(visible.sum())
        self.visible_found += int((visible & found).sum())
        for low, high in LENGTHS_MS:
            of_length = (length * 1000 >= low) & (length * 1000 < high + (high == 30))
            self.by_length[low, high][0] += int(of_length.sum())
            self.by_length[low, high][1] += int((of_length & found).sum())
        self.reports += start_s.size
        self.false_reports += int((~meets.any(axis=1)).sum())
        if not begin.size:
            return np.full(start_s.size, -1)
        nearest = np.where(meets, np.abs(start_s[:, None] - begin), np.inf).argmin(axis=1)
        return np.where(meets.any(axis=1), nearest, -1)

    def lengths(self) -> str:
        """Recall over all events by length, as text."""
        return ", ".join(
            f"{a}-{b} ms {f / max(n, 1):.3f} of {n}" for (a, b), (n, f) in self.by_length.items()
        )


def roc_area(positive: np.ndarray, negative: np.ndarray) -> float:
    """Area under the ROC curve: chance that a positive scores above a negative (Mann-Whitney)."""
    order = np.sort(negative)
    below = np.searchsorted(order, positive, side="left")
    same = np.searchsorted(order, positive, side="right") - below
    return float(np.mean((below + 0.5 * same) / negative.size))
