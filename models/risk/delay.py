"""How long a defect stays unheard of: km from the defect to the rider's complaint or road failure.

Defect and road failure are two events with a delay between them. The delay is taken as exponential:
each km with the defect has the same chance that the rider is let down or complains. What a record
says of it hangs on how the record ended:

* heard of at T (complaint or road failure): a defect at u has the density rate * exp(-rate (T-u));
* found by a test that was due anyway at T, or never heard of until the last contact T: a defect at
  u has stayed silent for T - u, with the chance exp(-rate (T-u)).

A life's window is cut into pieces, each with the mean of that factor over the piece as its weight;
the EM of the hazard then weighs the pieces by the curve, and the curve by the pieces.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import stats

from models.risk.assumed import DELAY_RATE, GammaPrior

#: Cuts of a window, counted back from its end in assumed mean delays.
_CUTS = np.array([0.0, 0.25, 0.6, 1.0, 1.6, 2.5, 4.0, 7.0, np.inf])
_TINY = 1e-300
_TURNS = 20


@dataclass(frozen=True)
class Delay:
    """Rate per km at which a defect is heard of, and the spread of its logarithm.

    ``learned`` says that the records moved it; otherwise it is the assumed prior alone. ``n_heard``
    counts a doubt as the share of a defect that it stands for.
    """

    rate_per_km: float
    log_sd: float
    learned: bool
    n_heard: float
    n_road_failures: int

    @property
    def mean_km(self) -> float:
        """Mean km from the defect until it is heard of."""
        return 1.0 / self.rate_per_km

    def draw(self, n_draws: int, seed: int) -> np.ndarray:
        """Rates per km, the first the estimate itself, shape (n_draws + 1,)."""
        normal = np.random.default_rng([seed, 2]).standard_normal(n_draws)
        return self.rate_per_km * np.exp(self.log_sd * np.append(0.0, normal))


class Pieces(NamedTuple):
    """Parts of windows: number of the life, age from and to (km), km before the window's end."""

    life: np.ndarray
    low: np.ndarray
    high: np.ndarray
    near: np.ndarray
    far: np.ndarray


def assumed_delay(
    prior: GammaPrior = DELAY_RATE, *, n_heard: float = 0.0, n_road: int = 0
) -> Delay:
    """The delay by the prior alone.

    The spread of log rate under a gamma prior of shape a is sqrt(trigamma(a)).
    """
    spread = float(np.sqrt(stats.loggamma(prior.events).var()))
    return Delay(prior.mean, spread, False, n_heard, n_road)


def first_delay(lives: pd.DataFrame, prior: GammaPrior, fewest: int) -> Delay:
    """The prior, marked as to be moved where there are road failures enough.

    Only defects with a window of some width say how long they went unheard of.
    """
    in_window = lives["bad_km"] > lives["good_km"]
    road = int((lives["road_failure"] & in_window).sum())
    heard = lives["times"][lives["heard"] & in_window].sum()
    delay = assumed_delay(prior, n_heard=float(heard), n_road=road)
    return replace(delay, learned=enough_road_failures(road, fewest))


def enough_road_failures(count: int, fewest: int) -> bool:
    """Whether the records may move the delay; with fewer road failures the prior stands alone."""
    return count >= fewest


def cut(life: np.ndarray, low: np.ndarray, high: np.ndarray, mean_km: float) -> Pieces:
    """Cut windows ``(low, high]`` into pieces, finer towards the end.

    Parameters
    ----------
    life : array of int, shape (n,)
        Number of the life each window belongs to.
    low, high : array of shape (n,)
        Ages, km; a window of no width has no piece.
    mean_km : float
        Assumed mean delay, which scales the cuts.
    """
    near = np.broadcast_to(_CUTS[:-1] * mean_km, (len(life), len(_CUTS) - 1))
    far = np.minimum(_CUTS[1:] * mean_km, (high - low)[:, None])
    row, column = np.nonzero(far > near)
    near, far = near[row, column], far[row, column]
    return Pieces(life[row], high[row] - far, high[row] - near, near, far)


def silent_chance(near: np.ndarray, far: np.ndarray, rate: np.ndarray | float) -> np.ndarray:
    """Chance that a defect somewhere from ``near`` to ``far`` km ago was not heard of since.

    The mean of exp(-rate x) over the stretch, any place in it being as likely as any other.
    """
    span = rate * (far - near)
    small = span < 1e-6
    mean = np.where(small, 1 - span / 2, -np.expm1(-span) / np.where(small, 1.0, span))
    return np.exp(-rate * near) * mean


def silent_km(near: np.ndarray, far: np.ndarray, rate: float) -> np.ndarray:
    """Expected km since the defect, given that it lies from ``near`` to ``far`` km ago.

    Mean of an exponential of this rate cut off at both ends.
    """
    span = far - near
    x = np.maximum(rate * span, 1e-6)
    share = np.where(x < 1e-3, 0.5 - x / 12, 1 / x - 1 / np.expm1(x))
    return near + span * share


def moved_rate(prior: GammaPrior, heard: float, km: float) -> float:
    """Posterior mean of the rate after so many defects heard of in so many km with the defect.

    Gamma prior, exponential delays: Gelman et al., Bayesian Data Analysis, 3rd ed. (2013),
    sec. 2.6.
    """
    return prior.after(heard, km).mean


def heard_of_itself(heard: float, road: float, rate: float, idle_rate: float) -> float:
    """How many of the defects heard of were heard of for their own sake.

    Riders also complain of other things (``idle_rate`` per km, as often as such tests find
    nothing), and such a test finds the defect too. A road failure is the defect's own; of the
    other complaints the share of its own rate in both counts. With the share of road failures r
    among its own, the rate of its own complaints is (1 - r) rate, solved for by turns.
    """
    own = heard
    for _ in range(_TURNS):
        complaint = rate * (1.0 - road / own) if own > 0 else 0.0
        own = road + (heard - road) * complaint / max(complaint + idle_rate, _TINY)
    return own


def log_prior(prior: GammaPrior, rate: float) -> float:
    """Log density of log rate under the prior, up to a constant."""
    return prior.events * float(np.log(max(rate, _TINY))) - prior.km * rate
