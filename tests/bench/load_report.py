"""What a load on the dashboard came to, told in tables: times, errors and memory as time goes on."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

#: Nothing was opened before: views and modules are read for the first time.
COLD_S = 120.0
#: Of a longer load its beginning is told by itself, too.
FIRST_S = 15 * 60.0
PARTS = 10


class Moment(NamedTuple):
    """The server at a moment: seconds since the beginning, memory in MB, processor time in s."""

    at_s: float
    memory_mb: float
    own_mb: float
    spent_s: float


@dataclass
class Log:
    """What was seen, each with its moment in seconds since the load began.

    ``pages`` are by name moment and seconds taken; ``errors`` moment and words; ``saves`` seconds
    taken; ``idle`` the server once everybody had gone.
    """

    pages: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    errors: list[tuple[float, str]] = field(default_factory=list)
    saves: list[float] = field(default_factory=list)
    server: list[Moment] = field(default_factory=list)
    idle: list[Moment] = field(default_factory=list)
    published: list[float] = field(default_factory=list)


def say(log: Log, seconds: float) -> None:
    """Page times, saves, errors, memory, of a load of so many seconds."""
    every = sorted(pair for pairs in log.pages.values() for pair in pairs)
    for name, pairs in [*sorted(log.pages.items()), ("all pages", every)]:
        _say_times(name, [took for _, took in pairs])
    _say_times("in the first two minutes", [took for at_s, took in every if at_s < COLD_S])
    _say_times("after them", [took for at_s, took in every if at_s >= COLD_S])
    if seconds > FIRST_S:
        early = [took for at_s, took in every if at_s < FIRST_S]
        _say_times(f"in the first {FIRST_S / 60:.0f} minutes", early)
    if log.saves:
        median, high = np.quantile(log.saves, [0.5, 0.95])
        print(f"saves      n {len(log.saves):5,}  median {median:5.2f} s  p95 {high:5.2f} s")
    print("errors:", dict(Counter(words for _, words in log.errors)) or "none")
    print(f"versions published meanwhile: {len(log.published)}")
    _say_by_part(log, every, seconds)
    _say_memory(log)


def _say_times(name: str, times: list[float]) -> None:
    if times:
        median, high, most = np.quantile(times, [0.5, 0.95, 1.0])
        print(
            f"{name:24} n {len(times):6,}  median {median:5.2f} s  p95 {high:5.2f} s  "
            f"longest {most:5.2f} s"
        )


def _say_by_part(log: Log, every: list[tuple[float, float]], seconds: float) -> None:
    """A line for each tenth of the time."""
    edges = np.linspace(0.0, seconds, PARTS + 1)
    print(
        "minutes          pages  median s  p95 s  errors  published  share of one processor  "
        "memory MB: mean  most"
    )
    for start, end in itertools.pairwise(edges):
        # what was asked for in time may end a little after it
        last = end if end < seconds else np.inf
        times = [took for at_s, took in every if start <= at_s < last]
        errors = sum(start <= at_s < last for at_s, _ in log.errors)
        published = sum(start <= at_s < last for at_s in log.published)
        server = [moment for moment in log.server if start <= moment.at_s < last]
        median, high = np.quantile(times, [0.5, 0.95]) if times else (np.nan, np.nan)
        told = f"{start / 60:5.1f} to {end / 60:5.1f}  {len(times):5,}  {median:8.2f}  {high:5.2f}"
        told += f"  {errors:6}  {published:9}"
        if len(server) > 1:
            memory = [moment.memory_mb for moment in server]
            share = np.ptp([m.spent_s for m in server]) / np.ptp([m.at_s for m in server])
            told += f"  {share:22.2f}  {np.mean(memory):15,.0f}  {max(memory):4,.0f}"
        print(told)


def _say_memory(log: Log) -> None:
    """How memory goes over the second half, and what is left of it once everybody has gone."""
    later = log.server[len(log.server) // 2 :]
    if len(later) > PARTS:
        at_h = np.array([moment.at_s for moment in later]) / 3600
        for words, name in (("memory", "memory_mb"), ("of it not of files", "own_mb")):
            values = np.array([getattr(moment, name) for moment in later])
            slope, error = slope_with_error(at_h, values, PARTS // 2)
            print(
                f"{words} over the second half: {values.mean():,.0f} MB, slope {slope:+.1f} MB an "
                f"hour, standard error {error:.1f} ({PARTS // 2} means)"
            )
    if log.idle:
        told = ", ".join(f"{m.memory_mb:,.0f} MB at {m.at_s / 60:.1f} min" for m in log.idle)
        print(f"memory once everybody had gone: {told}")


def slope_with_error(at: np.ndarray, values: np.ndarray, parts: int) -> tuple[float, float]:
    """Slope of the least-squares line through the means of some parts, and its standard error.

    Neighbouring moments are alike, since memory goes up and down with each build: taken one by one
    they would make the error too small. Means of parts longer than that stand by themselves.

    Parameters
    ----------
    at, values : array of float, shape (n,)
        Moments in order, and what was seen at each.
    parts : int
        How many parts, at least three; the error has two degrees of freedom less.

    Returns
    -------
    tuple of float
        Both in units of ``values`` for one of ``at``.
    """
    middles, means = (
        np.array([part.mean() for part in np.array_split(each, parts)]) for each in (at, values)
    )
    away = middles - middles.mean()
    slope = float(away @ means / (away @ away))
    left_over = means - means.mean() - slope * away
    variance = left_over @ left_over / (parts - 2)
    return slope, float(np.sqrt(variance / (away @ away)))
