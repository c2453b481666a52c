"""Fleets of worn sensors at the level of records, with their truth: fast enough for a thousand.

Shapes follow ``models.simulate``: the band's middle is drawn from what the duty holds, it is 1.2
to 5 % wide, spots multiply after the defect, each crossing lifts with a chance, lengths are
log-uniform. Parts, duties and holds are the invented world's. Figures of the recording (grain of
19 %, 0.6 % error of travel) are those that the sweeps of the demo came out with.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import ndtr

from models.simulate.world import DUTIES, PARTS
from models.wear.exposure import BIN_PCT, BINS, shown_share
from models.wear.records import WearRecords

EDGES = np.arange(BINS + 1) * BIN_PCT
SPOTS = 5
SPOT_SPREAD, TRAVEL_ERROR = 0.15, 0.6
GRAIN, OWN_GRAIN = 0.19, 0.7  # relative spread of a sound bin; share of its variance that repeats
FALSE_PER_PASS_BIN = 0.0002
LOGGERS_HZ = (200.0, 1000.0, 50.0, 8.0)
LOGGER_SHARES = (0.85, 0.05, 0.06, 0.04)


@dataclass(frozen=True)
class Truth:
    """What a simulated fleet is like.

    bands : worn bands of each sensor. even : their middles spread evenly over the travel, with
    ``doubled`` (from, to) twice as many in one stretch. centre_pct : about where they are, of all
    or of each sensor. move_pct_per_1000km : shift after the
    defect. spacing_km, tests : mean km between tests and the most of them. rest_km : how far a
    sensor may run on past its failure (0: it is taken off then).
    """

    parts: tuple[str, ...] = ("QK-1140", "LN-72")
    duties: tuple[str, ...] = ("commute", "courier")
    bands: int = 1
    even: bool = False
    doubled: tuple[float, float] | None = None
    centre_pct: float | np.ndarray | None = None
    move_pct_per_1000km: float = 0.0
    spacing_km: float = 5000.0
    tests: tuple[int, int] = (2, 7)
    oldest_km: float = 70_000.0
    near_defect: bool = False


@dataclass(frozen=True)
class SimulatedWear:
    """records; expected : true intensity of each test and bin; sensors : their truth;
    centres, widths : of each test and band, (n, bands); spots : active ones of each test.
    """

    records: WearRecords
    expected: np.ndarray
    sensors: pd.DataFrame
    centres: np.ndarray
    widths: np.ndarray
    spots: np.ndarray
    informative: np.ndarray = field(default=None)


def simulate_wear(sensors: int, seed: int, truth: Truth | None = None) -> SimulatedWear:
    truth, rng = truth or Truth(), np.random.default_rng(seed)
    lives = _lives(rng, sensors, truth)
    tests = _tests(rng, lives, truth)
    owner = tests["owner"].to_numpy()
    rate, passes, speed = _sweeps(rng, len(tests))
    exposure = passes * shown_share(1000.0 / rate, speed)[:, None]
    severity = (tests["sensor_age_km"].to_numpy() - lives["defect_km"].to_numpy()[owner]) / 1000.0
    centres, widths, where, lift = _spots(rng, lives, owner, severity, truth)
    expected = _expected(where, lift) + FALSE_PER_PASS_BIN
    error = TRAVEL_ERROR * rng.standard_normal(len(tests))  # one error of travel a session
    counts = _counts(rng, where, lift, passes, shown_share(1000.0 / rate, speed), error)
    way = tests["sensor_age_km"].to_numpy() / lives["defect_km"].to_numpy()[owner]
    rough = _roughness(rng, lives, owner, way, centres + error[:, None], widths, rate)
    tests["speed_pct_per_s"] = speed
    records = WearRecords(
        tests.drop(columns="owner"), counts, exposure.astype(np.float32), rough.astype(np.float32)
    )
    active = np.isfinite(where).sum(axis=(1, 2))
    chance = np.nansum(lift, axis=(1, 2)) * exposure.max(axis=1)
    return SimulatedWear(records, expected, lives, centres, widths, active, chance >= 0.7)


def _lives(rng: np.random.Generator, sensors: int, truth: Truth) -> pd.DataFrame:
    """Sensors in service when first seen: drawn until enough had not failed before."""
    n = sensors * 8
    part = rng.choice(truth.parts, n)
    duty = rng.choice(truth.duties, n)
    scale = np.array([PARTS[p].life_km for p in truth.parts])
    shape = np.array([PARTS[p].life_shape for p in truth.parts])
    at = np.array([truth.parts.index(p) for p in part])
    pace = np.array([DUTIES[d].wear for d in duty]) * rng.gamma(4.0, 0.25, n) ** (1 / shape[at])
    defect = scale[at] / pace * rng.weibull(shape[at])
    early = rng.random(n) < 0.05
    defect = np.where(early, 10_000 * np.exp(0.6 * rng.standard_normal(n)), defect)
    failure = defect + rng.gamma(1.6, 3200.0, n)
    entry = rng.uniform(0.0, truth.oldest_km, n)
    if truth.near_defect:
        entry = np.maximum(defect - rng.uniform(0.0, 2.0, n) * truth.spacing_km, 0.0)
    keep = np.flatnonzero(failure > entry)[:sensors]
    frame = pd.DataFrame(
        {
            "part_no": part, "duty": duty, "defect_km": defect, "failure_km": failure,
            "entry_km": entry, "rough_factor": np.exp(0.35 * rng.standard_normal(n)),
        }
    ).iloc[keep].reset_index(drop=True)  # fmt: skip
    frame.insert(0, "sensor_id", [f"S-{k:06d}" for k in range(len(frame))])
    return frame


def _tests(rng: np.random.Generator, lives: pd.DataFrame, truth: Truth) -> pd.DataFrame:
    n, most = len(lives), truth.tests[1]
    steps = truth.spacing_km * rng.gamma(4.0, 0.25, (n, most))
    steps[:, 0] *= rng.random(n)
    ages = lives["entry_km"].to_numpy()[:, None] + np.cumsum(steps, axis=1)
    wanted = rng.integers(truth.tests[0], most + 1, n)
    made = (ages < lives["failure_km"].to_numpy()[:, None]) & (np.arange(most) < wanted[:, None])
    owner, _ = np.nonzero(made)
    sensor = lives["sensor_id"].to_numpy()[owner]
    age = ages[made]
    return pd.DataFrame(
        {
            "session_id": [f"B-{k:07d}" for k in range(len(age))], "sensor_id": sensor,
            "life_id": sensor, "unit_id": sensor, "part_no": lives["part_no"].to_numpy()[owner],
            "duty": lives["duty"].to_numpy()[owner], "odometer_km": age, "sensor_age_km": age,
            "fault_nature": "none", "owner": owner,
        }
    )  # fmt: skip


def _sweeps(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rate = rng.choice(LOGGERS_HZ, n, p=LOGGER_SHARES)
    full = rng.integers(3, 9, n)
    passes = np.repeat(full[:, None], BINS, axis=1).astype(float)
    partial = rng.random(n) < 0.15
    reach = rng.integers(27, 47, n)
    passes -= (partial[:, None] & (np.arange(BINS) >= reach[:, None])).astype(float)
    short = rng.random(n) < 0.03  # never opened beyond
    passes[short[:, None] & (np.arange(BINS) >= reach[:, None])] = 0.0
    return rate, passes, 31.0 * np.exp(0.12 * rng.standard_normal(n))


def _middles(rng: np.random.Generator, lives: pd.DataFrame, truth: Truth) -> np.ndarray:
    n, bands = len(lives), max(truth.bands, 1)
    if truth.centre_pct is not None:
        about = np.reshape(truth.centre_pct, (-1, 1))
        return np.clip(about + 1.5 * rng.standard_normal((n, bands)), 1.0, 99.0)
    if truth.even:
        u = rng.uniform(0.0, 100.0, (n, bands))
        if truth.doubled:
            low, high = truth.doubled
            share = 2 * (high - low) / (100.0 + high - low)
            outside = rng.uniform(0.0, 100.0 - (high - low), (n, bands))
            outside = np.where(outside < low, outside, outside + high - low)
            inside = rng.uniform(low, high, (n, bands))
            u = np.where(rng.random((n, bands)) < share, inside, outside)
        return u
    out = np.empty((n, bands))
    for duty in truth.duties:
        holds = np.array(DUTIES[duty].holds)
        own = np.flatnonzero(lives["duty"].to_numpy() == duty)
        for k in range(bands):
            pick = rng.choice(len(holds), own.size, p=holds[:, 0] / holds[:, 0].sum())
            out[own, k] = holds[pick, 1] + holds[pick, 2] * rng.standard_normal(own.size)
    if bands == 2:  # two bands that can be told apart
        near = np.abs(out[:, 1] - out[:, 0]) < 12.0
        away = rng.uniform(14.0, 40.0, n)
        out[near, 1] = np.where(out[:, 0] > 50, out[:, 0] - away, out[:, 0] + away)[near]
    return np.clip(out, 1.0, 99.0)


def _spots(rng, lives, owner, severity, truth):
    n, bands = len(owner), max(truth.bands, 1)
    width0 = rng.uniform(1.2, 5.0, (len(lives), bands))
    start = _middles(rng, lives, truth)
    way = np.where(start > 50.0, -1.0, 1.0)
    since = np.clip(severity, 0.0, None)
    centres = np.clip(start[owner] + truth.move_pct_per_1000km * since[:, None] * way[owner], 1, 99)
    widths = width0[owner]
    offsets = rng.uniform(-0.9, 0.9, (len(lives), bands, SPOTS))[owner]
    late = np.where(np.arange(bands) > 0, rng.uniform(0.0, 2.0, (len(lives), bands)), 0.0)[owner]
    own = severity[:, None] - late
    number = np.where(own >= 0.0, np.minimum(SPOTS, 1 + np.floor(own / 1.2)), 0)
    if truth.bands == 0:
        number[:] = 0
    active = np.arange(SPOTS) < number[:, :, None]
    where = np.clip(centres[:, :, None] + 0.5 * widths[:, :, None] * offsets, 0.3, 99.7)
    where = np.where(active, where, np.nan)
    lift = np.where(active, np.clip(0.5 + 0.12 * own, 0.0, 0.95)[:, :, None], np.nan)
    if truth.bands == 0:
        centres = np.full((n, 0), np.nan)
    return centres, widths, where, lift


def _expected(where: np.ndarray, lift: np.ndarray) -> np.ndarray:
    """True intensity a crossing in each bin, as blurred by the error of travel: (n, BINS)."""
    sigma = np.hypot(SPOT_SPREAD, TRAVEL_ERROR)
    out = np.zeros((len(where), BINS))
    at, band, spot = np.nonzero(np.isfinite(where))
    for first in range(0, at.size, 50_000):
        part = slice(first, first + 50_000)
        z = ndtr((EDGES - where[at[part], band[part], spot[part]][:, None]) / sigma)
        z[:, 0], z[:, -1] = 0.0, 1.0
        np.add.at(out, at[part], np.diff(z) * lift[at[part], band[part], spot[part]][:, None])
    return out


def _counts(rng, where, lift, passes, shown, error) -> np.ndarray:
    counts = rng.poisson(FALSE_PER_PASS_BIN * passes).astype(np.float32)
    at, band, spot = np.nonzero(np.isfinite(where))
    place = where[at, band, spot]
    crossed = passes[at, np.minimum((place / BIN_PCT).astype(int), BINS - 1)].astype(int)
    seen = rng.binomial(crossed, lift[at, band, spot] * shown[at])
    row = np.repeat(at, seen)
    read = np.repeat(place, seen) + SPOT_SPREAD * rng.standard_normal(row.size) + error[row]
    column = np.clip((read / BIN_PCT).astype(int), 0, BINS - 1)
    np.add.at(counts, (row, column), 1.0)
    counts[passes <= 0] = 0.0
    return counts


def _roughness(rng, lives, owner, way, centres, widths, rate) -> np.ndarray:
    growth = np.clip((np.minimum(way, 1.0) - 0.55) / 0.45, 0.0, None) ** 1.3
    height = growth * lives["rough_factor"].to_numpy()[owner]
    fine = (np.arange(200) + 0.5) * 0.5
    factor = np.ones((len(owner), BINS))
    grown = np.flatnonzero(growth > 0)
    for k in range(centres.shape[1]):
        away = (fine - centres[grown, k][:, None]) / (0.5 * widths[grown, k][:, None])
        envelope = np.exp(-np.minimum(away**4, 50.0)).reshape(-1, BINS, 4).mean(axis=2)
        factor[grown] += envelope * height[grown, None]
    own, fresh = GRAIN * np.sqrt(OWN_GRAIN), GRAIN * np.sqrt(1.0 - OWN_GRAIN)
    repeats = rng.gamma(own**-2, own**2, (len(lives), BINS))[owner]
    out = factor * repeats * rng.gamma(fresh**-2, fresh**2, factor.shape)
    out[rate < 100.0] = np.nan
    out[:, [0, -1]] = np.nan
    return out


def frames_of(records: WearRecords, interval_ms: float = 1.0) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Input frames that lay out to the same counts (exposure: whole passes at a fine interval)."""
    n = len(records)
    bins = pd.DataFrame(
        {
            "session_id": np.repeat(records.tests["session_id"].to_numpy(), BINS),
            "bin_from_pct": np.tile(EDGES[:-1], n),
            "pass_count": np.ceil(records.exposure).astype(int).ravel(),
            "dropout_count": records.counts.astype(int).ravel(),
            "smoothness_pct": 0.1 * records.roughness.ravel().astype(float),
            "shortest_visible_ms": interval_ms,
        }
    )
    return records.tests, bins
