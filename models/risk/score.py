"""From observed lives to the risk of each sensor in service: the one call the pipeline makes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from models.frames import FrameSchema
from models.risk.about_estimate import about_estimate
from models.risk.assumed import FEW_DEFECTS, TEST_SENSITIVITY, BetaPrior
from models.risk.delay import Delay
from models.risk.estimates import ESTIMATE_KM, Estimates
from models.risk.fit import FittedRisk, fit_risk
from models.risk.hazard import DefectHazard
from models.risk.lives import found_on_entry
from models.risk.now import (
    HORIZONS_KM,
    Chances,
    defect_chances,
    point_chances,
    usual_test_spacing_km,
)
from models.risk.road import road_failure_share
from models.risk.schemas import (
    CONTACT_GAPS,
    DEFECT_RISK,
    FLEET_CURVE,
    FOLLOWED_UP,
    LIFE_WINDOWS,
    SENSORS_NOW,
    WEAR_READINGS,
)
from models.risk.signs import learned_shares, sign_of
from models.risk.spreads import LEVEL, Remember, chances_with, spreads_of
from models.risk.view import in_view_chances, paces

_NAMES = ("defect_now", "defect_1000_km", "defect_5000_km", "defect_10000_km")
_SIGN_WORDS = {
    "worn_band": "its last test had a doubtful sign and a worn band in its sweep",
    "fail": "its last test failed",
    "suspect": "its last test was suspect",
    "dropouts_seen": "its last sweep showed drop-outs",
}
_CURVE_POINTS = 41


@dataclass(frozen=True)
class RiskResults:
    """Risk of every sensor in service, the fleet's curve, the model and counts.

    ``defect_risk`` is in the columns of ``DEFECT_RISK``, ``fleet_curve`` in those of
    ``FLEET_CURVE``. ``model`` is None where no life was observed. ``summary`` holds ``n_lives``,
    ``n_defects``, ``n_bikes``, ``km_observed``, ``n_found_on_entry``, ``n_unknown_age``,
    ``mostly_assumed``, ``test_spacing_km``, ``delay`` (km until a defect is heard of, whether
    learned or assumed; None where no contact is given) and, apart from the defect,
    ``road_failures``. ``settings`` are those of ``defect_chances``, for an explanation;
    its ``in_view`` is indexed by sensor. ``estimates`` are the sensors' chances by km ahead, by
    place.
    """

    defect_risk: pd.DataFrame
    fleet_curve: pd.DataFrame
    model: DefectHazard | None
    summary: dict[str, Any]
    settings: dict[str, Any]
    estimates: Estimates


def fit_and_score(
    windows: pd.DataFrame,
    sensors_now: pd.DataFrame,
    *,
    followed_up: pd.DataFrame | None = None,
    contact_gaps: pd.DataFrame | None = None,
    wear_readings: pd.DataFrame | None = None,
    sensitivity: BetaPrior = TEST_SENSITIVITY,
    model: DefectHazard | None = None,
    fitted: FittedRisk | None = None,
    seed: int = 0,
    n_resamples: int = 200,
    remember: Remember | None = None,
) -> RiskResults:
    """Fit the hazard of defect to observed lives and score each sensor in service.

    Parameters
    ----------
    windows : frame of shape (lives, ...)
        Columns of ``LIFE_WINDOWS``.
    sensors_now : frame of shape (sensors, ...)
        Columns of ``SENSORS_NOW``.
    followed_up : frame of shape (signs, ...), optional
        Columns of ``FOLLOWED_UP``: how often a failed or suspect test, or drop-outs, proved to
        be a defect.
    contact_gaps : frame of shape (gaps, ...), optional
        Columns of ``CONTACT_GAPS``: from these the chance that a bike outside a fleet is still in
        view. Without it, silence counts only until each sensor's contact.
    wear_readings : frame of shape (tests, ...), optional
        Columns of ``WEAR_READINGS``: what past tests measured. Without it only their verdicts
        count.
    sensitivity : BetaPrior
        Share of defective sensors in which a test finds the defect (assumed by default).
    model : DefectHazard, optional
        Unfitted estimator with other settings.
    fitted : FittedRisk, optional
        Models already fitted to these records (``fit_risk``), which are then not fitted again.
    seed, n_resamples : int
        Seed and number of the draws behind the intervals.
    remember : callable, optional
        Intervals are then as wide as in ``models.risk.spreads``, and what it remembers is not
        worked out again; by default by draws for each sensor where it stands.

    Raises
    ------
    FrameError
        A frame does not fit its schema.
    LivesError
        A life is impossible.
    """
    windows, sensors = LIFE_WINDOWS.check(windows), SENSORS_NOW.check(sensors_now)
    if fitted is None:
        fitted = fit_risk(
            windows,
            sensors,
            followed_up=followed_up,
            contact_gaps=contact_gaps,
            wear_readings=wear_readings,
            sensitivity=sensitivity,
            model=model,
            seed=seed,
        )
    main = fitted.model
    shares, in_view = learned_shares(_checked(followed_up, FOLLOWED_UP)), np.zeros(len(sensors))
    if contact_gaps is not None:
        by_bike = in_view_chances(CONTACT_GAPS.check(contact_gaps), km_per_day=paces(windows))
        in_view = sensors["unit_id"].map(by_bike).fillna(0.0).to_numpy(float)
    summary = _summary(windows, main)
    settings = {
        "shares": shares,
        "sensitivity": sensitivity,
        "spacing_km": summary["test_spacing_km"],
        "seed": seed,
        "wear_readings": _of_lives(_checked(wear_readings, WEAR_READINGS), sensors),
        "growth": fitted.growth,
    }
    estimates, all_heard = _estimates(main, sensors, in_view, remember, n_resamples, settings)
    risk = _risk(sensors, estimates)
    risk["defect_now_if_silent"] = risk["defect_now_if_all_heard"] = risk["defect_now"]
    if fitted.silent_model is not None:
        silent = _now_if(fitted.silent_model, sensors, in_view, settings)
        risk["defect_now_if_silent"], risk["defect_now_if_all_heard"] = silent, all_heard
    risk["basis"] = _basis(sensors, summary, shares, followed_up)
    curve = FLEET_CURVE.empty() if main is None else _curve(main, windows, n_resamples, seed)
    return RiskResults(
        DEFECT_RISK.check(risk),
        FLEET_CURVE.check(curve),
        main,
        summary,
        settings | {"in_view": pd.Series(in_view, sensors["sensor_id"])},
        estimates,
    )


def _checked(frame: pd.DataFrame | None, schema: FrameSchema) -> pd.DataFrame | None:
    return None if frame is None else schema.check(frame)


def _of_lives(wear_readings: pd.DataFrame | None, sensors: pd.DataFrame) -> pd.DataFrame | None:
    """Readings of the sensors' lives alone: they are looked up again and again."""
    if wear_readings is None:
        return None
    some = wear_readings["life_id"].isin(sensors["life_id"])
    return wear_readings[some].reset_index(drop=True)


def _summary(windows: pd.DataFrame, fitted: DefectHazard | None) -> dict[str, Any]:
    road = asdict(road_failure_share(windows))
    counts = (
        {"n_lives": 0, "n_defects": 0, "n_bikes": 0, "km_observed": 0.0}
        if fitted is None
        else {
            "n_lives": fitted.n_lives_,
            "n_defects": fitted.n_defects_,
            "n_bikes": fitted.n_bikes_,
            "km_observed": fitted.km_watched_,
        }
    )
    return counts | {
        "n_found_on_entry": int(found_on_entry(windows).sum()),
        "n_unknown_age": int((~windows["age_known"].astype(bool)).sum()),
        "mostly_assumed": counts["n_defects"] < FEW_DEFECTS,
        "test_spacing_km": usual_test_spacing_km(windows),
        "road_failures": road,
        "delay": None if fitted is None or fitted.delay_ is None else _delay_summary(fitted.delay_),
    }


def _delay_summary(delay: Delay) -> dict[str, Any]:
    return asdict(delay) | {"mean_km": delay.mean_km}


def _estimates(
    fitted: DefectHazard | None,
    sensors: pd.DataFrame,
    in_view: np.ndarray,
    remember: Remember | None,
    n_resamples: int,
    settings: Mapping[str, Any],
) -> tuple[Estimates, np.ndarray]:
    """By sensor, and chance of a defect now were all heard of; blank without a model or an age."""
    found = [np.full((len(sensors), len(ESTIMATE_KM)), np.nan) for _ in range(3)]
    all_heard = np.full(len(sensors), np.nan)
    known = np.flatnonzero(sensors["age_now_km"].notna())
    if fitted is not None and len(known):
        some, view = sensors.iloc[known].reset_index(drop=True), in_view[known]
        how = {"in_view": view, "horizons_km": ESTIMATE_KM, **settings}
        point, heard = point_chances(fitted, some, **how)
        all_heard[known] = heard[:, 0]
        drawn = {**how, "n_resamples": n_resamples}
        if remember is not None:
            spreads = spreads_of(fitted, some, view, remember, n_resamples=n_resamples, **settings)
            parts = chances_with(spreads, point, fitted, some, **drawn)
        elif n_resamples:
            parts = defect_chances(fitted, some, level=LEVEL, **drawn)
        else:
            parts = Chances(point, point, point)
        for values, part in zip(found, parts, strict=True):
            values[known] = part
    return Estimates(ESTIMATE_KM, *found), all_heard


def _now_if(
    other: DefectHazard | None,
    sensors: pd.DataFrame,
    in_view: np.ndarray,
    settings: Mapping[str, Any],
) -> np.ndarray:
    """Chance of a defect now under another model, by sensor, blank as the others are.

    Summed over the cells of the chance itself.
    """
    chance = np.full(len(sensors), np.nan)
    known = np.flatnonzero(sensors["age_now_km"].notna())
    if other is not None and len(known):
        how = {"in_view": in_view[known], "horizons_km": ESTIMATE_KM, "n_resamples": 0, **settings}
        chance[known] = defect_chances(other, sensors.iloc[known], **how).chance[:, 0]
    return chance


def _risk(sensors: pd.DataFrame, estimates: Estimates) -> pd.DataFrame:
    """Chances and intervals by sensor, blank where there is no model or no age."""
    risk: dict[str, Any] = {"sensor_id": sensors["sensor_id"]}
    chances = estimates.at(HORIZONS_KM)
    for i, name in enumerate(_NAMES):
        for end, values in zip(("", "_low", "_high"), chances, strict=True):
            risk[name + end] = values[:, i]
    return pd.DataFrame(risk)


def _basis(
    sensors: pd.DataFrame,
    summary: dict[str, Any],
    shares: Mapping[str, BetaPrior],
    followed_up: pd.DataFrame | None,
) -> pd.Series:
    """One sentence a sensor: what its number rests on."""
    if not summary["n_lives"]:
        none = "No sensor has been watched for any distance yet, so no risk can be given."
        return pd.Series(none, index=sensors.index)
    records = _records_text(summary)
    tallies = {} if followed_up is None else followed_up.set_index("sign").to_dict("index")
    told = {
        "age": sensors["age_now_km"].to_numpy(float).tolist(),
        "known": sensors["age_known"].to_numpy(bool).tolist(),
        "tested": _tested(sensors),
        "heard": _heard(sensors, summary["delay"]),
        "sign": _signs(sign_of(sensors, shares), tallies),
    }
    texts = [_sensor_text(f"Rests on {records}", *row) for row in zip(*told.values(), strict=True)]
    return pd.Series(texts, index=sensors.index)


def _records_text(summary: dict[str, Any]) -> str:
    counts = (
        f"{_count(summary['n_defects'], 'defect')} in "
        f"{_count(summary['n_lives'], 'sensor life', 'sensor lives')} on "
        f"{_count(summary['n_bikes'], 'bike')} over {summary['km_observed']:,.0f} km"
    )
    if summary["mostly_assumed"]:
        return f"{counts}: too few, so it rests largely on an assumed wear curve"
    return counts


def _sensor_text(
    rests_on: str, age_km: float, age_known: bool, tested: str, heard: str, sign: str
) -> str:
    if age_km != age_km:
        return "The bike has no odometer reading, so the sensor's age and risk are not known."
    averaged = "its age before it was first seen is not known and was averaged over"
    parts = (rests_on, tested, heard, "" if age_known else averaged, sign)
    return "; ".join(filter(None, parts)) + "."


def _signs(signs: pd.Series, tallies: dict[str, Any]) -> list[str]:
    """What a sign in the last test of each sensor says, nothing where there is none."""
    said = {
        sign: f"{_SIGN_WORDS.get(sign, sign)}, and {_share_text(tallies.get(sign))}"
        for sign in set(signs.dropna())
    }
    return [said.get(sign, "") if isinstance(sign, str) else "" for sign in signs.tolist()]


def _share_text(tally: dict[str, int] | None) -> str:
    if not tally or not tally["followed_up"]:
        return "no such test has been followed up, so how often that proves right is assumed"
    return (
        f"{tally['confirmed']} of {tally['followed_up']} such tests followed up proved to be a "
        "defect (added to an assumed share)"
    )


def _heard(sensors: pd.DataFrame, delay: dict[str, Any] | None) -> list[str]:
    """Until when nothing was heard of each sensor, nothing where that is not known."""
    if not delay:
        return [""] * len(sensors)
    road = _count(delay["n_road_failures"], "road failure")
    source = f"learned with {road}" if delay["learned"] else f"assumed, {road} being too few"
    taken = (
        f", and a defect is taken to be heard of after {delay['mean_km']:,.0f} km on average "
        f"({source})"
    )
    since = (sensors["age_now_km"] - sensors["contact_km"]).to_numpy(float).tolist()
    return [
        ""
        if km != km
        else f"nothing was heard of it up to {'today' if km < 1 else f'{km:,.0f} km ago'}{taken}"
        for km in since
    ]


def _tested(sensors: pd.DataFrame) -> list[str]:
    """How long ago each sensor was last found without the defect."""
    since = np.maximum((sensors["age_now_km"] - sensors["good_km"]).to_numpy(float), 0.0)
    return [
        "no test has found it without the defect"
        if km != km
        else f"last test without the defect {km:,.0f} km ago"
        for km in since.tolist()
    ]


def _count(number: int, one: str, many: str | None = None) -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def _curve(model: DefectHazard, windows: pd.DataFrame, n_draws: int, seed: int) -> pd.DataFrame:
    """Survival by age for all lives and for each part, averaged over the group's lives."""
    draws = np.vstack([model.coef_, model.draw(n_draws, seed)])
    age = np.linspace(0.0, model.edges_[-1], _CURVE_POINTS)
    groups = [("all", windows), *windows.groupby("part_no", sort=True)]
    return pd.concat([_group_curve(model, n, g, age, draws) for n, g in groups], ignore_index=True)


def _group_curve(
    model: DefectHazard, name: str, group: pd.DataFrame, age: np.ndarray, draws: np.ndarray
) -> pd.DataFrame:
    first, number = model.life_columns_.patterns(group)
    share = np.bincount(number) / len(number)
    by_pattern = model.predict_survival(group.iloc[first], age[None, :], draws)
    survival = np.einsum("dpa,p->da", by_pattern, share)
    drawn = about_estimate(survival)[1:] if len(draws) > 1 else survival
    low, high = np.quantile(drawn, [0.05, 0.95], axis=0)
    known = group[group["age_known"].astype(bool)]
    end = known["bad_km"].fillna(known["good_km"]).to_numpy()
    watched = (known["entry_km"].to_numpy() <= age[:, None]) & (age[:, None] <= end)
    return pd.DataFrame(
        {
            "part_no": name,
            "age_km": age,
            "survival": survival[0],
            "survival_low": np.minimum(low, survival[0]),
            "survival_high": np.maximum(high, survival[0]),
            "sensor_count": watched.sum(axis=1),
            "defect_count": int(group["bad_km"].notna().sum()),
        }
    )
