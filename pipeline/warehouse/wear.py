"""Map where on the travel wear gathers, and keep what the pages show of it.

The map, each life's worn bands, where to sweep each sensor slowest, and how the throttle was used
where a ride was logged.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from models.wear.dwell import dwell_or_sliding, usage_by_bike
from models.wear.exposure import BIN_PCT, BINS
from models.wear.map_cells import ALL
from models.wear.mapping import WearResults, score_wear
from models.wear.one_sweep import band_chance
from models.wear.records import WearError, WearRecords, wear_records
from models.wear.schemas import (
    BANDS,
    DROPOUT_PLACES,
    FAILURES,
    PASS_REACH,
    PROGRESS,
    RIDES,
    WEAR_BINS,
    WEAR_MAP,
    WEAR_TESTS,
)
from models.wear.test_plan import LiftChance, passes_needed, slow_stretches
from pipeline.statements import run, store
from pipeline.warehouse import wear_schemas as shown
from pipeline.warehouse.kept_wear import remembered_lives, remembered_sweeps
from pipeline.warehouse.lives import MARTS
from pipeline.warehouse.risk_fit import store_fitted
from pipeline.warehouse.wear_bins import mapped_records, store_profiles
from pipeline.warehouse.wear_fit import WearFit, WearFrames, standing_wear_fit, told_of_wear_fit

#: Widths of wear for which the number of passes is worked out, % of travel.
WIDTHS_PCT = (0.2, 0.5, 1.0, 2.0)
#: Sweeps judged by themselves at a time, for the memory.
_SWEEPS_AT_ONCE = 10_000
_EDGES = np.arange(BINS) * BIN_PCT
_KEPT = {
    "wear_map": WEAR_MAP,
    "wear_bands": BANDS,
    "wear_progress": PROGRESS,
    "wear_gathered": shown.WEAR_GATHERED,
    "wear_stretches": shown.WEAR_STRETCHES,
    "wear_shares": shown.WEAR_SHARES,
    "wear_passes": shown.WEAR_PASSES,
    "wear_lift": shown.WEAR_LIFT,
    "wear_usage": shown.WEAR_USAGE,
    "wear_patterns": shown.WEAR_PATTERNS,
    "wear_about": shown.WEAR_ABOUT,
    "wear_fit": shown.WEAR_FIT,
}
#: What rests on no fit, and what names it by itself.
_NAMES_NO_FIT = ("wear_usage", "wear_fit")


@dataclass(frozen=True)
class _Found:
    """The map with what it was made from."""

    frames: WearFrames
    fit: WearFit
    results: WearResults
    sensors_now: pd.DataFrame

    @property
    def records(self) -> WearRecords:
        """The tests mapped."""
        return self.frames.records

    @property
    def lift(self) -> LiftChance:
        """How often a pass over a worn spot shows it."""
        return self.fit.lift


def map_travel(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    kept_models: Path,
    say: Callable[[str], None] = lambda text: None,
) -> None:
    """Fill the ``marts.wear_…`` tables; without a sweep to map they are empty, and say so.

    The fit is kept in the folder ``kept_models`` and made anew once the tests have moved far
    enough; each row that rests on it names it.
    """
    usage = usage_by_bike(RIDES.check(_rows(connection, "wear_rides")))
    kept = {name: schema.empty() for name, schema in _KEPT.items()}
    kept["wear_usage"] = _usage(usage)
    try:
        found = _found(connection, day, kept_models, say)
    except WearError as error:
        kept["wear_about"], version = _nothing_mapped(str(error), len(usage)), None
        store(connection, "wear_profiles", shown.WEAR_PROFILES.empty())
    else:
        store_profiles(connection, found.records)
        kept |= _frames(found) | _about(found, usage)
        version = found.fit.version
    for name, schema in _KEPT.items():
        frame = schema.check(kept[name])
        if name in _NAMES_NO_FIT:
            store(connection, name, frame)
        else:
            store_fitted(connection, version, name, frame)
    run(connection, f"{MARTS}/wear_roughness_band")


def judge_sweeps(
    connection: duckdb.DuckDBPyConnection,
    kept_models: Path,
    say: Callable[[str], None] = lambda text: None,
) -> None:
    """Fill ``marts.sweep_bands``: the chance that each sweep by itself shows a worn band.

    A sweep judged by an earlier build is not judged again.
    """
    keys = _rows(connection, "judged_sweeps").set_index("session_id")["measure_key"]

    def judge(unjudged: pd.Series) -> np.ndarray:
        begins = range(0, len(unjudged), _SWEEPS_AT_ONCE)
        parts = [judge_some(unjudged.iloc[k : k + _SWEEPS_AT_ONCE]) for k in begins]
        return np.concatenate([np.zeros(0), *parts])

    def judge_some(unjudged: pd.Series) -> np.ndarray:
        connection.register("unjudged_sweeps", unjudged.reset_index())
        sweeps = WEAR_TESTS.check(_rows(connection, "one_sweeps"))
        bins = WEAR_BINS.check(_rows(connection, "one_sweep_bins"))
        connection.unregister("unjudged_sweeps")
        chance = pd.Series(band_chance(wear_records(sweeps, bins)), sweeps["session_id"])
        return chance.reindex(unjudged.index).to_numpy()

    bands = pd.DataFrame({"session_id": keys.index})
    bands["band_chance"] = remembered_sweeps(kept_models, keys, judge, say)
    store(connection, "sweep_bands", shown.SWEEP_BANDS.check(bands))


def _rows(connection: duckdb.DuckDBPyConnection, name: str) -> pd.DataFrame:
    return run(connection, f"{MARTS}/{name}").df()


def _found(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    kept_models: Path,
    say: Callable[[str], None],
) -> _Found:
    frames = _records(connection)
    fit = standing_wear_fit(kept_models, frames, day, say)
    remember = remembered_lives(kept_models, fit.version, say)
    results = score_wear(fit.models, frames.records, remember)
    now = shown.WEAR_SENSORS_NOW.check(_rows(connection, "wear_sensors_now"))
    return _Found(frames, fit, results, now)


def _records(connection: duckdb.DuckDBPyConnection) -> WearFrames:
    records = mapped_records(connection)
    if not records.exposure.any():
        raise WearError("no bench test with a sweep that could have shown anything on the travel")
    places = DROPOUT_PLACES.check(_rows(connection, "wear_dropout_places"))
    reach = PASS_REACH.check(_rows(connection, "wear_pass_reach"))
    failures = FAILURES.check(_rows(connection, "wear_failures"))
    return WearFrames(records, failures, places, reach)


def _frames(found: _Found) -> dict[str, pd.DataFrame]:
    results = found.results
    shares, from_tests = _shares_now(found)
    return {
        "wear_map": results.wear_map,
        "wear_bands": results.bands,
        "wear_progress": results.progress,
        "wear_gathered": _gathered(found),
        "wear_stretches": _stretches(found.sensors_now, shares, from_tests),
        "wear_shares": _long(found.sensors_now[["sensor_id"]], share=shares),
        "wear_passes": _passes(found.lift, found.sensors_now),
        "wear_lift": pd.DataFrame({"chance": found.lift.chances, "weight": found.lift.weights}),
        "wear_patterns": _patterns(found),
        "wear_fit": told_of_wear_fit(found.fit, found.frames),
    }


def _long(rows: pd.DataFrame, **values: np.ndarray) -> pd.DataFrame:
    """One row a row and bin, from arrays of shape (rows, BINS)."""
    out = rows.loc[rows.index.repeat(BINS)].reset_index(drop=True)
    out["bin_from_pct"] = np.tile(_EDGES, len(rows))
    return out.assign(**{name: array.ravel() for name, array in values.items()})


def _gathered(found: _Found) -> pd.DataFrame:
    rows = []
    for (part_no, duty), answer in found.fit.models.gathered.items():
        own = found.records.tests
        own = own if part_no == ALL else own[own["part_no"].eq(part_no)]
        own = own if duty == ALL else own[own["duty"].eq(duty)]
        counts = {"n_tests": len(own), "n_seen": own["sensor_id"].nunique()}
        rows.append({"part_no": part_no, "duty": duty} | asdict(answer) | counts)
    return pd.DataFrame(rows)


def _shares_now(found: _Found) -> tuple[np.ndarray, np.ndarray]:
    """Where each sensor in service is expected to wear, and whether its own tests say so."""
    now, tests = found.sensors_now, found.records.tests
    like = now[["life_id", "part_no", "duty"]].assign(sensor_age_km=now["age_now_km"].fillna(0.0))
    expected = np.zeros((0, BINS))
    if len(now):
        expected = found.results.expected(like)
    shares = expected / np.maximum(expected.sum(axis=1, keepdims=True), 1e-300)
    tested = now["life_id"].isin(tests["life_id"]).to_numpy()
    return shares, tested


def _stretches(now: pd.DataFrame, shares: np.ndarray, from_tests: np.ndarray) -> pd.DataFrame:
    rows = []
    each = zip(now["sensor_id"], shares, from_tests, _rates(now), strict=True)
    for sensor, share, own, rate in each:
        for number, (begin, end, part) in enumerate(slow_stretches(share), start=1):
            rows.append((sensor, number, begin, end, part, bool(own), rate))
    return pd.DataFrame(rows, columns=shown.WEAR_STRETCHES.names)


def _rates(now: pd.DataFrame) -> pd.Series:
    """Rates to two figures, so that loggers of one kind come together."""
    return now["rate_hz"].map(lambda rate: float(f"{rate:.2g}"))


def _passes(lift: LiftChance, now: pd.DataFrame) -> pd.DataFrame:
    rates = sorted(set(_rates(now).dropna()))
    rows = [
        {"rate_hz": rate, "width_pct": width} | asdict(passes_needed(lift, width, rate))
        for rate in rates
        for width in WIDTHS_PCT
    ]
    return pd.DataFrame(rows, columns=shown.WEAR_PASSES.names)


def _usage(usage: dict) -> pd.DataFrame:
    rows = pd.DataFrame(
        [(unit, u.logged_s, u.gap_s, u.moved_pct, u.rate_hz) for unit, u in usage.items()],
        columns=["unit_id", "logged_s", "gap_s", "moved_pct", "rate_hz"],
    )
    if not usage:
        return shown.WEAR_USAGE.empty()
    whole = {
        name: np.stack([getattr(u, name) for u in usage.values()]) for name in ("dwell", "sliding")
    }
    return _long(rows, **whole)


def _patterns(found: _Found) -> pd.DataFrame:
    """Each duty's share of the wear over the travel, with the sensors mapped by now."""
    tests, patterns = found.records.tests, found.fit.models.patterns
    seen = tests.groupby("duty")["sensor_id"].nunique()
    seen[ALL] = tests["sensor_id"].nunique()
    return patterns.assign(n_seen=seen.reindex(patterns["duty"]).to_numpy())


def _about(found: _Found, usage: dict) -> dict[str, pd.DataFrame]:
    tests, lift = found.records.tests, found.lift
    low, high = lift.interval()
    row = {
        "reason": None,
        "n_seen": tests["sensor_id"].nunique(),
        "n_tests": len(tests),
        "dropout_count": int(found.records.counts.sum()),
        "worn_share": found.fit.models.worn.worn_share_,
        "stray_rate": found.fit.models.stray_rate,
        "lift_chance": lift.mean,
        "lift_low": low,
        "lift_high": high,
        "lift_shown": lift.n_shown,
        "lift_passes": lift.n_passes,
        "n_logged": len(usage),
    }
    return {"wear_about": pd.DataFrame([row | _explained(found.records, usage)])}


def _explained(records: WearRecords, usage: dict) -> dict:
    """Whether dwell or sliding explains the drop-outs of the bikes with a log better."""
    units = list(usage)
    number = pd.Index(units).get_indexer(records.tests["unit_id"])
    counts, reach = np.zeros((len(units), BINS)), np.zeros((len(units), BINS))
    np.add.at(counts, number[number >= 0], records.counts[number >= 0])
    np.add.at(reach, number[number >= 0], records.exposure[number >= 0])
    dwell, sliding = (
        np.array([getattr(usage[unit], name) for unit in units]).reshape(-1, BINS)
        for name in ("dwell", "sliding")
    )
    answer = dwell_or_sliding(dwell, sliding, counts, reach)
    return {f"use_{name}": value for name, value in asdict(answer).items()}


def _nothing_mapped(reason: str, n_logged: int) -> pd.DataFrame:
    blank = {name: None for name in shown.WEAR_ABOUT.names}
    none = {"n_seen": 0, "n_tests": 0, "dropout_count": 0, "lift_shown": 0, "lift_passes": 0}
    use = {"use_answer": "not enough known", "use_n_bikes": 0, "use_n_dropouts": 0}
    return pd.DataFrame([blank | none | use | {"reason": reason, "n_logged": n_logged}])
