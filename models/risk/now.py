"""Chance that a sensor in service is in the defect state now, or enters it in the next km."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from models.risk.assumed import (
    SIGN_PRIORS,
    TEST_SENSITIVITY,
    TEST_SPACING_KM,
    BetaPrior,
)
from models.risk.baseline import Curve
from models.risk.cells import ENDLESS_KM, cells_in_service, survivor_shares
from models.risk.growth import WearGrowth
from models.risk.hazard import DefectHazard
from models.risk.past_tests import Read, good_test_gaps, read_of
from models.risk.season import Calendar, by_season
from models.risk.signs import sign_of, with_sign

#: Km ahead for which a chance is given, beside now.
HORIZONS_KM = (0.0, 1_000.0, 5_000.0, 10_000.0)
#: Sensors worked out at a time: with all draws, and at the fitted coefficients alone.
_CHUNK, _CHUNK_OF_ONE = 200, 2_000
_DRAWS_AT_ONCE = 40_000
#: Draws behind an interval.
N_RESAMPLES = 200
_LEAST = 1e-300
_SAME_KM = 1e-6
#: What of a sensor is a number or a flag, as far as chances hang on it.
_NUMBERS = (
    *("age_known", "repaired", "entry_km", "age_now_km", "good_km", "contact_km"),
    "last_test_km",
)
_FLAGS = ("age_known", "repaired")
#: Courses of the readings drawn for the intervals.
_COURSES = 10


class Draws(NamedTuple):
    """Coefficients, sensitivities and rates of being heard of, one of each a draw.

    ``rate`` is None where a defect is taken to stay silent until a test.
    """

    coef: np.ndarray
    s: np.ndarray
    rate: np.ndarray | None


class Chances(NamedTuple):
    """Chance and its interval by sensor and km ahead, each of shape (sensors, horizons)."""

    chance: np.ndarray
    low: np.ndarray
    high: np.ndarray


def usual_test_spacing_km(windows: pd.DataFrame) -> float:
    """Median distance between a defect's last good test and its finding, km."""
    width = (windows["bad_km"] - windows["good_km"]).astype(float)
    width = width[width > 0]
    return float(width.median()) if len(width) else TEST_SPACING_KM


def defect_chances(
    model: DefectHazard,
    sensors_now: pd.DataFrame,
    *,
    shares: Mapping[str, BetaPrior] = SIGN_PRIORS,
    sensitivity: BetaPrior = TEST_SENSITIVITY,
    spacing_km: float = TEST_SPACING_KM,
    horizons_km: tuple[float, ...] = HORIZONS_KM,
    n_resamples: int = N_RESAMPLES,
    level: float = 0.9,
    seed: int = 0,
    in_view: np.ndarray | None = None,
    wear_readings: pd.DataFrame | None = None,
    growth: WearGrowth | None = None,
    moved_km: np.ndarray | None = None,
    gaps_km: np.ndarray | None = None,
) -> Chances:
    """Chance of the defect state now and within each horizon, with an interval.

    **The curve and the last good tests.** With S the survivor function, s the sensitivity of a test
    and good tests at ages G, G - D, G - E (where it is not known when tests were made: the usual
    distance apart and not before observation began), the chance that all of them found nothing is
    P = s S(G) + s (1-s) S(G-D) + s (1-s)^2 S(G-E) + (1-s)^3, tests before those three being left
    out, and the chance of no defect at age A + h is S(A + h) / P. With s = 1 it is
    S(A + h) / S(G). A sensor never tested has S(A + h). A life begun by cleaning is taken to begin
    sound: S is then divided by its value at the cleaning. A sensor of unknown age: both the
    numerator and P are averaged over its possible ages at first sight.

    **Silence.** Where the model has a delay (``DefectHazard.delay_``) and a sensor a
    ``contact_km`` C, nothing was heard of it until C, so that a defect at u < C counts only with
    the chance that it stayed silent for C - u: P = S(C) + the sum over stretches (a, b] up to C of
    (S(a) - S(b)) (1-s)^(good tests after it) Q, with Q the mean of exp(-rate (C - u)) over the
    stretch. On a bike outside a fleet that may still be in view (``in_view``), P is the mean of
    those with C as it is and with C = A, so weighted. Without a delay or a contact, Q is 1 and C
    the last good test, and P is as above.

    **A sign in the last test** (verdict fail or suspect, drop-outs in the sweep). Of such tests a
    learned share q proves to be a defect. By Bayes' rule with the same likelihood ratio for every
    sensor, odds = odds(q) x odds(p) / odds(mean p), p being the curve's chance for this sensor and
    mean p that of the sensors that show the sign; the last factor is held within 1/3 to 3, because
    the curve knows little about a sensor that has already shown something. Silence from that test
    (``last_test_km``) until C multiplies the odds by exp(-rate (C - test)).

    **The season.** Where the model has learned of it and a sensor is dated (``now_on``), the hazard
    of each stretch, past and ahead, counts by the days on which its km were or will be run at the
    bike's km a day (``models.risk.season``).

    **The interval** is by draws of the coefficients and of the readings' course from their normal
    approximations, of s and of q from their Beta distributions; the chance itself is at the fitted
    coefficients and course and at mean s and q.

    Parameters
    ----------
    model : DefectHazard
        Fitted to the records.
    sensors_now : frame of shape (n, ...)
        Columns of ``SENSORS_NOW`` with ``age_now_km`` given in every row.
    shares : mapping of str to BetaPrior
        Share of each sign's tests that prove to be a defect (see ``learned_shares``).
    sensitivity : BetaPrior
        Share of defective sensors in which a test finds the defect.
    spacing_km : float
        Usual distance between two tests of one sensor, km.
    horizons_km : tuple of float
        Km ahead, the first of them 0.
    n_resamples, seed : int
        Number and seed of the draws.
    level : float
        Chance that an interval is meant to hold.
    in_view : array of shape (n,), optional
        Chance that a sensor's bike is still in view, so that a defect would have been heard of to
        this day; otherwise only until its contact. By default 0.
    wear_readings : frame, optional
        Columns of ``WEAR_READINGS``: what the tests of these sensors measured, and when the good
        ones were made.
    growth : WearGrowth, optional
        How readings grow towards the defect; without it they do not count. The chance of each age
        at the defect is then multiplied by the likelihood of the sensor's readings were it so, and
        of the complaints whose test passed (``models.risk.complaints``).
    moved_km : array of shape (n,), optional
        By how much ``age_now_km`` is set otherwise than it is, all else as many km before now.
    gaps_km : array of shape (n, 3), optional
        Km from the last good test back to itself and to those before it, NaN where there was
        none; by default from ``wear_readings``, or the usual distance where these are not given.
    """
    result = Chances(*(np.full((len(sensors_now), len(horizons_km)), np.nan) for _ in range(3)))
    for members, (log_ok, _) in _log_no_defect(
        model,
        sensors_now,
        shares=shares,
        sensitivity=sensitivity,
        spacing_km=spacing_km,
        horizons_km=horizons_km,
        n_resamples=n_resamples,
        seed=seed,
        in_view=in_view,
        wear_readings=wear_readings,
        growth=growth,
        moved_km=moved_km,
        gaps_km=gaps_km,
    ):
        _summarise(result, members, log_ok, level)
    return result


def drawn_chances(
    model: DefectHazard,
    sensors_now: pd.DataFrame,
    *,
    horizons_km: tuple[float, ...],
    n_resamples: int,
    **settings: Any,
) -> np.ndarray:
    """The chances behind ``defect_chances``, one draw being the same fit for all sensors.

    All arguments are those of ``defect_chances``. The result has the shape (1 + n_resamples, n,
    horizons), the first the chances themselves.
    """
    drawn = np.full((1 + n_resamples, len(sensors_now), len(horizons_km)), np.nan)
    how = {"horizons_km": horizons_km, "n_resamples": n_resamples, **settings}
    for members, (log_ok, _) in _log_no_defect(model, sensors_now, **how):
        drawn[:, members] = -np.expm1(np.minimum(log_ok, 0.0))
    return drawn


def point_chances(
    model: DefectHazard,
    sensors_now: pd.DataFrame,
    *,
    horizons_km: tuple[float, ...],
    **settings: Any,
) -> tuple[np.ndarray, np.ndarray]:
    """The chances of ``defect_chances`` alone, and what they were had all been heard of to today.

    Arguments are those of ``defect_chances``. Both results have the shape (n, horizons); the second
    is for every bike in view.
    """
    result = np.full((2, len(sensors_now), len(horizons_km)), np.nan)
    how = {**settings, "horizons_km": horizons_km, "n_resamples": 0, "all_heard": True}
    for members, both in _log_no_defect(model, sensors_now, **how):
        for chance, log_ok in zip(result, both, strict=True):
            chance[members] = -np.expm1(np.minimum(log_ok[0], 0.0))
    return result[0], result[1]


def _log_no_defect(
    model: DefectHazard,
    sensors_now: pd.DataFrame,
    *,
    shares: Mapping[str, BetaPrior] = SIGN_PRIORS,
    sensitivity: BetaPrior = TEST_SENSITIVITY,
    spacing_km: float = TEST_SPACING_KM,
    horizons_km: tuple[float, ...] = HORIZONS_KM,
    n_resamples: int = N_RESAMPLES,
    seed: int = 0,
    in_view: np.ndarray | None = None,
    wear_readings: pd.DataFrame | None = None,
    growth: WearGrowth | None = None,
    moved_km: np.ndarray | None = None,
    gaps_km: np.ndarray | None = None,
    all_heard: bool = False,
) -> Iterator[tuple[np.ndarray, tuple[np.ndarray, np.ndarray]]]:
    """Some sensors' places and log chances of no defect, shape (draws, sensors, horizons).

    Of these two: as each bike is in view and, where ``all_heard`` asks for it, were all.
    """
    rng = np.random.default_rng(seed)
    s = np.append(sensitivity.mean, rng.beta(sensitivity.hits, sensitivity.misses, n_resamples))
    draws = np.vstack([model.coef_, model.draw(n_resamples, seed, s=s[1:])])
    rate = None if model.delay_ is None else model.delay_.draw(n_resamples, seed)
    sign = sign_of(sensors_now, shares)
    read = read_of(sensors_now, wear_readings, growth, moved_km)
    read = read.with_courses(min(n_resamples, _COURSES), seed)
    if gaps_km is None:
        gaps_km = good_test_gaps(sensors_now, wear_readings, spacing_km)
    seen = np.zeros(len(sensors_now)) if in_view is None else np.asarray(in_view, dtype=float)
    ahead = np.asarray(horizons_km)
    drawn = Draws(draws, s, rate)
    unsigned = Unsigned.over(model, sensors_now, read, drawn, gaps_km, seen, ahead)
    size = max(_CHUNK, min(_CHUNK_OF_ONE, _DRAWS_AT_ONCE // (1 + n_resamples)))
    for members in _chunks(np.flatnonzero(sign.isna()), size):
        (log_ok, _), (heard, _) = unsigned.both(members, all_heard=all_heard)
        yield members, (log_ok, heard)
    for name in sorted(set(sign.dropna())):
        members, share = np.flatnonzero(sign == name), shares[name]
        parts = [unsigned.both(some, all_heard=all_heard) for some in _chunks(members, size)]
        q = np.append(share.mean, rng.beta(share.hits, share.misses, n_resamples))
        seen = _under_sign([part for part, _ in parts], q)
        yield members, (seen, _under_sign([part for _, part in parts], q) if all_heard else seen)


def _under_sign(parts: list[tuple[np.ndarray, np.ndarray]], q: np.ndarray) -> np.ndarray:
    """Log chances of all sensors that show a sign, given part by part without it."""
    log_ok, silence = (np.concatenate(part, axis=1) for part in zip(*parts, strict=True))
    return with_sign(log_ok, q, silence)


class Unsigned(NamedTuple):
    """Chances of sensors by all that is known but a sign in their last test.

    ``sensors`` holds what is a number or a flag of them, ``columns`` of shape (n, columns) what the
    hazard makes of all else: names are told apart once, not again for each part of them.
    ``gaps_km`` of shape (n, 3) and ``in_view`` of shape (n,) as ``defect_chances`` takes them;
    ``calendar`` is None where the season has no part.
    """

    model: DefectHazard
    curve: Curve
    sensors: pd.DataFrame
    columns: np.ndarray
    calendar: Calendar | None
    read: Read
    draws: Draws
    gaps_km: np.ndarray
    in_view: np.ndarray
    horizons_km: np.ndarray

    @classmethod
    def over(
        cls, model: DefectHazard, sensors: pd.DataFrame, read: Read, draws: Draws, *rest: Any
    ) -> Unsigned:
        """Of all these sensors; ``rest`` are the other fields in their order."""
        told = sensors[[name for name in _NUMBERS if name in sensors.columns]]
        flags = {name: told[name].astype("boolean").fillna(False) for name in _FLAGS}
        told = told.assign(**{name: flag.to_numpy(dtype=bool) for name, flag in flags.items()})
        columns = model.life_columns_.transform(sensors)
        curve = model.curve_to(ENDLESS_KM + float(model.entry_ages_.max()), draws.coef)
        return cls(model, curve, told, columns, model.calendar(sensors), read, draws, *rest)

    def of(self, members: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log chances of some sensors.

        Returns
        -------
        Of no defect, shape (draws, members, horizons), and of the silence since a defect at the
        last test, shape (draws, members).
        """
        return self.both(members, all_heard=False)[0]

    def both(
        self, members: np.ndarray, *, all_heard: bool
    ) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
        """What ``of`` returns, and the same were each bike in view.

        The second holds for all only where ``all_heard`` asks for it.
        """
        some, v, rate = self.sensors.iloc[members], self.in_view[members], self.draws.rate
        if rate is None or not (all_heard or v.any()):
            log_ok, silence = self._log_ok(some, members), _silence_since_test(some, rate)
            only = log_ok, np.broadcast_to(silence, log_ok.shape[:2])
            return only, only
        today = some.assign(contact_km=some["age_now_km"].where(some["contact_km"].notna()))
        until_contact, mixed = v < 1, v > 0
        until_today = mixed
        if all_heard:  # of the others the contact is that of today
            until_today = mixed | (some["contact_km"] < some["age_now_km"]).to_numpy()
        log_ok = np.zeros((len(self.draws.coef), len(some), len(self.horizons_km)))
        log_ok[:, until_contact] = self._log_ok(some[until_contact], members[until_contact])
        heard = log_ok.copy()
        heard[:, until_today] = self._log_ok(today[until_today], members[until_today])
        log_ok[:, mixed] = _mixed(log_ok[:, mixed], heard[:, mixed], v[mixed])
        silence, of_today = (np.exp(_silence_since_test(each, rate)) for each in (some, today))
        both = np.log((1 - v) * silence + v * of_today), np.log(of_today)
        seen, all_seen = (np.broadcast_to(each, log_ok.shape[:2]) for each in both)
        return (log_ok, seen), (heard, all_seen)

    def _log_ok(self, some: pd.DataFrame, members: np.ndarray) -> np.ndarray:
        """By the curve and last good test; sensors of known and of unknown age are worked apart."""
        shape = (len(self.draws.coef), len(some), len(self.horizons_km))
        result = np.zeros(shape)
        known = some["age_known"].to_numpy(dtype=bool)
        for chosen, ages in ((known, np.zeros(1)), (~known, self.model.entry_ages_)):
            if chosen.any():
                part = self._log_ok_over(some[chosen], members[chosen], ages)
                result[:, chosen] = part
        return result

    def _log_ok_over(
        self, sensors: pd.DataFrame, members: np.ndarray, start_km: np.ndarray
    ) -> np.ndarray:
        _, s, rate = self.draws
        cells = cells_in_service(sensors, self.gaps_km[members], s, rate, self.horizons_km)
        ages = cells.edges[:, :, None] + start_km
        at = self.curve.of(self.columns[members], ages)
        if self.calendar is not None:
            edges = cells.edges
            season = self.calendar.season(members[:, None], edges[:, :-1], edges[:, 1:])
            at = by_season(at, season, self.draws.coef[:, -1] * self.model.season_sd)
        chance = survivor_shares(at, sensors)
        chance *= cells.weight[..., None]
        self.read.take(members).weigh(chance, cells.middle[:, :, None] + start_km, start_km)
        chance = chance.sum(axis=3)
        age = np.fmax(sensors["age_now_km"].to_numpy(float), sensors["good_km"].to_numpy(float))
        bounds = age[:, None] + self.horizons_km - _SAME_KM
        begins = (cells.edges[:, :-1, None] < bounds[:, None, :]).sum(axis=1)
        onwards = np.cumsum(chance[:, :, ::-1], axis=2)[:, :, ::-1]
        ahead = np.take_along_axis(onwards, begins[None], axis=2)
        return np.log(np.maximum(ahead, _LEAST)) - np.log(onwards[:, :, :1])


def unsigned_chances(
    model: DefectHazard,
    sensors_now: pd.DataFrame,
    *,
    horizons_km: tuple[float, ...],
    sensitivity: BetaPrior,
    in_view: np.ndarray,
    wear_readings: pd.DataFrame | None,
    growth: WearGrowth | None,
    moved_km: np.ndarray,
    gaps_km: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Log chances at the fitted coefficients, by all that is known but a sign in the last test.

    All arguments are those of ``defect_chances``; a sensor may stand in several rows. The results
    are those of ``Unsigned.of`` for the one draw.
    """
    rate = None if model.delay_ is None else model.delay_.draw(0, 0)
    draws = Draws(model.coef_[None], np.array([sensitivity.mean]), rate)
    read = read_of(sensors_now, wear_readings, growth, moved_km).with_courses(0, 0)
    ahead = np.asarray(horizons_km)
    unsigned = Unsigned.over(model, sensors_now, read, draws, gaps_km, in_view, ahead)
    parts = [unsigned.of(some) for some in _chunks(np.arange(len(sensors_now)), _CHUNK_OF_ONE)]
    log_ok, silence = (np.concatenate(part, axis=1)[0] for part in zip(*parts, strict=True))
    return log_ok, silence


def _chunks(members: np.ndarray, size: int = _CHUNK) -> list[np.ndarray]:
    return [members[i : i + size] for i in range(0, len(members), size)]


def _summarise(result: Chances, members: np.ndarray, log_ok: np.ndarray, level: float) -> None:
    chance = -np.expm1(np.minimum(log_ok, 0.0))
    point, tail = chance[0], (1 - level) / 2
    drawn = chance[1:] if len(chance) > 1 else chance
    low, high = np.quantile(drawn, [tail, 1 - tail], axis=0)
    result.chance[members] = point
    result.low[members] = np.minimum(low, point)
    result.high[members] = np.maximum(high, point)


def _mixed(until_contact: np.ndarray, until_today: np.ndarray, in_view: np.ndarray) -> np.ndarray:
    """Log chance of no defect where silence holds until today with the chance ``in_view``.

    Both are log(N / P) with the same N; the mixture's P is the weighted mean of the two.
    """
    v = in_view[None, :, None]
    return -np.log((1 - v) * np.exp(-until_contact) + v * np.exp(-until_today))


def _silence_since_test(sensors: pd.DataFrame, rate: np.ndarray | None) -> np.ndarray:
    """Log chance that a defect at the last test was not heard of since, shape (draws, sensors)."""
    if rate is None or not {"contact_km", "last_test_km"} <= set(sensors.columns):
        return np.zeros((1, len(sensors)))
    since = (sensors["contact_km"] - sensors["last_test_km"]).to_numpy(float)
    return -rate[:, None] * np.maximum(np.nan_to_num(since), 0.0)
