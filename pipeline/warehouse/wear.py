"""Map where on the travel wear gathers, and keep what the pages show of it.

The map, each life's worn bands, where to sweep each sensor slowest, and how the throttle was used
where a ride was logged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from models.wear.dwell import Explained, Usage, UseOfLogged, usage_by_bike
from models.wear.evidence_moved import tests_rested_on
from models.wear.exposure import BIN_PCT, BINS
from models.wear.life_scores import life_keys
from models.wear.map_cells import ALL, WearMap, selections
from models.wear.mapping import WearResults, scores
from models.wear.one_sweep import band_chance
from models.wear.profiles import SoundRoughness
from models.wear.records import WearError, WearRecords, wear_records
from models.wear.schemas import (
    BANDS,
    DROPOUT_PLACES,
    FAILURES,
    PASS_REACH,
    PROGRESS,
    RIDES,
    ROUGHNESS_BAND,
    WEAR_BINS,
    WEAR_MAP,
    WEAR_TESTS,
)
from models.wear.test_plan import LiftChance, passes_needed, slow_stretches_of
from pipeline.statements import store
from pipeline.warehouse import wear_schemas as shown
from pipeline.warehouse.held_memory import give_back_freed, let_go
from pipeline.warehouse.kept_wear import remembered_lives, remembered_sweeps
from pipeline.warehouse.risk_fit import store_fitted
from pipeline.warehouse.wear_bins import (
    all_records,
    by_bin,
    mapped_tests,
    records_by_parts,
    rows_of,
    with_dropouts,
)
from pipeline.warehouse.wear_fit import WearFit, WearFrames, standing_wear_fit, told_of_wear_fit

#: Widths of wear for which the number of passes is worked out, % of travel.
WIDTHS_PCT = (0.2, 0.5, 1.0, 2.0)
#: Sweeps judged by themselves at a time, for the memory.
_SWEEPS_AT_ONCE = 10_000
_EDGES = np.arange(BINS) * BIN_PCT
_NOTHING = "no bench test with a sweep that could have shown anything on the travel"
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
    "wear_roughness_band": ROUGHNESS_BAND,
}
#: What rests on no fit, and what names it by itself.
_NAMES_NO_FIT = ("wear_usage", "wear_fit", "wear_roughness_band")


@dataclass(frozen=True)
class _Found:
    """The map with what it was made from.

    ``use`` : what the use of logged bikes explains. ``roughness_band`` : ``ROUGHNESS_BAND``.
    """

    tests: pd.DataFrame
    fit: WearFit
    told_of_fit: pd.DataFrame
    dropout_count: int
    results: WearResults
    sensors_now: pd.DataFrame
    use: Explained
    roughness_band: pd.DataFrame

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
    usage = usage_by_bike(RIDES.check(rows_of(connection, "wear_rides")))
    kept = {name: schema.empty() for name, schema in _KEPT.items()}
    kept["wear_usage"] = _usage(usage)
    try:
        found = _found(connection, day, kept_models, usage, say)
    except WearError as error:
        kept["wear_about"], version = _nothing_mapped(str(error), len(usage)), None
    else:
        version, shares = found.fit.version, _shares_now(found)
        kept |= _frames(found, shares) | _about(found, len(usage))
        if len(shares):
            _store_shares(connection, found, shares)
            del kept["wear_shares"]
        del found, shares
    for name in list(kept):
        frame = _KEPT[name].check(kept.pop(name))
        if name in _NAMES_NO_FIT:
            store(connection, name, frame)
        else:
            store_fitted(connection, version, name, frame)


def judge_sweeps(
    connection: duckdb.DuckDBPyConnection,
    kept_models: Path,
    say: Callable[[str], None] = lambda text: None,
) -> None:
    """Fill ``marts.sweep_bands``: the chance that each sweep by itself shows a worn band.

    A sweep judged by an earlier build is not judged again.
    """
    keys = rows_of(connection, "judged_sweeps").set_index("session_id")["measure_key"]

    def judge(unjudged: pd.Series) -> np.ndarray:
        begins = range(0, len(unjudged), _SWEEPS_AT_ONCE)
        parts = [judge_some(unjudged.iloc[k : k + _SWEEPS_AT_ONCE]) for k in begins]
        return np.concatenate([np.zeros(0), *parts])

    def judge_some(unjudged: pd.Series) -> np.ndarray:
        connection.register("unjudged_sweeps", unjudged.reset_index())
        sweeps = WEAR_TESTS.check(rows_of(connection, "one_sweeps"))
        bins = WEAR_BINS.check(rows_of(connection, "one_sweep_bins"))
        connection.unregister("unjudged_sweeps")
        chance = pd.Series(band_chance(wear_records(sweeps, bins)), sweeps["session_id"])
        return chance.reindex(unjudged.index).to_numpy()

    bands = pd.DataFrame({"session_id": keys.index})
    bands["band_chance"] = remembered_sweeps(kept_models, keys, judge, say)
    store(connection, "sweep_bands", shown.SWEEP_BANDS.check(bands))


def _found(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    kept_models: Path,
    usage: dict[str, Usage],
    say: Callable[[str], None],
) -> _Found:
    tests, keys, passed_turn = mapped_tests(connection)
    frames = _frames_of_fit(connection, tests, keys)
    fit = standing_wear_fit(kept_models, frames, day, say)
    told = told_of_wear_fit(fit, frames)
    # what it rested on is told, and takes as much room as all tests
    fit = replace(fit, evidence=replace(fit.evidence, tests=fit.evidence.tests[:0]))
    by_life = life_keys(tests["life_id"], keys.to_numpy(object))
    del frames, keys
    give_back_freed()
    counted, use = WearMap(tests, fit.models.curves), UseOfLogged(usage)
    sound = SoundRoughness(tests, passed_turn)
    for records in records_by_parts(connection, tests):
        for each in (counted, use, sound):
            each.count(records)
    if not counted.exposure.any():
        raise WearError(_NOTHING)

    def records_of(lives: pd.Index) -> Iterator[WearRecords]:
        number, names = pd.factorize(tests["life_id"])
        asked = lives.get_indexer(pd.Index(names)) >= 0
        return records_by_parts(connection, tests[asked[number]])

    remember = remembered_lives(kept_models, fit.version, say)
    let_go(connection)
    results = scores(fit.models, counted, by_life, records_of, remember)
    now = shown.WEAR_SENSORS_NOW.check(rows_of(connection, "wear_sensors_now"))
    dropouts = counted.dropout_count
    return _Found(tests, fit, told, dropouts, results, now, use.answer(), sound.frame())


def _frames_of_fit(
    connection: duckdb.DuckDBPyConnection, tests: pd.DataFrame, keys: pd.Series
) -> WearFrames:
    if not len(tests):
        raise WearError(_NOTHING)

    def records() -> WearRecords:
        found = all_records(connection, tests)
        let_go(connection)
        if not found.exposure.any():
            raise WearError(_NOTHING)
        return found

    return WearFrames(
        tests_rested_on(tests, with_dropouts(connection, tests), keys),
        records,
        FAILURES.check(rows_of(connection, "wear_failures")),
        DROPOUT_PLACES.check(rows_of(connection, "wear_dropout_places")),
        PASS_REACH.check(rows_of(connection, "wear_pass_reach")),
    )


def _frames(found: _Found, shares: np.ndarray) -> dict[str, pd.DataFrame]:
    results = found.results
    return {
        "wear_map": results.wear_map,
        "wear_bands": results.bands,
        "wear_progress": results.progress,
        "wear_gathered": _gathered(found),
        "wear_stretches": _stretches(found, shares),
        "wear_passes": _passes(found.lift, found.sensors_now),
        "wear_lift": pd.DataFrame({"chance": found.lift.chances, "weight": found.lift.weights}),
        "wear_patterns": _patterns(found),
        "wear_fit": found.told_of_fit,
        "wear_roughness_band": found.roughness_band,
    }


def _store_shares(connection: duckdb.DuckDBPyConnection, found: _Found, shares: np.ndarray) -> None:
    named, version = found.sensors_now[["sensor_id"]], {"fit_version": found.fit.version}
    rows = by_bin(shown.WEAR_SHARES, named, {"share": shares}, version)
    store(connection, "wear_shares", rows)


def _gathered(found: _Found) -> pd.DataFrame:
    sensor, gathered = pd.factorize(found.tests["sensor_id"])[0], found.fit.models.gathered
    seen = {
        (part_no, duty): {
            "n_tests": own.sum(),
            "n_seen": np.bincount(sensor[own]).astype(bool).sum(),
        }
        for part_no, duty, own in selections(found.tests, found.tests)
    }
    none = {"n_tests": 0, "n_seen": 0}
    rows = [
        {"part_no": part_no, "duty": duty} | asdict(answer) | seen.get((part_no, duty), none)
        for (part_no, duty), answer in gathered.items()
    ]
    return pd.DataFrame(rows)


def _shares_now(found: _Found) -> np.ndarray:
    """Where each sensor in service is expected to wear, shape (sensors, BINS)."""
    now = found.sensors_now
    like = now[["life_id", "part_no", "duty"]].assign(sensor_age_km=now["age_now_km"].fillna(0.0))
    expected = np.zeros((0, BINS))
    if len(now):
        expected = found.results.expected(like)
    return expected / np.maximum(expected.sum(axis=1, keepdims=True), 1e-300)


def _stretches(found: _Found, shares: np.ndarray) -> pd.DataFrame:
    """Of each sensor in service, and whether its own tests say so."""
    now, out = found.sensors_now, slow_stretches_of(shares)
    tested = pd.Index(found.results.own["life_id"]).get_indexer(now["life_id"]) >= 0
    now = now[["sensor_id"]].assign(from_own_tests=tested, rate_hz=_rates(now))
    own = now.iloc[out.pop("row").to_numpy()].reset_index(drop=True)
    return pd.concat([own, out], axis=1)


def _rates(now: pd.DataFrame) -> pd.Series:
    """Rates to two figures, so that loggers of one kind come together."""
    few = {rate: float(f"{rate:.2g}") for rate in now["rate_hz"].dropna().unique()}
    return now["rate_hz"].map(few).astype(float)


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
    out = rows.loc[rows.index.repeat(BINS)].reset_index(drop=True)
    out["bin_from_pct"] = np.tile(_EDGES, len(rows))
    for name in ("dwell", "sliding"):
        out[name] = np.concatenate([getattr(u, name) for u in usage.values()])
    return out


def _patterns(found: _Found) -> pd.DataFrame:
    """Each duty's share of the wear over the travel, with the sensors mapped by now."""
    tests, patterns = found.tests, found.fit.models.patterns
    seen = tests.groupby("duty")["sensor_id"].nunique()
    seen[ALL] = tests["sensor_id"].nunique()
    return patterns.assign(n_seen=seen.reindex(patterns["duty"]).to_numpy())


def _about(found: _Found, n_logged: int) -> dict[str, pd.DataFrame]:
    tests, lift = found.tests, found.lift
    low, high = lift.interval()
    row = {
        "reason": None,
        "n_seen": tests["sensor_id"].nunique(),
        "n_tests": len(tests),
        "dropout_count": found.dropout_count,
        "worn_share": found.fit.models.worn.worn_share_,
        "stray_rate": found.fit.models.stray_rate,
        "lift_chance": lift.mean,
        "lift_low": low,
        "lift_high": high,
        "lift_shown": lift.n_shown,
        "lift_passes": lift.n_passes,
        "n_logged": n_logged,
    }
    use = {f"use_{name}": value for name, value in asdict(found.use).items()}
    return {"wear_about": pd.DataFrame([row | use])}


def _nothing_mapped(reason: str, n_logged: int) -> pd.DataFrame:
    blank = {name: None for name in shown.WEAR_ABOUT.names}
    none = {"n_seen": 0, "n_tests": 0, "dropout_count": 0, "lift_shown": 0, "lift_passes": 0}
    use = {"use_answer": "not enough known", "use_n_bikes": 0, "use_n_dropouts": 0}
    return pd.DataFrame([blank | none | use | {"reason": reason, "n_logged": n_logged}])
