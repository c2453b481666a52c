"""Where a sensor's track is worn, from its drop-outs and roughness together.

Every place, width and strength of a band is tried against what the tests showed, and weighed by
how likely it is and how often the sensor's like wear there: the posterior is summed up, not
searched for. The strongest band is taken first; what it leaves is asked for another. How often
sensors are worn, how strongly and how widely, is learnt from all of them (empirical Bayes).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from models.wear.band_evidence import (
    BandChances,
    level_terms,
    log_sum,
    rough_terms,
    shape_terms,
)
from models.wear.band_grid import (
    CENTRES_PCT,
    LEVELS,
    ROUGHENINGS,
    TRAVEL_ERROR_PCT,
    WIDTHS_PCT,
    band_grid,
)
from models.wear.band_posterior import Posterior, chance_of, edges, middle_and_limits
from models.wear.by_row import by_row
from models.wear.drift import blurred, drift_pct
from models.wear.exposure import BINS
from models.wear.records import WearRecords
from models.wear.schemas import BANDS
from models.wear.seen import (
    Pooled,
    Seen,
    grain,
    in_life_order,
    lives_by_parts,
    lives_of,
    own_grain,
    place_prior,
    pooled_at,
    remembered,
    sights,
    steadiness,
    strength,
)

MEMORY = 0.35  # what a test counts for at the next one: a band moves and grows
FURTHER_BAND = 0.10  # prior chance of one more band beside those found (assumed)
MOST_BANDS = 3
OF_TRACK = 0.5  # share of sweeps whose cause is undecided in which it is the track (assumed)
BIN_WORTH = 0.01  # drop-outs that a bin's roughness is worth, when asked how old the evidence is
_FURTHER_ODDS = float(np.log(FURTHER_BAND / (1.0 - FURTHER_BAND)))
SHOWN_FROM = 0.5  # a further band is reported from this probability on
STOP_PCT = 4.0
_IN_BIN = np.repeat(np.eye(BINS, dtype=np.float32), len(CENTRES_PCT) // BINS, axis=0)
CHUNK = 400  # rows worked on at a time: their tables stay in the cache


class WornBands(BaseEstimator):
    """Posterior of worn bands, with the chances of strength and width learnt from all sensors.

    Parameters
    ----------
    memory : float
        Weight of a test at the next one of the same life.
    max_iter : int
        Steps of the empirical Bayes fit.
    fit_lives : int
        Lives used for it, at most.

    Attributes
    ----------
    worn_share_ : float
        Share of sensors with a band.
    level_prior_, rough_prior_, width_prior_ : arrays
        Chances of ``LEVELS``, ``ROUGHENINGS`` and ``WIDTHS_PCT``.
    grain_, own_grain_ : float
        Variance of a sound bin's log roughness, and the share of it that comes back at every test.
    drift_pct_ : float
        By how much bands move in 1,000 km, root mean square, % of travel.
    stray_rate_ : float
    """

    def __init__(self, memory: float = MEMORY, max_iter: int = 6, fit_lives: int = 2000):
        self.memory = memory
        self.max_iter = max_iter
        self.fit_lives = fit_lives

    def fit(self, X: WearRecords, y: Pooled, stray_rate: float = 2e-4) -> WornBands:
        """Learn from tests ``X``; ``y`` is the pooled intensity (wear only)."""
        self.start(stray_rate, grain(X.roughness))
        order, last = in_life_order(X)
        self.own_grain_ = own_grain(X, order)
        self.drift_pct_ = drift_pct(X, order)
        rows = order[last]
        if len(rows) > self.fit_lives:
            rows = np.random.default_rng(0).choice(rows, self.fit_lives, replace=False)
        self._learn(self.seen_at(X, y, rows).sure())
        return self

    def start(self, stray_rate: float, grain: float) -> WornBands:
        """Set all chances to the assumed ones, from which ``fit`` learns."""
        self.stray_rate_, self.grain_ = max(float(stray_rate), 1e-5), float(grain)
        self.worn_share_ = 0.3
        self.level_prior_ = np.array([0.4, 0.1, 0.1, 0.15, 0.15, 0.1])
        self.rough_prior_ = np.array([0.3, 0.2, 0.2, 0.15, 0.1, 0.05])
        self.width_prior_ = np.full(len(WIDTHS_PCT), 1.0 / len(WIDTHS_PCT))
        return self

    def seen(self, X: WearRecords, pooled: np.ndarray, memory: float | None = None) -> Seen:
        """What is known after each test of ``X`` from it and its life's earlier ones."""
        memory = self.memory if memory is None else memory
        order, _ = in_life_order(X)
        life = pd.factorize(X.tests["life_id"])[0]
        known = np.isfinite(X.roughness)
        weight = np.where(known, steadiness(X.roughness, self.grain_), 0.0)
        log = weight * np.log(np.where(known, X.roughness, 1.0))
        sure = ~X.tests["fault_nature"].eq("undecided").fillna(False).to_numpy(bool)[:, None]
        values = (X.counts, X.exposure, log, weight, X.counts * sure, X.exposure * sure)
        sums = [remembered(np.asarray(v, np.float32), life, order, memory) for v in values]
        age = X.tests["sensor_age_km"].to_numpy(float)
        told = X.counts.sum(axis=1) + BIN_WORTH * known.sum(axis=1) + 1e-9
        when, worth = (remembered(v, life, order, memory) for v in (told * age, told))
        lag = np.maximum(age - when / worth, 0.0)
        return Seen(*sums[:4], place_prior(pooled), lag, *sums[4:])

    def seen_at(self, X: WearRecords, pooled: Pooled, rows: np.ndarray) -> Seen:
        """Rows of ``seen``; only tests of their lives are gone through."""
        own = lives_of(X, rows)
        return self.seen(X.take(own), pooled_at(pooled, own)).take(np.searchsorted(own, rows))

    def predict(self, X: WearRecords, pooled: np.ndarray) -> pd.DataFrame:
        """Worn bands after each test of ``X``: frame of ``BANDS``.

        The first band has a row whatever its confidence, further ones from 0.5 on.
        """
        check_is_fitted(self)
        seen, frames = self.seen(X, pooled), []
        rows, odds = np.arange(len(X)), self.prior_log_odds
        for number in range(1, MOST_BANDS + 1):
            found = self.describe(seen, odds)
            if number > 1:
                keep = found["confidence"].to_numpy() >= SHOWN_FROM
                rows, seen, found = rows[keep], seen.take(keep), found[keep]
            tests = X.tests.iloc[rows][["life_id", "session_id", "sensor_age_km"]]
            frames.append(found.assign(band_no=number, **{c: tests[c].to_numpy() for c in tests}))
            worth = found["confidence"].to_numpy() >= SHOWN_FROM
            rows, seen = rows[worth], seen.take(worth)
            cut = found[worth]
            if not len(rows):
                break
            seen = seen.without(cut["from_pct"].to_numpy(), cut["to_pct"].to_numpy())
            odds = _FURTHER_ODDS
        together = pd.concat(frames, ignore_index=True)
        return BANDS.check(together.sort_values(["life_id", "sensor_age_km", "band_no"]))

    def describe(self, seen: Seen, prior_log_odds: float) -> pd.DataFrame:
        """Columns of ``BANDS`` that describe the likeliest band of each row."""
        parts = []
        for first in range(0, max(len(seen.counts), 1), CHUNK):
            part = seen.take(slice(first, first + CHUNK))
            posterior = self.posterior(part, prior_log_odds)
            parts.append(self._described(part, posterior))
        return pd.concat(parts, ignore_index=True)

    @property
    def chances(self) -> BandChances:
        """What is taken of bands before a sensor's own tests."""
        return BandChances(
            self.level_prior_,
            self.rough_prior_,
            self.width_prior_,
            self.stray_rate_,
            self.grain_,
            self.own_grain_,
        )

    @property
    def prior_log_odds(self) -> float:
        """Log odds of a band before any test."""
        return float(np.log(self.worn_share_ / (1.0 - self.worn_share_)))

    def own_share(self, X: WearRecords, pooled: np.ndarray) -> np.ndarray:
        """Where each sensor wears, as known after each test: shares of the bins, shape (n, BINS).

        The pooled shares as far as no band is known, the band's place as far as one is.
        """
        check_is_fitted(self)
        seen = self.seen(X, pooled)
        out = pooled / np.maximum(pooled.sum(axis=1, keepdims=True), 1e-300)
        for first in range(0, len(out), CHUNK):
            part = slice(first, first + CHUNK)
            out[part] = self._own_share(seen.take(part), out[part])
        return out

    def own_level(
        self, X: WearRecords, pooled: Pooled, rows: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """How strongly and where sensors wear, as known after the tests ``rows`` of ``X``.

        Returns
        -------
        Drop-outs a pass in the worn band, posterior mean with the chance that there is none, shape
        (rows,); and the shares of ``own_share``, shape (rows, BINS).
        """
        check_is_fitted(self)
        seen, level = self.seen_at(X, pooled, rows), np.zeros(len(rows))
        share = pooled_at(pooled, rows)
        share = share / np.maximum(share.sum(axis=1, keepdims=True), 1e-300)
        for first in range(0, len(rows), CHUNK):
            part = slice(first, first + CHUNK)
            share[part] = self._own_share(seen.take(part), share[part])
            chance = chance_of(self.posterior(seen.take(part), self.prior_log_odds).log_odds)
            level[part] = chance * self._mean_level(seen.take(part))
        return level, share

    def _mean_level(self, seen: Seen) -> np.ndarray:
        """Posterior mean of the drop-outs a pass in a band, given that there is one."""
        by_level = level_terms(seen, self.chances)
        height = log_sum(by_level)
        log = shape_terms(seen, self.chances, height, log_sum(rough_terms(seen, self.chances)))
        top = log.max(axis=1, keepdims=True)
        weight = np.exp(log - top)
        each = [
            v * (weight * np.exp(t - height)).sum(axis=1)
            for v, t in zip(LEVELS, by_level, strict=True)
        ]
        return sum(each) / weight.sum(axis=1)

    def sights(self, X: WearRecords) -> tuple[np.ndarray, np.ndarray]:
        """Where each life wears by its own tests alone, nothing taken from its like.

        Returns
        -------
        Row numbers of the last test of each life with a band likely, and shares of the bins there,
        shape (lives, BINS), each adding up to 1.
        """
        kept, shares = [np.zeros(0, dtype=int)], [np.zeros((0, BINS))]
        for own in lives_by_parts(X):
            part = X.take(own)
            order, last = in_life_order(part)
            rows = order[last]
            seen = self.seen(part, np.ones((len(part), BINS))).take(rows)
            for first in range(0, len(rows), CHUNK):
                some = slice(first, first + CHUNK)
                found = self.posterior(seen.take(some), self.prior_log_odds)
                known = chance_of(found.log_odds) >= SHOWN_FROM
                kept.append(own[rows[some][known]])
                shares.append(found.place[known] @ _IN_BIN)
        return np.concatenate(kept), np.concatenate(shares)

    def _own_share(self, seen: Seen, like: np.ndarray) -> np.ndarray:
        spread = band_grid().spread.reshape(len(CENTRES_PCT), -1, BINS)[:, 1]
        first = self.posterior(seen, self.prior_log_odds)
        chance = chance_of(first.log_odds)[:, None]
        out = (1.0 - chance) * like + chance * by_row(first.place, spread)
        more = np.flatnonzero(chance[:, 0] >= SHOWN_FROM)
        if more.size:
            begin, end = edges(first)
            rest = seen.take(more).without(begin[more], end[more])
            second = self.posterior(rest, _FURTHER_ODDS)
            also = chance_of(second.log_odds)[:, None]
            out[more] = (out[more] + also * by_row(second.place, spread)) / (1.0 + also)
        return out

    def posterior(self, seen: Seen, prior_log_odds: float) -> Posterior:
        """Odds of a band, its place and width; up to some hundred rows at once.

        Where drop-outs may be a tugged lead's, this is a mean of what follows if they are and if
        they are not. A lead is tugged anywhere, so a place at which its like wear speaks for the
        track.
        """
        found = self._posterior(seen, prior_log_odds)
        doubtful = np.flatnonzero((seen.counts != seen.sure_counts).any(axis=1))
        if not doubtful.size:
            return found
        own = seen.take(doubtful)
        other = self._posterior(own.sure(), prior_log_odds)
        fits = len(CENTRES_PCT) * (found.place[doubtful] * own.prior).sum(axis=1)
        track = OF_TRACK * fits / (OF_TRACK * fits + 1.0 - OF_TRACK)
        with_band = track * chance_of(found.log_odds[doubtful])
        without = (1.0 - track) * chance_of(other.log_odds)
        chance = np.clip((with_band + without).astype(float), 1e-9, 1.0 - 1e-9)
        part = (with_band / chance)[:, None]
        found.log_odds[doubtful] = np.log(chance / (1.0 - chance))
        found.place[doubtful] = part * found.place[doubtful] + (1.0 - part) * other.place
        found.width[doubtful] = part * found.width[doubtful] + (1.0 - part) * other.width
        return found

    def _posterior(self, seen: Seen, prior_log_odds: float) -> Posterior:
        """As ``posterior``, every drop-out taken for the track's.

        Drop-outs of one spot show the same place again and again: for the place they count as
        often as they come from different bins (``sights``), for there being a band in full.
        """
        by_rough = log_sum(rough_terms(seen, self.chances))
        whole = shape_terms(seen, self.chances, log_sum(level_terms(seen, self.chances)), by_rough)
        top = whole.max(axis=1)
        weight = np.exp(whole - top[:, None])
        evidence = top + np.log(weight.sum(axis=1))
        many = sights(seen.counts) / np.maximum(seen.counts.sum(axis=1), 1.0)
        again = np.flatnonzero(many < 1.0)
        if again.size:
            levels = log_sum(level_terms(seen.take(again), self.chances, many[again, None]))
            shapes = shape_terms(seen.take(again), self.chances, levels, by_rough[again])
            weight[again] = np.exp(shapes - shapes.max(axis=1, keepdims=True))
        weight = weight.reshape(len(weight), len(CENTRES_PCT), len(WIDTHS_PCT))
        weight = weight / weight.sum(axis=(1, 2))[:, None, None]
        place = blurred(weight.sum(axis=2), self._off_pct(seen))
        return Posterior(prior_log_odds + evidence, place, weight.sum(axis=1))

    def _off_pct(self, seen: Seen) -> np.ndarray:
        """What else a place may be off by, 1 sigma: the shapes have the error of drop-outs only.

        A band moves on from where earlier tests saw it; roughness is placed by one session's
        travel.
        """
        moved = self.drift_pct_ * seen.lag_km / 1000.0
        return np.hypot(moved, np.where(seen.counts.any(axis=1), 0.0, TRAVEL_ERROR_PCT))

    def _learn(self, seen: Seen) -> None:
        """EM for the share worn and the chances of level, roughening and width."""
        for _ in range(self.max_iter):
            sums = [np.ones(len(p)) for p in (LEVELS, ROUGHENINGS, WIDTHS_PCT)]
            worn, odds = 1.0, self.prior_log_odds
            for first in range(0, len(seen.counts), CHUNK):
                part = seen.take(slice(first, first + CHUNK))
                worn += self._gather(part, odds, sums)
            self.worn_share_ = float(worn / (len(seen.counts) + 2.0))
            self.level_prior_, self.rough_prior_, self.width_prior_ = (v / v.sum() for v in sums)

    def _gather(self, seen: Seen, odds: float, sums: list[np.ndarray]) -> float:
        by_level, by_rough = level_terms(seen, self.chances), rough_terms(seen, self.chances)
        whole = [log_sum(by_level), log_sum(by_rough)]
        log = shape_terms(seen, self.chances, *whole)
        top = log.max(axis=1, keepdims=True)
        weight = np.exp(log - top)
        evidence = top[:, 0] + np.log(weight.sum(axis=1))
        chance = chance_of(evidence + odds)
        weight *= (chance / weight.sum(axis=1))[:, None]
        for terms, height, total in zip((by_level, by_rough), whole, sums[:2], strict=True):
            total += [float((weight * np.exp(term - height)).sum()) for term in terms]
        sums[2] += weight.reshape(len(weight), len(CENTRES_PCT), -1).sum(axis=(0, 1))
        return float(chance.sum())

    def _described(self, seen: Seen, posterior: Posterior) -> pd.DataFrame:
        peak, low, high = middle_and_limits(posterior.place)
        begin, end = edges(posterior)
        level, rough = strength(seen, begin, end, self.stray_rate_)
        return pd.DataFrame(
            {
                "confidence": chance_of(posterior.log_odds),
                "peak_pct": peak, "peak_low_pct": low, "peak_high_pct": high,
                "from_pct": begin, "to_pct": end, "level": level, "roughening": rough,
                "at_stop": (begin <= STOP_PCT) | (end >= 100.0 - STOP_PCT),
            }
        )  # fmt: skip
