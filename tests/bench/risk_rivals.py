"""General-purpose libraries on the records of the simulated fleets, each built as well as we could.

All get the same helps: defects placed inside their windows, sensors of unknown age at the mean age
of known ones, and silence: a sensor counts as sound until ``LAG_KM`` before its last contact, or
until its last good test if that was later. The lag, the places in the windows and the libraries'
own settings were chosen on tuning seeds.

scikit-survival is not among the requirements (GPL): ``pip install scikit-survival``, and without it
its row is left out.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.preprocessing import OrdinalEncoder

from tests.bench.risk_history import GROUPS, NUMBERS, known_at, lives_of
from tests.models.risk.wearing_fleet import WearingFleet

#: Km for which a silent sensor may yet have the defect; also how long a finding takes.
LAG_KM = 3_000.0
EVENTS = {"defect_now": 0.0, "defect_5000_km": 5_000.0}
#: Landmarks of one life, and km that must follow a landmark beside those looked ahead.
_LANDMARKS, _FOLLOWED_KM, _FARTHEST_KM = 12, 3_000.0, 40_000.0
Chances = dict[str, np.ndarray]


def _now(fleet: WearingFleet, lives: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lives of the sensors in service, their ages, and those at which they count as sound."""
    life = pd.Series(lives["life"].to_numpy(), lives["sensor_id"])
    life = life[fleet.sensors_now["sensor_id"]].to_numpy()
    age, rows = fleet.sensors_now["age_now_km"].to_numpy(float), lives.iloc[life]
    contact = np.where(rows["private"], rows["contact_km"], age)
    sound = np.fmax(rows["good_km"], contact - LAG_KM)
    return life, age, np.minimum(sound, age)


def cox_time_varying(fleet: WearingFleet) -> Chances:
    """lifelines CoxTimeVaryingFitter over age, covariates anew from each test on."""
    from lifelines import CoxTimeVaryingFitter

    lives = lives_of(fleet)
    parts = _test_to_test(fleet, lives)
    table = _dummies(parts)
    fitter = CoxTimeVaryingFitter(penalizer=0.003)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter.fit(table, id_col="life", start_col="start", stop_col="stop", event_col="event")
    life, age, sound = _now(fleet, lives)
    at = known_at(fleet, lives, life, age)
    relative = fitter.predict_partial_hazard(_dummies(at, like=table)).to_numpy().ravel()
    base = fitter.baseline_cumulative_hazard_
    extra = lives["extra_km"].to_numpy()[life]
    hazard = _smooth(base.index.to_numpy(float), base.to_numpy().ravel())
    return {
        name: -np.expm1(relative * (hazard(sound + extra) - hazard(age + extra + ahead)))
        for name, ahead in EVENTS.items()
    }


def _smooth(age: np.ndarray, total: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Cumulative hazard drawn through its steps; beyond the last it goes on at its late rate."""
    late = np.searchsorted(age, 0.75 * age[-1])
    rate = (total[-1] - total[late]) / max(age[-1] - age[late], 1.0)
    age = np.concatenate([[0.0], age, [age[-1] + 1e6]])
    total = np.concatenate([[0.0], total, [total[-1] + rate * 1e6]])
    return lambda asked: np.interp(asked, age, total)


def _test_to_test(fleet: WearingFleet, lives: pd.DataFrame) -> pd.DataFrame:
    """Start-stop rows from entry over each good test to the defect, or to the last sound age."""
    rows = lives[~(lives["bad_km"] <= lives["entry_km"])]
    stop = rows["defect_km"].fillna(np.fmax(rows["good_km"], rows["end_km"] - LAG_KM))
    ends = pd.DataFrame({"life": rows["life"], "at": rows["entry_km"]})
    tests = fleet.wear_readings[fleet.wear_readings["passed"]]
    tests = pd.DataFrame({"life": tests["life"], "at": tests["read_km"]})
    parts = pd.concat([ends, tests]).drop_duplicates()
    parts = parts[parts["life"].isin(rows["life"])].sort_values(["life", "at"], ignore_index=True)
    parts["end"] = parts["life"].map(stop.set_axis(rows["life"]))
    parts["stop"] = parts.groupby("life")["at"].shift(-1).fillna(np.inf).clip(upper=parts["end"])
    parts = parts[parts["stop"] > parts["at"]].reset_index(drop=True)
    event = (parts["stop"] == parts["end"]) & parts["life"].map(
        rows["bad_km"].notna().set_axis(rows["life"])
    )
    known = known_at(fleet, lives, parts["life"].to_numpy(), parts["at"].to_numpy())
    extra = lives["extra_km"].to_numpy()[parts["life"]]
    spans = {"start": parts["at"] + extra, "stop": parts["stop"] + extra, "event": event}
    return known.assign(life=parts["life"], **spans)


def _dummies(known: pd.DataFrame, like: pd.DataFrame | None = None) -> pd.DataFrame:
    """Columns for a proportional-hazards model; a blank reading counts as the mean, and is told."""
    none = known["log_rough"].isna()
    columns = pd.get_dummies(known[list(GROUPS)], dtype=float)
    columns = columns.drop(columns=[f"{name}_{known[name].min()}" for name in GROUPS])
    for name in ("log_rough", "log_rough_mean", "log_rough_max"):
        columns[name] = (known[name] - np.log(0.03)).where(~none, 0.0)
    columns["unread"] = none.astype(float)
    columns["log_rough_growth"] = known["log_rough_growth"].clip(-2, 2).fillna(0.0)
    columns["riding"] = known["log_km_per_day"] - np.log(30.0)
    columns["found_on_bike"] = known["found_on_bike"].clip(upper=3.0)
    columns["checks_share"] = known["checks_share"].fillna(0.0)
    if like is not None:
        return columns.reindex(
            columns=like.columns.drop(["life", "start", "stop", "event"]), fill_value=0.0
        )
    return columns.assign(**known[["life", "start", "stop", "event"]])


def weibull_interval(fleet: WearingFleet) -> Chances:
    """lifelines WeibullAFTFitter on intervals, with entry; covariates that do not change."""
    from lifelines import WeibullAFTFitter

    lives = lives_of(fleet)
    rows = lives[~(lives["bad_km"] <= lives["entry_km"])]
    sound = np.fmax(rows["good_km"], (rows["end_km"] - LAG_KM).where(rows["bad_km"].isna()))
    columns = _static(rows)
    table = columns.assign(
        low=sound + rows["extra_km"],
        high=(rows["bad_km"] + rows["extra_km"]).fillna(np.inf),
        entry=rows["entry_km"] + rows["extra_km"],
    )
    table = table[(table["low"] > table["entry"]) | np.isfinite(table["high"])]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter = WeibullAFTFitter(penalizer=1e-4).fit_interval_censoring(
            table, "low", "high", entry_col="entry"
        )
    life, age, sound_now = _now(fleet, lives)
    scale = _static(lives.iloc[life]) @ fitter.params_["lambda_"].drop("Intercept")
    scale = np.exp(scale.to_numpy() + fitter.params_["lambda_"]["Intercept"])
    shape = np.exp(fitter.params_["rho_"]["Intercept"])
    extra = lives["extra_km"].to_numpy()[life]

    def hazard(asked: np.ndarray) -> np.ndarray:
        return ((asked + extra) / scale) ** shape

    return {name: -np.expm1(hazard(sound_now) - hazard(age + k)) for name, k in EVENTS.items()}


def _static(rows: pd.DataFrame) -> pd.DataFrame:
    columns = pd.get_dummies(rows[list(GROUPS)], dtype=float)
    columns = columns.drop(columns=[f"{name}_{rows[name].min()}" for name in GROUPS])
    return columns.assign(riding=np.log(rows["km_per_day"] / 30.0))


def at_tests(fleet: WearingFleet, lives: pd.DataFrame) -> pd.DataFrame:
    """Lives looked at on the way, at entry and at each good test: life and age ``at``."""
    tests = fleet.wear_readings[fleet.wear_readings["passed"]]
    tests = pd.DataFrame({"life": tests["life"], "at": tests["read_km"]})
    entry = pd.DataFrame({"life": lives["life"], "at": lives["entry_km"]})
    return pd.concat([tests, entry]).drop_duplicates(ignore_index=True)


def on_the_way(fleet: WearingFleet, lives: pd.DataFrame) -> pd.DataFrame:
    """Lives looked at at km drawn evenly, private bikes at the contact before it."""
    rng, n = np.random.default_rng(0), len(lives)
    span = (lives["last_bike_km"] - lives["fitted_bike_km"] - lives["entry_km"]).clip(lower=0)
    age = lives["entry_km"].to_numpy()[:, None]
    age = age + rng.random((n, _LANDMARKS)) * span.to_numpy()[:, None]
    marks = pd.DataFrame({"life": np.repeat(np.arange(n), _LANDMARKS), "at": age.ravel()})
    since = known_at(fleet, lives, marks["life"].to_numpy(), marks["at"].to_numpy())
    entry = lives["entry_km"].to_numpy()[marks["life"]]
    return marks.assign(at=np.maximum(marks["at"] - since["km_since_contact"], entry))


def looked_at(fleet: WearingFleet, lives: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """What was known at these ages of those still in use, the defect as placed afterwards (blank if
    none), and the km left in the records of its bike (``left_km``)."""
    bad = lives["bad_km"].to_numpy()[marks["life"]]
    marks = marks[~(bad <= marks["at"].to_numpy())].reset_index(drop=True)
    rows = lives.iloc[marks["life"]].reset_index(drop=True)
    known = known_at(fleet, lives, marks["life"].to_numpy(), marks["at"].to_numpy())
    left = rows["last_bike_km"] - rows["fitted_bike_km"] - marks["at"]
    ends = rows[["defect_km", "end_km"]]
    return known.assign(at=marks["at"], left_km=left, **ends)


def _numbers(known: pd.DataFrame, encoder: OrdinalEncoder) -> np.ndarray:
    groups = encoder.transform(known[list(GROUPS)].astype("object"))
    return np.hstack([groups, known[list(NUMBERS)].to_numpy(float)])


def _encoder(known: pd.DataFrame) -> OrdinalEncoder:
    encoder = OrdinalEncoder(handle_unknown="use_encoded_value", unknown_value=-1)
    return encoder.fit(known[list(GROUPS)].astype("object"))


def boosting(fleet: WearingFleet) -> Chances:
    """HistGradientBoostingClassifier on landmarks; the km looked ahead are a feature.

    Asked of a private bike as of its last contact, so many km further ahead: bikes unread for long
    are then no strangers to what it learned from.
    """
    lives = lives_of(fleet)
    marks = looked_at(fleet, lives, on_the_way(fleet, lives))
    marks = marks[marks["left_km"] > _FOLLOWED_KM].reset_index(drop=True)
    rng, encoder = np.random.default_rng(1), _encoder(marks)
    most = np.minimum((marks["left_km"] - _FOLLOWED_KM).to_numpy(), _FARTHEST_KM)
    ahead = most * rng.choice([0.0, 1.0], len(marks), p=[0.2, 0.8]) * rng.random(len(marks))
    target = (marks["defect_km"] <= marks["at"] + ahead).to_numpy()
    X = np.column_stack([_numbers(marks, encoder), ahead])
    monotonic = [0] * (X.shape[1] - 1) + [1]
    model = HistGradientBoostingClassifier(
        learning_rate=0.05, max_iter=200, max_leaf_nodes=8, min_samples_leaf=60,
        l2_regularization=5.0, categorical_features=[0, 1, 2], monotonic_cst=monotonic, random_state=0,
    )  # fmt: skip
    model.fit(X, target)
    life, age, _ = _now(fleet, lives)
    rows = lives.iloc[life]
    from_km = np.where(rows["private"], np.minimum(rows["contact_km"], age), age)
    asked = _numbers(known_at(fleet, lives, life, from_km), encoder)
    return {
        name: model.predict_proba(np.column_stack([asked, age - from_km + k]))[:, 1]
        for name, k in EVENTS.items()
    }


def survival_forest(fleet: WearingFleet) -> Chances:
    """scikit-survival's RandomSurvivalForest of the km left from each test, times by 1,000 km."""
    from sksurv.ensemble import RandomSurvivalForest
    from sksurv.util import Surv

    lives = lives_of(fleet)
    marks = looked_at(fleet, lives, at_tests(fleet, lives))
    stop = marks["defect_km"].fillna(marks["end_km"] - LAG_KM) - marks["at"]
    used = (stop > 0).to_numpy()
    encoder, event = _encoder(marks), marks["defect_km"].notna().to_numpy()
    steps = np.minimum(np.ceil(stop / 1_000.0) * 1_000.0, 60_000.0)
    y = Surv.from_arrays(event[used] & (stop < 60_000).to_numpy()[used], steps[used])
    forest = RandomSurvivalForest(
        n_estimators=60, min_samples_leaf=40, max_samples=0.5, random_state=0
    )
    forest.fit(_numbers(marks, encoder)[used], y)
    life, age, sound = _now(fleet, lives)
    good = lives["good_km"].to_numpy()[life]
    curves = forest.predict_survival_function(
        _numbers(known_at(fleet, lives, life, good), encoder), return_array=True
    )
    times = np.append(0.0, forest.unique_times_)
    curves = np.hstack([np.ones((len(curves), 1)), curves])

    def survival(since: np.ndarray) -> np.ndarray:
        since = np.minimum(since, times[-1])
        above = np.clip(np.searchsorted(times, since), 1, len(times) - 1)
        share = (since - times[above - 1]) / (times[above] - times[above - 1])
        row = np.arange(len(curves))
        return curves[row, above - 1] * (1 - share) + curves[row, above] * share

    start = np.maximum(survival(sound - good), 1e-9)
    return {name: 1 - np.minimum(survival(age + k - good) / start, 1) for name, k in EVENTS.items()}


def rivals() -> dict[str, Callable[[WearingFleet], Chances]]:
    """Every rival that is installed here, by name."""
    found = {
        "lifelines Cox, time-varying": cox_time_varying,
        "lifelines Weibull, intervals": weibull_interval,
        "gradient boosting": boosting,
    }
    try:
        import sksurv.ensemble  # noqa: F401
    except ImportError:
        return found
    return found | {"scikit-survival forest": survival_forest}
