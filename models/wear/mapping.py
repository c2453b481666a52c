"""Map the wear of all sensors: the public door of this package.

``fit_wear`` learns from all tests; ``score_wear`` says what a fit makes of records, which may hold
tests that came since. Both together are ``map_wear``. When a fit may stand is said in
``evidence_moved``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.wear.bands import SHOWN_FROM, WornBands
from models.wear.concentration import Concentration, concentration
from models.wear.dwell import pooled_pattern
from models.wear.life_scores import Remember, forgetful, life_keys, score_lives
from models.wear.map_cells import ALL, WearMap, map_curves, selections
from models.wear.progress import BandProgress
from models.wear.records import WearError, WearRecords
from models.wear.schemas import PATTERNS
from models.wear.seen import lives_by_parts
from models.wear.sensor import SensorIntensity
from models.wear.surface import WearSurface


@dataclass(frozen=True)
class FittedWear:
    """What was learned from all tests.

    dropouts : the fitted surface of drop-outs, means alone.
    progress : how bands go on, with the fitted band model.
    sensors : how one test follows another.
    curves, patterns : frames of ``MAP_CURVES`` and ``PATTERNS``.
    gathered : for (part_no, duty), "all" for any, whether wear is concentrated.
    """

    dropouts: WearSurface
    progress: BandProgress
    sensors: SensorIntensity
    curves: pd.DataFrame
    patterns: pd.DataFrame
    gathered: dict[tuple[str, str], Concentration]

    @property
    def worn(self) -> WornBands:
        """The fitted band model."""
        return self.progress.bands

    @property
    def stray_rate(self) -> float:
        """Drop-outs a pass and bin that are no wear."""
        return self.dropouts.strays_.rate


@dataclass(frozen=True)
class WearResults:
    """What the map says.

    wear_map, bands, progress, own : frames of ``WEAR_MAP``, ``BANDS``, ``PROGRESS`` and
    ``OWN_WEAR``.
    fitted : the fit that they rest on.
    """

    wear_map: pd.DataFrame
    bands: pd.DataFrame
    progress: pd.DataFrame
    own: pd.DataFrame
    fitted: FittedWear

    def expected(self, like: pd.DataFrame) -> np.ndarray:
        """Drop-outs a pass that sensors are expected to show in each bin, shape (n, BINS).

        ``like`` : columns life_id, part_no, duty and sensor_age_km, a sensor a row.
        """
        pooled = self.fitted.dropouts.predict_wear(like)
        return self.fitted.sensors.predict(like, pooled, self.own)


def map_wear(records: WearRecords, failures: pd.DataFrame, seed: int = 0) -> WearResults:
    """Fit to records, and score the same; arguments and errors as of ``fit_wear``."""
    return score_wear(fit_wear(records, failures, seed), records)


def fit_wear(records: WearRecords, failures: pd.DataFrame, seed: int = 0) -> FittedWear:
    """Learn all that rests on many sensors.

    Parameters
    ----------
    records : WearRecords
        As of ``wear_records``.
    failures : frame of ``FAILURES``
        Lives whose end is known to have been a failure; may be empty.
    seed : int
        Of the draws for limits and random shifts.

    Raises
    ------
    WearError
        There is no test that could have shown anything.
    """
    if not len(records):
        raise WearError("no bench test with a measured sweep to map")
    tests = records.tests
    dropouts = WearSurface("poisson").fit(tests, records.counts, records.exposure)
    rough = None
    if np.isfinite(records.roughness).any():
        rough = WearSurface("gamma").fit(tests, records.roughness)

    def pooled(rows: np.ndarray) -> np.ndarray:
        return dropouts.predict_wear(tests.iloc[rows])

    worn = WornBands().fit(records, pooled, dropouts.strays_.rate)
    progress = BandProgress(worn, seed)
    parts = (
        _series(progress, records.take(rows), pooled(rows)) for rows in lives_by_parts(records)
    )
    return FittedWear(
        dropouts=dropouts.means_alone(),
        progress=progress.learn(pd.concat(parts, ignore_index=True), failures),
        sensors=SensorIntensity(worn).fit(records, pooled),
        curves=map_curves(tests, dropouts, rough),
        patterns=duty_patterns(tests, dropouts),
        gathered=gathered(records, worn, seed),
    )


def _series(progress: BandProgress, own: WearRecords, pooled: np.ndarray) -> pd.DataFrame:
    return progress.series(own, pooled, progress.bands.predict(own, pooled))


def score_wear(
    fitted: FittedWear, records: WearRecords, remember: Remember = forgetful
) -> WearResults:
    """What a fit says of records: a function of these two alone, and life by life where it is so.

    Parameters
    ----------
    fitted : FittedWear
        Of these records, or of earlier ones.
    records : WearRecords
        As they stand.
    remember : callable
        See ``life_scores.Remember``.
    """
    counted = WearMap(records.tests, fitted.curves)
    counted.count(records)

    def records_of(lives: pd.Index) -> Iterator[WearRecords]:
        yield records.take(lives.get_indexer(records.tests["life_id"]) >= 0)

    keys = life_keys(records.tests["life_id"], records.keys)
    return scores(fitted, counted, keys, records_of, remember)


def scores(
    fitted: FittedWear,
    counted: WearMap,
    keys: pd.Series,
    records_of: Callable[[pd.Index], Iterable[WearRecords]],
    remember: Remember = forgetful,
) -> WearResults:
    """As ``score_wear``, of records that are not all there at once.

    Parameters
    ----------
    fitted : FittedWear
        The fit.
    counted : WearMap
        Of its curves, in which all tests are counted.
    keys, records_of, remember
        See ``score_lives``.
    """
    models = fitted.dropouts, fitted.progress, fitted.sensors
    lives = score_lives(keys, records_of, *models, remember)
    return WearResults(counted.frame(), lives.bands, lives.progress, lives.own, fitted)


def gathered(
    records: WearRecords, worn: WornBands, seed: int = 0
) -> dict[tuple[str, str], Concentration]:
    """Flat or concentrated, for all together, each part, each duty and each pair.

    Each life with a likely band counts once, where its own drop-outs and roughness put it; a life
    whose drop-outs alone are looked at would need to be further gone.
    """
    rows, share = worn.sights(records)
    lives, even = records.take(rows).tests, np.ones_like(share)
    return {
        (part_no, duty): concentration(
            rows[own], share[own], even[own], seed=seed, least=SHOWN_FROM
        )
        for part_no, duty, own in selections(lives, records.tests)
    }


def duty_patterns(tests: pd.DataFrame, surface: WearSurface) -> pd.DataFrame:
    """Each duty's share of the wear over the travel, at the middle age of its tests: ``PATTERNS``.

    All duties together come first.
    """
    frames = []
    for duty in [ALL, *sorted(tests["duty"].dropna().unique())]:
        own = tests if duty == ALL else tests[tests["duty"].eq(duty)]
        like = pd.DataFrame(
            {
                "part_no": [None],
                "duty": [None if duty == ALL else duty],
                "sensor_age_km": [float(own["sensor_age_km"].median())],
            }
        )
        pattern = pooled_pattern(surface.predict_wear(like)[0], surface.log_error(like)[0])
        frames.append(pattern.assign(duty=duty))
    return PATTERNS.check(pd.concat(frames, ignore_index=True))
