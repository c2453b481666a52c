"""The informed ceiling: chances by the true wear constants, all that is hidden integrated out.

Told the constants of the simulated fleet (``tests.models.risk.wearing_world.Wear``) and nothing
hidden, it states for each sensor in service the chance of a defect given the very records that the
models see. Hidden are the age at the defect, how rough the specimen gets, the bike's frailty (shared
by all sensors it ever had), the age at first sight where unknown, and whether a private bike unread
for long is still in view. With z the frailty, v whether in view and i the lives of one bike,

    P(event | records) = sum over z, v of W(z, v) N_j(z, v) / L_j(z, v),
    W(z, v) proportional to p(z) p(v) prod over i of L_i(z, v),

where L_i is the mass of the life's age at defect times the likelihood of its record, summed over
cells of age, and N_j the part of it in which the event has come about. Frailty by Gauss-Laguerre,
the specimen's roughness by Gauss-Hermite nodes. Two things are left as they are written although
they may be wrong: odometer readings, and the age today where it was carried forward.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import special

from tests.models.risk.wearing_fleet import WearingFleet

_FRAILTY_NODES, _FACTOR_NODES, _AGE_NODES = 16, 9, 12
_CELLS_SEEN = 150
_AHEAD_KM = np.array([*range(500, 5_001, 500), *range(6_000, 10_001, 1_000)], dtype=float)
_BEYOND_STEPS = 40
_FAR_KM = 1e8
_CHUNK = 1_000
HORIZONS_KM = {
    "defect_now": 0.0,
    "defect_1000_km": 1e3,
    "defect_5000_km": 5e3,
    "defect_10000_km": 1e4,
}


class _Rows(NamedTuple):
    """Lives, one row for each age at first sight; all ages with that added. ``life`` numbers them."""

    life: np.ndarray
    weight: np.ndarray
    entry: np.ndarray
    bad: np.ndarray
    contact: np.ndarray
    now: np.ndarray
    shift: np.ndarray


def informed_chances(fleet: WearingFleet, *, use_readings: bool = True) -> pd.DataFrame:
    """Chances for each sensor in service, in the order of ``fleet.sensors_now``.

    Parameters
    ----------
    fleet : WearingFleet
        Records and, in ``wear`` and ``world``, the constants told.
    use_readings : bool
        False leaves roughness and checks aside: what the outcomes of tests alone could tell.

    Returns
    -------
    frame of shape (sensors, 5)
        ``sensor_id`` and the chances named in ``HORIZONS_KM``.
    """
    rows = _rows(fleet)
    edges = _edges(rows)
    middle = (edges[:, 1:] + edges[:, :-1]) / 2
    record = _tests(fleet, rows, middle) + _ends(fleet, rows, middle)
    if use_readings:
        record += _readings(fleet, rows, middle)
    top = record.max(axis=1, keepdims=True)
    record = np.exp(record - np.where(np.isfinite(top), top, 0.0))
    in_view = [record * np.exp(_silence(fleet, rows, middle, view)) for view in (False, True)]
    log_scale = np.where(np.isfinite(top[:, 0]), top[:, 0], 0.0) + np.log(rows.weight)
    return _posterior(fleet, rows, edges, in_view, log_scale)


def _rows(fleet: WearingFleet) -> _Rows:
    windows = fleet.windows
    unknown = ~windows["age_known"].to_numpy(bool)
    copies = np.where(unknown, _AGE_NODES, 1)
    life = np.repeat(np.arange(len(windows)), copies)
    turn = np.arange(len(life)) - np.repeat(np.cumsum(copies) - copies, copies)
    middles = (turn + 0.5) / _AGE_NODES * fleet.world.oldest_entry_km
    shift = np.where(unknown[life], middles, 0.0)
    bike = fleet.bikes.iloc[windows["bike"]]
    now = bike["bike_km"].to_numpy() - windows["fitted_bike_km"].to_numpy()
    bad = windows["bad_km"].to_numpy(float)
    end = np.where(np.isnan(bad), now, bad)
    return _Rows(
        life=life,
        weight=1.0 / copies[life],
        entry=windows["entry_km"].to_numpy(float)[life] + shift,
        bad=bad[life] + shift,
        contact=windows["contact_km"].fillna(windows["bad_km"]).to_numpy(float)[life] + shift,
        now=end[life] + shift,
        shift=shift,
    )


def _edges(rows: _Rows) -> np.ndarray:
    """Cells of age, finer towards today; ahead in steps that meet the horizons; then to infinity."""
    u = 1 - (1 - np.linspace(0, 1, _CELLS_SEEN + 1)) ** 1.5
    seen = np.maximum(rows.now, 1.0)[:, None] * u
    ahead = seen[:, -1:] + _AHEAD_KM
    steps = np.geomspace(1.0, 2.6, _BEYOND_STEPS + 1)[1:]
    return np.hstack([seen, ahead, ahead[:, -1:] * steps, np.full((len(seen), 1), _FAR_KM)])


def _matched(fleet: WearingFleet, rows: _Rows) -> tuple[pd.DataFrame, np.ndarray]:
    """Each test beside each row of its life: readings repeated, and row numbers."""
    readings = fleet.wear_readings
    pairs = pd.DataFrame({"life": rows.life, "row": np.arange(len(rows.life))})
    pairs = pairs.merge(readings, on="life", how="inner").sort_values("row", ignore_index=True)
    row = pairs["row"].to_numpy()
    return pairs.assign(read_km=pairs["read_km"].to_numpy() + rows.shift[row]), row


def _summed(fleet: WearingFleet, rows: _Rows, middle: np.ndarray, of_tests) -> np.ndarray:
    """Sum over each row's tests of what ``of_tests(tests, middle)`` gives, shape (rows, ..., cells)."""
    tests, row = _matched(fleet, rows)
    total = None
    for start in range(0, len(tests), _CHUNK * 4):
        part = slice(start, start + _CHUNK * 4)
        value = of_tests(tests.iloc[part], middle[row[part]])
        if total is None:
            total = np.zeros((len(middle), *value.shape[1:]))
        first = np.flatnonzero(np.append(True, np.diff(row[part]) > 0))
        total[row[part][first]] += np.add.reduceat(value, first, axis=0)
    return np.zeros_like(middle) if total is None else total


def _tests(fleet: WearingFleet, rows: _Rows, middle: np.ndarray) -> np.ndarray:
    """Log chance that the passed tests passed, and of tests prompted by roughness being made."""
    wear, world = fleet.wear, fleet.world
    missed = np.log(max(1.0 - wear.sensitivity, 1e-12))
    felt = 1.0 / world.wear_complaints_km

    def of_tests(tests: pd.DataFrame, at: np.ndarray) -> np.ndarray:
        read = tests["read_km"].to_numpy()[:, None]
        passed = tests["passed"].to_numpy()[:, None]
        value = np.where(passed & (at <= read), missed, 0.0)
        if felt:
            growth = np.where(at > read, wear.growth(read / at), 0.0)
            prompted = passed & tests["prompted"].to_numpy()[:, None]
            value += np.where(prompted, np.log1p(felt * world.other_km * growth), 0.0)
        return value

    return _summed(fleet, rows, middle, of_tests)


def _readings(fleet: WearingFleet, rows: _Rows, middle: np.ndarray) -> np.ndarray:
    """Log likelihood of roughness and checks, the specimen's factor integrated out."""
    wear = fleet.wear
    node, weight = np.polynomial.hermite_e.hermegauss(_FACTOR_NODES)
    factor = np.exp(wear.factor_sd * node)
    steepness = (wear.depth_pct / wear.floor_pct * factor).astype(np.float32)
    noise = np.float32(wear.noise_sd)

    def of_tests(tests: pd.DataFrame, at: np.ndarray) -> np.ndarray:
        growth = wear.growth(tests["read_km"].to_numpy()[:, None] / at).astype(np.float32)
        out = wear.check_sound + wear.check_worn * growth
        is_out = tests["checks_out_of_band"].to_numpy()[:, None] > 0
        value = np.repeat(
            np.where(is_out, np.log(out), np.log1p(-out))[:, None], len(factor), axis=1
        )
        seen = tests["roughness_pct"].notna().to_numpy()
        above = np.log(tests["roughness_pct"].to_numpy(float)[seen] / wear.floor_pct)
        rise = np.log1p(steepness[:, None] * growth[seen][:, None, :])
        value[seen] -= ((above.astype(np.float32)[:, None, None] - rise) / noise) ** 2 / 2
        return value

    result = np.zeros_like(middle)
    for start in range(0, len(middle), _CHUNK):
        part = slice(start, start + _CHUNK)
        some = _Rows(*(field[part] for field in rows))
        value = _summed(fleet, some, middle[part], of_tests)
        if value.ndim == 3:
            result[part] = special.logsumexp(value, axis=1, b=(weight / weight.sum())[:, None])
    return result


def _ends(fleet: WearingFleet, rows: _Rows, middle: np.ndarray) -> np.ndarray:
    """Log likelihood of how lives ended by a finding, and of the way in."""
    wear, windows = fleet.wear, fleet.windows
    found = ~np.isnan(rows.bad)[:, None]
    since = rows.bad[:, None] - middle
    silent, density = _silent(fleet, since), _heard_density(fleet, since)
    heard = windows["heard"].to_numpy(bool)[rows.life][:, None]
    road = windows["road_failure"].to_numpy(bool)[rows.life][:, None]
    by_chance = wear.sensitivity / fleet.world.other_km * silent
    value = np.where(heard, density / 2 + np.where(road, 0.0, by_chance), silent)
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.where(found, np.log(np.where(since > 0, value, 0.0)), 0.0)
    if not fleet.world.silent_at_entry:
        log = np.where(middle > rows.entry[:, None], log, -np.inf)
    return log


def _silent(fleet: WearingFleet, since_km: np.ndarray) -> np.ndarray:
    """Chance that a defect is not heard of for so many km (1 where there is none yet)."""
    shape, mean = fleet.wear.delay_shape, fleet.wear.delay_km
    return special.gammaincc(shape, np.maximum(since_km, 0.0) * shape / mean)


def _heard_density(fleet: WearingFleet, since_km: np.ndarray) -> np.ndarray:
    shape, scale = fleet.wear.delay_shape, fleet.wear.delay_km / fleet.wear.delay_shape
    x = np.maximum(since_km, 1e-6) / scale
    return np.exp((shape - 1) * np.log(x) - x - special.gammaln(shape)) / scale


def _silence(fleet: WearingFleet, rows: _Rows, middle: np.ndarray, in_view: bool) -> np.ndarray:
    """Log chance that nothing was heard of lives not found, until the last contact or today."""
    bike = fleet.bikes.iloc[fleet.windows["bike"].to_numpy()[rows.life]]
    unread = (bike["private"].to_numpy() & np.isnan(rows.bad))[:, None]
    until = np.where(unread & in_view, rows.now[:, None], rows.contact[:, None])
    with np.errstate(divide="ignore"):
        log = np.where(np.isnan(rows.bad)[:, None], np.log(_silent(fleet, until - middle)), 0.0)
    felt = 1.0 / fleet.world.wear_complaints_km
    if felt:
        growth_km = fleet.wear.growth_km
        log -= felt * (growth_km(until, middle) - growth_km(rows.entry[:, None], middle))
    return log


def _view_chances(fleet: WearingFleet) -> np.ndarray:
    """Prior of (out of view, in view) of each bike, with the chance of no contact since the last."""
    bikes, world = fleet.bikes, fleet.world
    gap = (bikes["bike_km"] - bikes["last_contact_bike_km"]).to_numpy()
    no_visit = np.clip((1.6 - gap / world.visit_km) / 1.2, 0.0, 1.0)
    no_other = np.exp(-gap * bikes["sensors"].to_numpy() / world.other_km)
    lost = np.full(len(bikes), world.lost_chance)
    views = np.column_stack([lost, (1 - lost) * no_visit * no_other])
    return np.where(bikes["private"].to_numpy()[:, None], views, [0.0, 1.0])


def _posterior(
    fleet: WearingFleet,
    rows: _Rows,
    edges: np.ndarray,
    in_view: list[np.ndarray],
    log_scale: np.ndarray,
) -> pd.DataFrame:
    node, weight = special.roots_genlaguerre(_FRAILTY_NODES, fleet.wear.frailty_shape - 1)
    node, weight = node / fleet.wear.frailty_shape, weight / weight.sum()
    bike, scale = fleet.windows["bike"].to_numpy(), _per_life_scale(rows, log_scale)
    whole, parts = _masses(fleet, rows, edges, in_view, node, scale)
    log = np.log(np.maximum(whole, 1e-300))
    total = np.zeros((len(fleet.bikes), *log.shape[1:]))
    np.add.at(total, bike, log)
    with np.errstate(divide="ignore"):
        total += np.log(weight)[:, None] + np.log(_view_chances(fleet))[:, None, :]
    total = np.exp(total - total.max(axis=(1, 2), keepdims=True))
    total /= total.sum(axis=(1, 2), keepdims=True)
    share = parts / np.maximum(whole, 1e-300)[..., None]
    chance = np.einsum("lkv,lkvh->lh", total[bike], share)
    where = pd.Series(np.arange(len(bike)), fleet.windows["sensor_id"])
    chosen = chance[where[fleet.sensors_now["sensor_id"]].to_numpy()]
    result = pd.DataFrame(np.clip(chosen, 0.0, 1.0), columns=list(HORIZONS_KM))
    return result.assign(sensor_id=fleet.sensors_now["sensor_id"].to_numpy())


def _per_life_scale(rows: _Rows, log_scale: np.ndarray) -> np.ndarray:
    """Scale of each row against the greatest of its life, so that no life underflows."""
    top = np.full(int(rows.life.max()) + 1, -np.inf)
    np.maximum.at(top, rows.life, log_scale)
    return np.exp(log_scale - top[rows.life])


def _masses(
    fleet: WearingFleet,
    rows: _Rows,
    edges: np.ndarray,
    in_view: list[np.ndarray],
    node: np.ndarray,
    scale: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """L of shape (lives, frailties, views) and N of shape (lives, frailties, views, horizons)."""
    lives = len(fleet.windows)
    ratio = true_ratio(fleet)[rows.life][:, None]
    hazard = fleet.wear.cumulative(edges) * ratio
    early = fleet.wear.early_survival(edges) * fleet.wear.early_share
    past = [
        _CELLS_SEEN + int(np.searchsorted(_AHEAD_KM, h, side="right")) for h in HORIZONS_KM.values()
    ]
    whole, parts = np.zeros((lives, len(node), 2)), np.zeros((lives, len(node), 2, len(past)))
    for k, z in enumerate(node):
        survival = (1 - fleet.wear.early_share) * np.exp(-z * hazard) + early
        mass = (survival[:, :-1] - survival[:, 1:]) * scale[:, None]
        for v, record in enumerate(in_view):
            so_far = np.cumsum(mass * record, axis=1)
            whole[:, k, v] = np.bincount(rows.life, so_far[:, -1], lives)
            for h, cell in enumerate(past):
                parts[:, k, v, h] = np.bincount(rows.life, so_far[:, cell - 1], lives)
    return whole, parts


def true_ratio(fleet: WearingFleet) -> np.ndarray:
    """True hazard ratio of each life by part, duty, shop and riding, frailty left out.

    The km a day is that of the records, 0.1 off in the log.
    """
    wear, windows = fleet.wear, fleet.windows
    part, duty, shop = (
        windows[name].str[-1].astype(int) for name in ("part_no", "duty", "shop_id")
    )
    riding = (windows["km_per_day"] / 30.0) ** wear.riding_power
    ratio = wear.part_ratio[part] * wear.duty_ratio[duty] * wear.shop_ratio[shop] * riding
    return ratio.to_numpy()
