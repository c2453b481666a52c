"""The hand that turns the grip: slow passes from stop to stop, as a technician makes them.

Each pass follows a minimum-jerk-like time course (Flash and Hogan 1985: 10 s^3 - 15 s^4 + 6 s^5,
here only for the ramps at both ends, since a slow deliberate pass has a steady middle), with a
wandering speed and physiological tremor at 8 to 12 Hz. All figures are assumed, not measured.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pandas as pd

GRID_S = 0.001  # the fine clock on which the motion is worked out
RAMP_SHARE = 0.18  # share of a pass spent speeding up, and again slowing down (assumed)
TREMOR_HZ = (8.0, 12.0)  # physiological tremor of the hand, textbook range, from memory
TREMOR_TONES = 5
STOP_GIVE_PCT = 0.15  # elastic give of grip and plate against a stop (assumed)
PRESS_PCT = 0.6  # how far the hand means to go beyond a stop (assumed)
PASS_COLUMNS = [
    "pass_no", "start_s", "end_s", "from_pct", "to_pct", "direction", "complete", "reversals",
]  # fmt: skip


@dataclass(frozen=True)
class HandMotion:
    """How a sweep is made by hand.

    passes : strokes, up and down counted singly, starting at the closed stop.
    pass_s : mean time of a full stroke, s; pass_s_spread its relative spread.
    pause_s : mean rest at a stop, s.
    tremor_pct : rms tremor, per cent of travel.
    speed_wander : rms of the slow change of log speed within a stroke.
    reversal_chance : chance that a stroke hesitates, goes back 5 to 15 % and on again.
    partial_chance : chance that a stroke turns round before its stop.
    """

    passes: int = 6
    pass_s: float = 3.2
    pass_s_spread: float = 0.12
    pause_s: float = 0.35
    tremor_pct: float = 0.05
    speed_wander: float = 0.15
    reversal_chance: float = 0.03
    partial_chance: float = 0.02


@dataclass(frozen=True)
class Motion:
    """The true motion on the fine clock: seconds, travel per cent, and the passes made."""

    t_s: np.ndarray
    travel_pct: np.ndarray
    passes: pd.DataFrame

    @property
    def speed_pct_s(self) -> np.ndarray:
        """Travel speed, per cent a second, positive on opening, smoothed over 20 ms."""
        lag = int(0.02 / GRID_S)
        padded = np.pad(self.travel_pct, (lag // 2, lag - lag // 2), mode="edge")
        return (padded[lag:] - padded[:-lag]) / (lag * GRID_S)

    def direction_at(self, t_s: np.ndarray) -> np.ndarray:
        """``opening``, ``closing`` or ``still`` at each time."""
        speed = np.interp(t_s, self.t_s, self.speed_pct_s)
        return np.select([speed > 1.0, speed < -1.0], ["opening", "closing"], "still")

    def pass_at(self, t_s: np.ndarray) -> np.ndarray:
        """Number of the pass under way at each time, -1 while resting at a stop."""
        at = np.searchsorted(self.passes["start_s"].to_numpy(), t_s, side="right") - 1
        ended = t_s > self.passes["end_s"].to_numpy()[np.clip(at, 0, None)]
        return np.where((at < 0) | ended, -1, at)


def move_hand(rng: np.random.Generator, hand: HandMotion) -> Motion:
    """One sweep's motion: rest, stroke, rest, ... from the closed stop.

    Returns
    -------
    Motion with arrays of shape (m,) on a 1 ms clock; travel_pct within 0 to 100.
    """
    if hand.passes < 1 or hand.pass_s <= 0:
        raise ValueError("a sweep needs at least one pass of positive length")
    course, rows = [_rest(rng, hand, -PRESS_PCT)], []
    at_pct, clock_s, came_from_closed = 0.0, len(course[0]) * GRID_S, True
    for number in range(hand.passes):
        to_pct, complete = _next_target(rng, hand, at_pct, came_from_closed)
        stroke, reversals = _stroke(rng, hand, at_pct, to_pct)
        end_s = clock_s + len(stroke) * GRID_S
        direction = "opening" if to_pct > at_pct else "closing"
        rows.append((number, clock_s, end_s, at_pct, to_pct, direction, complete, reversals))
        rest = _rest(rng, hand, stroke[-1])
        course += [stroke, rest]
        came_from_closed = direction == "opening"
        at_pct, clock_s = to_pct, end_s + len(rest) * GRID_S
    command = np.concatenate(course)
    t_s = np.arange(len(command)) * GRID_S
    travel = _against_stops(command + _tremor(rng, t_s, hand.tremor_pct))
    return Motion(t_s, travel, pd.DataFrame(rows, columns=PASS_COLUMNS))


def _next_target(
    rng: np.random.Generator, hand: HandMotion, at_pct: float, came_from_closed: bool
) -> tuple[float, bool]:
    """Where the next stroke ends, and whether it runs from stop to stop."""
    opening = at_pct == 0.0
    full = 100.0 if opening else 0.0
    from_stop = at_pct in (0.0, 100.0)
    if from_stop and rng.random() < hand.partial_chance:
        reach = rng.uniform(55.0, 92.0)
        return (reach if opening else 100.0 - reach), False
    if not from_stop:  # a stroke that turned round early goes back to the stop it came from
        return (0.0 if came_from_closed else 100.0), False
    return full, True


def _stroke(
    rng: np.random.Generator, hand: HandMotion, from_pct: float, to_pct: float
) -> tuple[np.ndarray, int]:
    ends = [_beyond(from_pct), _beyond(to_pct)]
    reversals = 0
    if rng.random() < hand.reversal_chance:
        turn = from_pct + (to_pct - from_pct) * rng.uniform(0.35, 0.75)
        back = turn - np.sign(to_pct - from_pct) * rng.uniform(5.0, 15.0)
        ends = [ends[0], turn, back, ends[1]]
        reversals = 1
    pace = hand.pass_s * np.exp(hand.pass_s_spread * rng.standard_normal())
    legs = [
        _leg(rng, hand.speed_wander, a, b, max(0.25, pace * abs(b - a) / 100.0))
        for a, b in itertools.pairwise(ends)
    ]
    return np.concatenate(legs), reversals


def _leg(
    rng: np.random.Generator, wander: float, from_pct: float, to_pct: float, length_s: float
) -> np.ndarray:
    """One leg: minimum-jerk ramps, a steady middle, a speed that wanders slowly."""
    s = (np.arange(max(8, round(length_s / GRID_S))) + 1.0) / max(8, round(length_s / GRID_S))
    edge = np.clip(np.minimum(s, 1.0 - s) / RAMP_SHARE, 0.0, 1.0)
    speed = edge**3 * (10.0 - 15.0 * edge + 6.0 * edge**2) + 0.02
    cycles = rng.uniform(0.6, 2.5, 3)
    phases = rng.uniform(0.0, 2.0 * np.pi, 3)
    slow = np.sin(2.0 * np.pi * np.outer(cycles, s) + phases[:, None]).sum(axis=0)
    done = np.cumsum(speed * np.exp(wander * np.sqrt(2.0 / 3.0) * slow))
    return from_pct + (to_pct - from_pct) * done / done[-1]


def _rest(rng: np.random.Generator, hand: HandMotion, at_pct: float) -> np.ndarray:
    length_s = hand.pause_s * rng.gamma(4.0, 0.25)
    return np.full(max(1, round(length_s / GRID_S)), at_pct)


def _beyond(stop_pct: float) -> float:
    """A hand that means to reach a stop presses a little beyond it."""
    return {0.0: -PRESS_PCT, 100.0: 100.0 + PRESS_PCT}.get(stop_pct, stop_pct)


def _tremor(rng: np.random.Generator, t_s: np.ndarray, rms_pct: float) -> np.ndarray:
    tones_hz = rng.uniform(*TREMOR_HZ, TREMOR_TONES)
    phases = rng.uniform(0.0, 2.0 * np.pi, TREMOR_TONES)
    total = np.zeros_like(t_s)
    if rms_pct > 0.0:
        for hz, phase in zip(tones_hz, phases, strict=True):
            total += np.sin(2.0 * np.pi * hz * t_s + phase)
    return rms_pct * np.sqrt(2.0 / TREMOR_TONES) * total


def _against_stops(command_pct: np.ndarray) -> np.ndarray:
    """Travel where the stops take up the last bit elastically; never outside 0 to 100."""
    give = STOP_GIVE_PCT
    low = give * np.exp(np.minimum(command_pct - give, 0.0) / give)
    high = 100.0 - give * np.exp(np.minimum(100.0 - give - command_pct, 0.0) / give)
    return np.where(
        command_pct < give, low, np.where(command_pct > 100.0 - give, high, command_pct)
    )
