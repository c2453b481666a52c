"""How a worn band moves and widens between tests, and when it reaches where its like failed.

Each test is asked alone where the band is, near where all tests together put it; a straight line
through the answers gives shift and growth. The square root of the band's level (drop-outs a pass)
is taken to grow in a straight line with km: a count's root has about the same spread whatever its
size, and spots and their chance to lift both grow with use. Each band's growth is drawn to that of
its like, and the level at failure is what lives that failed had at their end. How far such a
forecast is off is learnt from the same lives: each is foretold once from the tests up to one of
them, and held against its failure (as in conformal prediction, Vovk et al. 2005, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.stats import norm
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from models.wear.band_grid import CENTRES_PCT, TRAVEL_ERROR_PCT, WIDTHS_PCT
from models.wear.band_posterior import Posterior
from models.wear.bands import CHUNK, SHOWN_FROM, WornBands
from models.wear.by_row import by_row
from models.wear.records import WearRecords
from models.wear.schemas import FAILURES, PROGRESS
from models.wear.seen import Seen, in_life_order, strength

NEAR_PCT = 10.0  # a single test's band is looked for this near the life's
SIGN_ODDS = 0.0  # log odds from which a test alone shows the band
SPOT_SPREAD = 0.25  # spots found so far, against the band's width: 1 sigma of their middle
FEWEST_FAILURES = 8  # lives that failed, below which their level is not known
FAILURES_TRUSTED = 10.0  # failures that a normal spread of forecasts counts for
LEAST_KM = 100.0  # km left are told no finer than this
N_DRAWS = 400
_LIMIT = norm.ppf(0.95)


class BandProgress(BaseEstimator):
    """Shift, growth and expected failure of each life's strongest band.

    Parameters
    ----------
    bands : WornBands
        Fitted to the same records.
    seed : int

    Attributes
    ----------
    growth_ : tuple of float
        Mean and standard deviation of growth over the lives, root of level per 1000 km.
    failing_ : tuple of float, or None
        Mean and standard deviation of the root of level at failure; None with fewer than 8.
    n_failures_ : int
    off_ : array of shape (3,)
        Middle, 5 % and 95 % point of log (km left / km foretold), in its own spread.
    """

    def __init__(self, bands: WornBands, seed: int = 0):
        self.bands = bands
        self.seed = seed

    def fit(
        self, X: WearRecords, y: pd.DataFrame, *, pooled: np.ndarray, found: pd.DataFrame
    ) -> BandProgress:
        """Learn growth, and the level at failure.

        Parameters
        ----------
        X : WearRecords
            All tests.
        y : frame of ``FAILURES``
            Lives that failed.
        pooled : array of shape (n, BINS)
            Pooled intensity at each test.
        found : frame of ``BANDS``
            ``WornBands.predict`` on the same records.
        """
        return self.learn(self.series(X, pooled, found), y)

    def learn(self, series: pd.DataFrame, failures: pd.DataFrame) -> BandProgress:
        """As ``fit``, from ``series`` of all lives, one life's rows after another's."""
        failures = FAILURES.check(failures)
        fits = _growth(series)
        self.growth_ = _pooled_growth(fits)
        ends = _at_failure(series, fits, failures, self.growth_)
        self.n_failures_ = len(ends)
        self.failing_ = None
        if len(ends) >= FEWEST_FAILURES:
            self.failing_ = (float(ends.mean()), float(max(ends.std(ddof=1), 0.1)))
            self.off_ = self._learn_off(series, failures)
        return self

    def predict(self, X: WearRecords, pooled: np.ndarray, found: pd.DataFrame) -> pd.DataFrame:
        """Frame of ``PROGRESS``, a row a life whose last test leaves a band likely."""
        check_is_fitted(self)
        series = self.series(X, pooled, found)
        lives = series.drop_duplicates("life_id", keep="last").set_index("life_id")
        signs = series["signs"].groupby(series["life_id"]).sum()
        out = pd.DataFrame(index=lives.index)
        out["tests_with_signs"] = signs.reindex(lives.index).astype(int)
        shown = series[series["signs"]]
        for name, value, spread in (
            ("moved", "centre", "centre_sd"),
            ("widened", "width", "width_sd"),
        ):
            slope = _slopes(shown, value, spread).reindex(lives.index)
            name_km = f"{name}_pct_per_1000km"
            out[name_km] = slope["slope"]
            out[f"{name}_low"] = slope["slope"] - _LIMIT * slope["error"]
            out[f"{name}_high"] = slope["slope"] + _LIMIT * slope["error"]
        when = self._when(series).reindex(lives.index)
        out = out.join(when)
        out["answer"] = out["answer"].fillna("not enough known")
        return PROGRESS.check(out.reset_index())

    def series(self, X: WearRecords, pooled: np.ndarray, found: pd.DataFrame) -> pd.DataFrame:
        """Each test's own sight of its life's band: lives with a likely band, in order of age.

        Columns life_id, sensor_age_km, centre, centre_sd, width, width_sd, root (of level),
        root_sd, signs.
        """
        strongest = found[found["band_no"] == 1].drop_duplicates("life_id", keep="last")
        strongest = strongest[strongest["confidence"] >= SHOWN_FROM].set_index("life_id")
        order, _ = in_life_order(X)
        rows = order[X.tests["life_id"].iloc[order].isin(strongest.index).to_numpy()]
        chosen = X.take(rows)
        alone = self.bands.seen(chosen, pooled[rows], memory=0.0)
        band = strongest.loc[chosen.tests["life_id"]]
        parts = []
        for first in range(0, max(len(rows), 1), CHUNK):
            part = slice(first, first + CHUNK)
            parts.append(self._sight(alone.take(part), band.iloc[part]))
        sight = pd.concat(parts, ignore_index=True)
        ends = chosen.tests[["life_id", "sensor_age_km"]].reset_index(drop=True)
        return pd.concat([ends, sight], axis=1)

    def _sight(self, seen: Seen, band: pd.DataFrame) -> pd.DataFrame:
        peak = band["peak_pct"].to_numpy()
        near = np.abs(CENTRES_PCT - peak[:, None]) <= NEAR_PCT
        prior = np.where(near, 1.0, 1e-9)
        prior = (prior / prior.sum(axis=1, keepdims=True)).astype(np.float32)
        seen = replace(seen, prior=prior)
        found = self.bands.posterior(seen, 0.0)
        centre, centre_sd = _moments(found.place, CENTRES_PCT)
        width, width_sd = _moments(found.width, WIDTHS_PCT)
        half = np.maximum(0.5 * width, 0.6)
        level, _ = strength(seen, centre - half, centre + half, self.bands.stray_rate_)
        passes = seen.exposure.max(axis=1)
        return pd.DataFrame(
            {
                "centre": centre,
                "centre_sd": np.hypot(centre_sd, np.hypot(TRAVEL_ERROR_PCT, SPOT_SPREAD * width)),
                "width": width, "width_sd": np.hypot(width_sd, 0.3),
                "root": np.sqrt(level), "root_sd": 0.5 / np.sqrt(np.maximum(passes, 0.05)),
                "signs": _signs(found),
            }
        )  # fmt: skip

    def _when(self, series: pd.DataFrame) -> pd.DataFrame:
        fits = _drawn_to(_growth(series), self.growth_)
        last = series.groupby("life_id")["sensor_age_km"].max().reindex(fits.index)
        out = pd.DataFrame(index=fits.index)
        columns = ["fails_at_km", "fails_low_km", "fails_high_km"]
        out["answer"], out[columns] = "not enough known", np.nan
        known = (fits["n_signs"] >= 2).to_numpy()
        if self.failing_ is None or not known.any():
            return out
        age = last[known].to_numpy()
        km = self._crossing(fits[known])
        reached = np.median(km, axis=1) <= 0.0
        middle, spread = _log_km(km)
        out.loc[known, columns] = age[:, None] + np.exp(middle + spread * self.off_[:, None]).T
        out.loc[known, "answer"] = np.where(reached, "level reached", "km expected")
        return out

    def _learn_off(self, series: pd.DataFrame, failures: pd.DataFrame) -> np.ndarray:
        """Points of how far forecasts of lives that failed were off, drawn to normal ones."""
        usual = norm.ppf([0.5, 0.05, 0.95])
        known = failures.drop_duplicates("life_id").set_index("life_id")["failed_age_km"]
        own = series[series["life_id"].isin(known.index)]
        part = np.random.default_rng(self.seed).random(own["life_id"].nunique())
        number = own.groupby("life_id", sort=False).ngroup().to_numpy()
        turn = own.groupby("life_id").cumcount().to_numpy()
        size = own.groupby("life_id")["life_id"].transform("size").to_numpy()
        cut = own[turn <= np.floor(1 + part[number] * (size - 1))]
        fits = _drawn_to(_growth(cut), self.growth_)
        fits = fits[fits["n_signs"] >= 2]
        if fits.empty:
            return usual
        last = cut.groupby("life_id")["sensor_age_km"].max().reindex(fits.index)
        rest = np.log(np.maximum(known.reindex(fits.index) - last, LEAST_KM).to_numpy())
        middle, spread = _log_km(self._crossing(fits))
        # a little beyond 5 and 95 %: the points are learnt from few lives themselves
        seen = np.quantile((rest - middle) / spread, [0.5, 0.04, 0.96])
        return (len(fits) * seen + FAILURES_TRUSTED * usual) / (len(fits) + FAILURES_TRUSTED)

    def _crossing(self, fits: pd.DataFrame) -> np.ndarray:
        """Km from the last test until each life's level is that of failure, (lives, draws).

        All lives share their draws, so that none hangs on which others there are. Each of the three
        things drawn is spread evenly over its chances, since lives share the error of draws too.
        """
        even = np.tile((np.arange(N_DRAWS) + 0.5) / N_DRAWS, (3, 1))
        first, second, part = np.random.default_rng(self.seed).permuted(even, axis=1)
        first, second = norm.ppf(first), norm.ppf(second)
        own = {name: fits[[name]].to_numpy() for name in ("now", "now_sd", "slope", "slope_sd")}
        now = own["now"] + own["now_sd"] * first
        growth = own["slope"] + own["slope_sd"] * second
        growth = np.maximum(np.abs(growth), 0.02)
        mean, sd = self.failing_
        # it has not failed yet, so its own level at failure lies above what it has
        below = norm.cdf((np.minimum(now, mean + 2 * sd) - mean) / sd)
        level = mean + sd * norm.ppf(below + (1.0 - below) * part)
        return 1000.0 * (level - now) / growth


def _log_km(km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Middle and spread (1 sigma) of the log of each row's draws."""
    low, middle, high = np.log(np.maximum(np.quantile(km, [0.05, 0.5, 0.95], axis=1), LEAST_KM))
    return middle, np.maximum((high - low) / (2.0 * _LIMIT), 0.2)


def _signs(found: Posterior) -> np.ndarray:
    return found.log_odds > SIGN_ODDS


def _moments(weights: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    mean = by_row(weights, values)
    return mean, np.sqrt(np.maximum(by_row(weights, values**2) - mean**2, 0.0))


def _slopes(shown: pd.DataFrame, value: str, spread: str) -> pd.DataFrame:
    """Weighted straight line per life against thousands of km: slope and error, index life_id.

    Only lives with two tests that show the band have one.
    """
    km = shown["sensor_age_km"].to_numpy() / 1000.0
    w = 1.0 / shown[spread].to_numpy() ** 2
    y = shown[value].to_numpy()
    terms = pd.DataFrame({"w": w, "wx": w * km, "wy": w * y, "wxx": w * km**2, "wxy": w * km * y})
    s = terms.groupby(shown["life_id"].to_numpy()).sum()
    n = shown.groupby("life_id").size().reindex(s.index)
    across = s["wxx"] - s["wx"] ** 2 / s["w"]
    slope = (s["wxy"] - s["wx"] * s["wy"] / s["w"]) / across
    usable = (n >= 2) & (across > 1e-6)
    out = pd.DataFrame({"slope": slope, "error": 1.0 / np.sqrt(across.clip(lower=1e-12))})
    return out[usable].rename_axis("life_id")


def _growth(series: pd.DataFrame) -> pd.DataFrame:
    """Root of level now and its growth, from tests from the first drop-out on; index life_id."""
    risen = series["root"] > 0
    started = risen.groupby(series["life_id"]).cumsum() > 0
    shown = series[started]
    slope = _slopes(shown, "root", "root_sd")
    w = 1.0 / shown["root_sd"] ** 2
    terms = pd.DataFrame(
        {"w": w, "wx": w * shown["sensor_age_km"] / 1000.0, "wy": w * shown["root"]}
    )
    s = terms.groupby(shown["life_id"]).sum()
    last = shown.groupby("life_id")["sensor_age_km"].max() / 1000.0
    out = pd.DataFrame({"middle": s["wy"] / s["w"], "middle_sd": 1.0 / np.sqrt(s["w"])})
    out["ahead"] = last - s["wx"] / s["w"]
    out["n_signs"] = shown.groupby("life_id").size()
    return out.join(slope)


def _pooled_growth(fits: pd.DataFrame) -> tuple[float, float]:
    """Mean and spread of growth over lives (moments, DerSimonian & Laird 1986, from memory)."""
    known = fits.dropna(subset=["slope"])
    if len(known) < 3:
        return 0.25, 0.2  # assumed until three lives show how they grow
    w = 1.0 / known["error"] ** 2
    mean = float((w * known["slope"]).sum() / w.sum())
    excess = float((w * (known["slope"] - mean) ** 2).sum() - (len(known) - 1))
    between = max(excess, 0.0) / float(w.sum() - (w**2).sum() / w.sum())
    w = 1.0 / (known["error"] ** 2 + between)
    return float((w * known["slope"]).sum() / w.sum()), float(np.sqrt(between) + 0.03)


def _drawn_to(fits: pd.DataFrame, growth: tuple[float, float]) -> pd.DataFrame:
    """Each life's growth weighed with its like's, and its level at its last test."""
    mean, sd = growth
    own = 1.0 / fits["error"].astype(float).fillna(np.inf) ** 2
    precision = own + 1.0 / sd**2
    out = fits.copy()
    out["slope"] = (own * fits["slope"].fillna(0.0) + mean / sd**2) / precision
    out["slope_sd"] = np.sqrt(1.0 / precision)
    out["now"] = fits["middle"] + out["slope"] * fits["ahead"]
    out["now_sd"] = np.hypot(fits["middle_sd"], out["slope_sd"] * fits["ahead"])
    return out


def _at_failure(
    series: pd.DataFrame, fits: pd.DataFrame, failures: pd.DataFrame, growth: tuple[float, float]
) -> np.ndarray:
    """Root of level at the failure of lives whose band was seen before it."""
    known = failures.drop_duplicates("life_id").set_index("life_id")["failed_age_km"]
    own = _drawn_to(fits, growth)
    own = own[own.index.isin(known.index)]
    last = series.groupby("life_id")["sensor_age_km"].max().reindex(own.index)
    beyond = (known.reindex(own.index) - last).clip(lower=0.0) / 1000.0
    return (own["now"] + own["slope"].clip(lower=0.0) * beyond).to_numpy()
