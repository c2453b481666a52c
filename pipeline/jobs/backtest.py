"""How the chances would have done on the shop's own past: fit before a date, look on after it.

From each of some dates the record is made as it then stood, fitted and scored, and held against
what came to light up to the next date. Each defect so counts once.

What can be seen afterwards is not the defect but its coming to light, so that is what is scored.
With F(h) the chance that a sensor is defective now or within h km, and defects coming to light at a
steady rate m (heard of by riders, or found by the tests that the shop makes), the chance that one
comes to light within H km is the integral of F(u) m exp(-m (H - u)) over u from 0 to H. A finding
counts only once a repair has confirmed it; the chance is multiplied by the share of findings that
were, up to the date.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from models.risk.ahead import heard_ahead
from models.risk.assumed import FEW_DEFECTS, BetaPrior
from models.risk.backtest import against_baselines, calibration, mileage_curve_chances, origins
from models.risk.score import RiskResults, fit_and_score
from pipeline.jobs.looked_back_parts import LookedBackParts
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import as_done
from pipeline.statements import one_row, run, store
from pipeline.warehouse.earlier import came_to_light, earlier_record
from pipeline.warehouse.held_memory import let_go
from pipeline.warehouse.kept_fit import made_once
from pipeline.warehouse.lives import MARTS, RiskFrames
from pipeline.warehouse.risk_fit import store_fitted
from pipeline.warehouse.shape import current_shape

EVERY_DAYS = 180
MOST_DATES = 8
#: Lives times dates: a large record needs fewer dates to say as much, and each costs a fit.
MOST_SCORED = 200_000
_TENTHS = 10
#: Under which what looking back showed is kept beside the fit.
_KEPT = "looked_back"
#: Raise when this module comes to say something else of the same fit.
_VERSION = "3"
_FURTHER_KM = np.array([15e3, 20e3, 30e3, 50e3, 80e3])
#: Chances that the model states, and the km ahead that each is for.
_AHEAD = {"defect_now": 0.0, "defect_1000_km": 1e3, "defect_5000_km": 5e3, "defect_10000_km": 1e4}
_SCORED = {
    "origin": "datetime64[us]",
    "until": "datetime64[us]",
    "sensor_id": "str",
    "part_no": "str",
    "duty": "str",
    "age_km": "float64",
    "run_km": "float64",
    "found": "bool",
    "chance": "float64",
    "mileage_chance": "float64",
}
#: What is scored at one date, before that is named.
_OF_A_DATE = [name for name in _SCORED if name not in ("origin", "until")]


@dataclass
class Backtest:
    """Sensors scored from each date (``scored``), and why some or all dates were not."""

    dates: list[date] = field(default_factory=list)
    parts: list[pd.DataFrame] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)

    @property
    def scored(self) -> pd.DataFrame:
        """One row a date and sensor that was still seen afterwards."""
        if not self.parts:
            return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in _SCORED.items()})
        return pd.concat(self.parts, ignore_index=True)[list(_SCORED)].astype(_SCORED)


def backtest(
    connection: duckdb.DuckDBPyConnection, day: date, work: LongWork | None = None
) -> Backtest:
    """Look back from some dates of the record behind ``connection``, and store what was seen.

    Writes ``marts.backtest_scores``, ``backtest_skill``, ``backtest_calibration`` and
    ``backtest_about`` (one row: dates, and why there are no others).
    """
    result = look_back(connection, day, work or LongWork())
    for name, frame in _tables(result).items():
        store(connection, name, frame)
    return result


def backtest_once(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    folder: Path,
    version: str,
    work: LongWork,
) -> None:
    """Store what looking back shows of a fit: worked out once, and kept with the fit.

    How well such fits did on the past is told of the fit that stands; while no new one is made,
    looking back from dates a few days later would tell the same at the price of all those fits.

    Parameters
    ----------
    connection, day
        As in ``backtest``.
    folder : Path
        Of kept models.
    version : str
        Names the fit in force.
    work : LongWork
        Who fits, a date each, and whom it tells.
    """
    rests_on = f"{version}/{current_shape()}/{_VERSION}"
    parts = LookedBackParts(folder, rests_on)
    make = partial(_look_back_tables, connection, day, work, parts)
    tables = made_once(folder, _KEPT, rests_on, make, work.say)
    parts.clear()
    for name, frame in tables.items():
        store_fitted(connection, version, name, frame)


def _look_back_tables(
    connection: duckdb.DuckDBPyConnection, day: date, work: LongWork, parts: LookedBackParts
) -> dict[str, pd.DataFrame]:
    return _tables(look_back(connection, day, work, parts))


def look_back(
    connection: duckdb.DuckDBPyConnection,
    day: date,
    work: LongWork,
    parts: LookedBackParts | None = None,
) -> Backtest:
    """Score the record as it stood on some dates, and hold the scores against what followed.

    A date that cannot be scored is named, and the others go on. Dates whose scores are among
    ``parts`` are not scored again; the scores of others are kept there as they come.
    """
    result = Backtest()
    dates = _dates(connection, day, result)
    # the last date first: its record is the largest, and nobody should wait for it at the end
    spans = list(zip(dates, [*dates, day][1:], strict=True))[::-1]
    load = partial(_record_of, connection, parts)
    found: dict[int, pd.DataFrame | str] = {}
    with work.counted("Looking back", "date", len(spans)) as step:
        for place, scores in as_done(_scores_or_why_not, spans, work.workers, load=load):
            found[place] = scores
            if parts and not isinstance(scores, str):
                parts.keep(spans[place][0], scores)
            step(1)
    for place in reversed(range(len(spans))):
        (at, until), scores = spans[place], found[place]
        if isinstance(scores, str):
            result.reasons.append(f"The record of {at} could not be scored: {scores}")
            continue
        result.dates.append(at)
        result.parts.append(scores.assign(origin=pd.Timestamp(at), until=pd.Timestamp(until)))
    return result


def _dates(connection: duckdb.DuckDBPyConnection, day: date, result: Backtest) -> list[date]:
    """The dates to look on from, none before ten defects were known."""
    found = [row[0] for row in run(connection, f"{MARTS}/defects_by_day").fetchall()]
    if len(found) < FEW_DEFECTS:
        result.reasons.append(
            f"{len(found)} confirmed defect{'s are' if len(found) != 1 else ' is'} on record. "
            f"Looking back needs {FEW_DEFECTS} "
            "before the first date, and some after it."
        )
        return []
    most = min(MOST_DATES, max(1, MOST_SCORED // max(_lives(connection), 1)))
    first, last = pd.Timestamp(found[FEW_DEFECTS - 1]), pd.Timestamp(day)
    dates = [at.date() for at in origins(first, last, every_days=EVERY_DAYS)][-most:]
    if not dates:
        result.reasons.append(
            f"The tenth confirmed defect was found on {first:%Y-%m-%d}, less than {EVERY_DAYS} "
            "days before the records end: too short a time to look on."
        )
    return dates


def _lives(connection: duckdb.DuckDBPyConnection) -> int:
    return one_row(connection.execute("select count(*) from marts.life_windows"))[0]


def _record_of(
    connection: duckdb.DuckDBPyConnection, parts: LookedBackParts | None, span: tuple[date, date]
) -> tuple[RiskFrames, pd.DataFrame] | pd.DataFrame:
    """The record as it stood on the first day, and what came to light of it up to the second.

    Where its scores are kept already, those instead.
    """
    at, until = span
    with earlier_record(connection, at) as earlier:
        frames, seen = earlier.frames, came_to_light(earlier, until)
    let_go(connection)
    kept = parts.found(at, [*vars(frames).values(), seen]) if parts else None
    return (frames, seen) if kept is None else kept


def _scores_or_why_not(
    record: tuple[RiskFrames, pd.DataFrame] | pd.DataFrame,
) -> pd.DataFrame | str:
    if isinstance(record, pd.DataFrame):
        return record
    try:
        return _scores(*record)[_OF_A_DATE]
    except ValueError as error:
        return str(error)


def _scores(frames: RiskFrames, seen: pd.DataFrame) -> pd.DataFrame:
    """Chances beside what was found; a sensor not seen for a single km says nothing."""
    results = fit_and_score(
        frames.windows,
        frames.sensors_now,
        followed_up=frames.followed_up,
        contact_gaps=frames.contact_gaps,
        wear_readings=frames.wear_readings,
        n_resamples=0,
    )
    scored = seen[seen["found"] | (seen["run_km"] > 0)].merge(results.defect_risk, on="sensor_id")
    scored = scored.dropna(subset=["defect_now"]).reset_index(drop=True)
    run_km = scored["run_km"].to_numpy(float)
    age_km = scored["age_km"].to_numpy(float)
    rate = _rate_of_coming_to_light(results, frames)
    # the baseline takes an array of km as well as one number of them
    mileage = mileage_curve_chances(frames.windows, age_km, run_km)
    chance = to_light_chances(scored[list(_AHEAD)].to_numpy(float), run_km, rate)
    confirmed = _share_confirmed(frames.windows, results.settings["shares"])
    return scored.assign(chance=confirmed * chance, mileage_chance=mileage)


def _rate_of_coming_to_light(results: RiskResults, frames: RiskFrames) -> float:
    """Per km: a rider's complaint or road failure, or a test of the usual number that finds it."""
    delay = results.summary["delay"]
    tests_per_km = len(frames.wear_readings) / max(results.summary["km_observed"], 1.0)
    heard_per_km = delay["rate_per_km"] if delay else 0.0
    return heard_per_km + results.settings["sensitivity"].mean * tests_per_km


def _share_confirmed(windows: pd.DataFrame, shares: Mapping[str, BetaPrior]) -> float:
    """Share of the defects found that a repair confirmed.

    The others are tests that pointed to a defect and were never answered, each counted as the
    share of such tests that prove right.
    """
    confirmed = float(windows["bad_km"].notna().sum())
    signs = windows.loc[windows["bad_km"].isna(), "doubt_sign"]
    open_doubts = signs.map({sign: share.mean for sign, share in shares.items()}).sum()
    return confirmed / max(confirmed + float(open_doubts), 1.0)


def to_light_chances(defect: np.ndarray, run_km: np.ndarray, rate_per_km: float) -> np.ndarray:
    """Chance that a defect comes to light within the km run.

    Parameters
    ----------
    defect : array of shape (n, 4)
        Chance of a defect now, and now or within 1,000, 5,000 and 10,000 km.
    run_km : array of shape (n,)
        Km looked ahead; beyond 10,000 the hazard is taken as between 5,000 and 10,000. Between the
        km given the chance is taken to rise evenly.
    rate_per_km : float
        Rate at which a defect comes to light, above 0.

    Returns
    -------
    array of shape (n,): the integral in the module's head.
    """
    km = np.array(list(_AHEAD.values()))
    hazard = -np.log1p(-np.clip(defect, 0.0, 1 - 1e-12))
    slope = (hazard[:, -1:] - hazard[:, -2:-1]) / (km[-1] - km[-2])
    further = -np.expm1(-(hazard[:, -1:] + slope * (_FURTHER_KM - km[-1])))
    grid, chance = np.append(km, _FURTHER_KM), np.hstack([defect, further])
    rate = np.array([rate_per_km])
    return heard_ahead(grid, chance[:, None, :], rate, run_km[:, None]).heard[:, 0, 0]


def _tables(result: Backtest) -> dict[str, pd.DataFrame]:
    scored = result.scored
    if not scored.empty and not scored["found"].any():
        result.reasons.append("No defect came to light after any of the dates.")
    about = {
        "dates": len(result.dates),
        "first_on": pd.Timestamp(min(result.dates)) if result.dates else pd.NaT,
        "last_on": pd.Timestamp(max(result.dates)) if result.dates else pd.NaT,
        "every_days": EVERY_DAYS,
        "reason": "\n".join(result.reasons) or None,
    }
    skill = against_baselines(scored) if len(scored) else against_baselines(_nothing()).iloc[:0]
    return {
        "backtest_about": pd.DataFrame([about]),
        "backtest_scores": scored,
        "backtest_skill": skill,
        "backtest_calibration": _calibration(scored),
    }


def _nothing() -> pd.DataFrame:
    """One made-up row, for the columns alone."""
    row = {"origin": 0, "found": False, "chance": 0.5, "mileage_chance": 0.5, "age_km": 0.0}
    return pd.DataFrame([row])


def _calibration(scored: pd.DataFrame) -> pd.DataFrame:
    """Found beside expected by part, duty, date, and tenth of the chance stated."""
    place = scored["chance"].rank(method="first", pct=True)
    groups = {
        "tenth": np.ceil(place * _TENTHS).map("{:02.0f}".format),
        "part": scored["part_no"],
        "duty": scored["duty"].fillna("not known"),
        "date": scored["origin"].dt.strftime("%Y-%m-%d"),
        "all": pd.Series("all", index=scored.index),
    }
    tables = []
    for name, group in groups.items():
        table = calibration(scored["found"].to_numpy(), scored["chance"].to_numpy(), group)
        bounds = scored["chance"].groupby(group.to_numpy()).agg(["min", "max"])
        table["chance_from"] = table["group"].map(bounds["min"]).astype(float)
        table["chance_to"] = table["group"].map(bounds["max"]).astype(float)
        tables.append(table.assign(by=name, group=table["group"].astype("str")))
    return pd.concat(tables, ignore_index=True)
