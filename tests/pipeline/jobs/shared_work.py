"""Work to share out in the tests: functions of a module, so that workers find them."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np


def squared(number: int) -> int:
    """Quick, and known."""
    return number * number


def its_process(number: int) -> int:
    """Who does it."""
    time.sleep(0.05)
    return os.getpid()


def least_squares(seed: int) -> np.ndarray:
    """Linear algebra large enough that its last digits hang on the number of threads."""
    rng = np.random.default_rng(seed)
    matrix = rng.standard_normal((600, 300))
    return np.linalg.solve(matrix.T @ matrix, matrix.T @ rng.standard_normal(600))


def changes_what_it_is_given(numbers: np.ndarray) -> float:
    """Writes to an array large enough to be handed over as a memory map."""
    numbers += 1
    return float(numbers.sum())


_HELD: list[np.ndarray] = []


def holds_more_and_more(number: int) -> int:
    """Keeps 200 MB a task, over seconds; who does it."""
    time.sleep(1.1)
    _HELD.append(np.ones(25_000_000))
    return os.getpid()


def killed_once(marker_and_number: tuple[str, int]) -> int:
    """Task 3 is killed, as by the system short of memory, the first time it is tried."""
    marker, number = Path(marker_and_number[0]), marker_and_number[1]
    if number == 3 and not marker.exists():
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def always_killed(number: int) -> int:
    """Task 3 is killed whenever it is tried."""
    if number == 3:
        time.sleep(0.5)
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def refuses(number: int) -> int:
    """Task 2 raises an error of its own."""
    if number == 2:
        raise ValueError("two is not liked")
    return number


def slow(number: int) -> int:
    """Half a second each."""
    time.sleep(0.5)
    return number
