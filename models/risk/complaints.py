"""Complaints that led to a test which found the sensor without the defect, as evidence of wear.

Riders complain of other things than the sensor at some steady rate, but a sensor that is rough and
not yet defective is complained of too, the more so the nearer its defect. So a prompted test that
passes is no clean bill: it speaks for a defect soon. And where nobody complained, that speaks a
little against. With a defect at age u, a sensor that is still without it at age t < u is complained
of at the rate

    usual + rough x late(t / u),    late(w) = (w - 1/2) / (1/2), at least 0,

so that a life watched from entry to C with complaints at t_1, t_2, ... has the likelihood

    product of (usual + rough x late(t_i / u)) x exp(-rough x integral of late(t / u) dt),

the integral from entry to the lesser of C and u; what does not hang on u is left out. A complaint
after the defect that led to no finding was of something else (Poisson process with an intensity
that hangs on hidden wear; shared parameter models of informative visits: Liang, Lu & Ying,
Biometrics 65 (2009) 377, from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import logsumexp

from models.risk.assumed import ROUGH_COMPLAINTS_KM
from models.risk.lives import found_on_entry

#: Share of the way to the defect from which a sensor may be rough enough to be complained of.
_FROM = 0.5
#: Lives at most of either kind that the rates are learned from.
_MOST = 600
_LOG_RATES = (-18.0, -5.0)
#: Complaints that the usual rate is first taken to have beside those on record.
_FEWEST_COMPLAINTS = 0.5
#: What roughness adds counts as nought below this share of the usual rate.
_LEAST_SHARE = 1e-3


class Complaints(NamedTuple):
    """When some lives were complained of in vain, and from when to when they were watched.

    ``row`` : place of the life, in order; ``km`` : age at the complaint; ``from_km``, ``to_km`` of
    shape (lives,) : ages between which a complaint would have been known.
    """

    row: np.ndarray
    km: np.ndarray
    from_km: np.ndarray
    to_km: np.ndarray

    def take(self, members: np.ndarray) -> Complaints:
        """Those of some lives, which may repeat, numbered by their place in ``members``."""
        first = np.searchsorted(self.row, members)
        count = np.searchsorted(self.row, members, side="right") - first
        row = np.repeat(np.arange(len(members)), count)
        own = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
        return Complaints(row, self.km[own], self.from_km[members], self.to_km[members])


def complaints_of(lives: pd.DataFrame, wear_readings: pd.DataFrame) -> Complaints:
    """Complaints of lives or of sensors in service whose test passed.

    Parameters
    ----------
    lives : frame of shape (n, ...)
        ``life_id``, ``entry_km``, and the ages last heard from: ``bad_km`` if a defect was found,
        else ``contact_km``, else ``good_km``.
    wear_readings : frame
        Columns of ``WEAR_READINGS``.
    """
    place = pd.DataFrame({"life_id": lives["life_id"].to_numpy(), "row": np.arange(len(lives))})
    vain = wear_readings["passed"].astype("boolean") & wear_readings["prompted"].astype("boolean")
    some = wear_readings.loc[vain.fillna(False).astype(bool), ["life_id", "read_km"]]
    found = place.merge(some, on="life_id").sort_values(["row", "read_km"], kind="stable")
    begun = lives["entry_km"].to_numpy(float)
    ends = [lives[name].to_numpy(float) for name in ("contact_km", "good_km") if name in lives]
    end = np.fmax.reduce([begun, *ends])
    if "bad_km" in lives:
        bad = lives["bad_km"].to_numpy(float)
        end = np.where(np.isnan(bad), end, bad)
    km = found["read_km"].to_numpy(float)
    return Complaints(found["row"].to_numpy(int), km, begun, np.fmax(end, begun))


def complaints_log_likelihood(
    rates: np.ndarray,
    complaints: Complaints,
    defect_km: np.ndarray,
    shift_km: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Log likelihood of each life's complaints were its defect at an age.

    Parameters
    ----------
    rates : array of shape (2,)
        Usual rate of complaints of a sensor without the defect, and what full roughness adds, 1/km.
    complaints : Complaints
        By row of ``defect_km``.
    defect_km : array of shape (n, cells, m)
        Ages at the defect.
    shift_km : array of shape (m,), or 0
        What these ages add to the life's own, by which its complaints are counted.

    Returns
    -------
    array of shape (n, cells, m)
    """
    usual, rough = rates
    at = np.maximum(defect_km, 1.0)
    until = np.minimum(complaints.to_km[:, None, None] + shift_km, at)
    since = np.minimum(complaints.from_km[:, None, None] + shift_km, at)
    total = -rough * at * (_late(until / at) ** 2 - _late(since / at) ** 2) * (1 - _FROM) / 2
    if len(complaints.row):
        of = at[complaints.row]
        way = (complaints.km[:, None, None] + shift_km) / of
        each = np.log(usual + rough * np.where(way < 1, _late(way), 0.0))
        np.add.at(total, complaints.row, each)
    return total


def learned_complaint_rates(
    complaints: Complaints,
    defect_km: np.ndarray,
    log_chance: np.ndarray,
    weight: np.ndarray,
    *,
    rough_prior_km: float = ROUGH_COMPLAINTS_KM,
) -> np.ndarray:
    """Usual rate of complaints and what full roughness adds, by the best penalised likelihood.

    Parameters
    ----------
    complaints : Complaints
        By row of ``defect_km``.
    defect_km, log_chance : arrays of shape (n, cells)
        Ages at which each life's defect may come, and the log chance of each by all but complaints.
    weight : array of shape (n,)
        How often each life counts.
    rough_prior_km : float
        The rate that roughness adds has an exponential prior of mean 1 in so many km.

    Returns
    -------
    array of shape (2,), 1/km; no rate is learned from no complaint: the second is then 0.
    """
    count = float(weight[complaints.row].sum())
    km = float(weight @ (complaints.to_km - complaints.from_km))
    usual = (count + _FEWEST_COMPLAINTS) / max(km, 1.0)
    if not count:
        return np.array([usual, 0.0])
    places = defect_km[:, :, None]
    watched = (complaints.to_km - complaints.from_km)[:, None]
    before = np.minimum(complaints.to_km[:, None], defect_km) - complaints.from_km[:, None]
    sound_km = np.clip(before, 0.0, watched)

    def loss(theta: np.ndarray) -> float:
        rates = np.exp(theta)
        given = complaints_log_likelihood(rates, complaints, places)[..., 0] - rates[0] * sound_km
        each = logsumexp(log_chance + given, axis=1)
        return -float(weight @ each) + rough_prior_km * rates[1]

    starts = [np.log([usual, usual * factor]) for factor in (3.0, 0.01)]
    found = [
        minimize(loss, start, method="L-BFGS-B", bounds=[_LOG_RATES, _LOG_RATES])
        for start in starts
    ]
    rates = np.exp(min(found, key=lambda one: one.fun).x)
    return rates * (1.0, rates[1] > _LEAST_SHARE * rates[0])


def drawn_lives(
    lives: pd.DataFrame, most: int = _MOST, seed: int = 0
) -> tuple[pd.DataFrame, np.ndarray]:
    """Lives of known age, at most so many with a defect and without, and how often each counts."""
    lives = lives[lives["age_known"].astype(bool) & ~found_on_entry(lives)].reset_index(drop=True)
    rng, kept, counts = np.random.default_rng([seed, 9]), [], []
    for some in (lives["bad_km"].notna(), lives["bad_km"].isna()):
        members = np.flatnonzero(some)
        chosen = rng.choice(members, min(most, len(members)), replace=False)
        kept.append(np.sort(chosen))
        counts.append(np.full(len(chosen), len(members) / max(len(chosen), 1)))
    weight = np.concatenate(counts)
    chosen = lives.iloc[np.concatenate(kept)].reset_index(drop=True)
    return chosen, weight * chosen["times"].to_numpy(float)


def _late(way: np.ndarray) -> np.ndarray:
    return np.clip((way - _FROM) / (1 - _FROM), 0.0, 1.0)
