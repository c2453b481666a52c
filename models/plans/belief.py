"""The chance of a defect as km run: what a step without word, and a test that passed, do to it.

Delay-time model (Christer, J. Opl Res. Soc. 33 (1982) 723, from memory): a sound sensor gets the
defect at its hazard; a sensor with the defect is heard of, by a complaint or a failure on the road,
at the rate r per km. A test finds a defect with the chance s and condemns a sound sensor with the
chance f. Since the delay is exponential, all that the past says is the chance p of a defect now.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

_SMALL = 1e-4


class Step(NamedTuple):
    """What one step of riding does to a sensor that is sound, or has the defect, at its beginning.

    ``stays`` chance that a sound one is sound after it, ``turns`` that it then has a defect not
    heard of, ``keeps`` that a defect stays unheard of; ``sound_km`` and ``defective_km`` mean km
    run within it before anything is heard.
    """

    stays: np.ndarray
    turns: np.ndarray
    keeps: float
    sound_km: np.ndarray
    defective_km: float

    def silent(self, belief: np.ndarray) -> np.ndarray:
        """Chance that nothing is heard within it."""
        return belief * self.keeps + (1 - belief) * (self.stays + self.turns)

    def onwards(self, belief: np.ndarray) -> np.ndarray:
        """Chance of a defect after it if nothing was heard (Bayes)."""
        defective = belief * self.keeps + (1 - belief) * self.turns
        return np.clip(defective / np.maximum(self.silent(belief), 1e-300), 0.0, 1.0)

    def km(self, belief: np.ndarray) -> np.ndarray:
        """Mean km run within it before anything is heard."""
        return belief * self.defective_km + (1 - belief) * self.sound_km


class Test(NamedTuple):
    """A test: ``sensitivity`` s and ``false_alarm`` f, each 0 to 1."""

    __test__ = False  # not a test for pytest

    sensitivity: float
    false_alarm: float


def belief_grid(n_points: int = 25) -> np.ndarray:
    """Chances from 0 to 1 at which costs are worked out, closer together where small."""
    return np.linspace(0.0, 1.0, n_points) ** 2


def riding_step(onset: np.ndarray, km: float, rate_per_km: float) -> Step:
    """One step of riding; the defect's place within it is taken as any with equal chance.

    Parameters
    ----------
    onset : array
        Chance that a sound sensor gets the defect within it.
    km : float
        Its length, above 0.
    rate_per_km : float
        Rate r at which a defect is heard of.

    Notes
    -----
    With x = r km and m = (1 - exp(-x)) / x: an old defect stays unheard of with the chance exp(-x)
    and runs m of the step; a new one with the chance m, losing 1/2 - (1 - m) / x of the step.
    """
    mean, lost, keeps = _shares(km, rate_per_km)
    return Step(
        stays=1 - onset,
        turns=onset * mean,
        keeps=keeps,
        sound_km=km * (1 - onset * lost),
        defective_km=float(km * mean),
    )


class Steps(NamedTuple):
    """Several steps of riding, one after another, of n sensors.

    ``silent`` chance that nothing is heard of a sensor that is sound at the beginning, ``turns``
    that it then has a defect not heard of, ``sound_km`` mean km run within the step before
    anything is heard, each of shape (steps, n); of a defective one ``keeps`` and ``defective_km``
    as in ``Step``, one number a step.
    """

    silent: np.ndarray
    turns: np.ndarray
    sound_km: np.ndarray
    keeps: list[float]
    defective_km: list[float]


def riding_steps(onset: np.ndarray, km: np.ndarray, rate_per_km: float) -> Steps:
    """Steps as of ``riding_step``, from onsets of shape (steps, n) and their lengths."""
    lengths = km.tolist()
    shares = [_shares(length, rate_per_km) for length in lengths]
    mean, lost, keeps = zip(*shares, strict=True) if shares else ((), (), ())
    means, losses = np.array(mean)[:, None], np.array(lost)[:, None]
    turns, silent, sound_km = onset * means, 1 - onset, onset * losses
    silent += turns
    np.subtract(1, sound_km, out=sound_km)
    sound_km *= km[:, None]
    return Steps(
        silent=silent,
        turns=turns,
        sound_km=sound_km,
        keeps=list(keeps),
        defective_km=[float(length * m) for length, m in zip(lengths, mean, strict=True)],
    )


def _shares(km: float, rate_per_km: float) -> tuple[float, float, float]:
    """Of one step: m, the share lost by a new defect, and exp(-x)."""
    x = rate_per_km * km
    mean = 1 - x / 2 + x**2 / 6 if x < _SMALL else -np.expm1(-x) / x
    lost = x / 6 if x < _SMALL else 0.5 - (1 - mean) / x
    return mean, lost, float(np.exp(-x))


def passed_chance(belief: np.ndarray, test: Test) -> np.ndarray:
    """Chance that the test passes."""
    return belief * (1 - test.sensitivity) + (1 - belief) * (1 - test.false_alarm)


def belief_after_pass(belief: np.ndarray, test: Test) -> np.ndarray:
    """Chance of a defect after a test that passed (Bayes)."""
    missed = np.multiply(belief, 1 - test.sensitivity)
    passed = np.subtract(1, belief)
    passed *= 1 - test.false_alarm
    passed += missed
    return missed / np.maximum(passed, 1e-300)


def near(belief: np.ndarray, n_points: int) -> np.ndarray:
    """The point of ``belief_grid`` at or below each chance, save the last point."""
    place = np.sqrt(belief)
    place *= n_points - 1
    return np.minimum(place, n_points - 2).astype(np.intp)
