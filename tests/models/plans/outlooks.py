"""An outlook of invented sensors, for tests of what is planned from it."""

import numpy as np
import pandas as pd

from models.plans.belief import Test
from models.plans.new_life import AGES_KM
from models.plans.outlook import Outlook
from models.plans.policy import KM_AHEAD

RATE = 1 / 5_000
DAYS = np.array([0, 7, 14, 21, 28, 35, 42, 56, 70, 91, 126, 182])
SHAPE, SCALE_KM = 2.5, 80_000.0
TEST = Test(0.9, 0.02)


def simulated(n, seed, *, km_per_day=60.0, ages_km=None):
    """Ages, defects and what is heard of sensors at one pace: truth behind an outlook."""
    rng = np.random.default_rng(seed)
    ages = rng.uniform(0, 60_000, n) if ages_km is None else np.broadcast_to(ages_km, n)
    until = SCALE_KM * ((ages / SCALE_KM) ** SHAPE + rng.exponential(size=n)) ** (1 / SHAPE)
    defect = (until - ages) / km_per_day
    return ages, defect, defect + rng.exponential(1 / RATE, n) / km_per_day


def outlook(ages_km, *, belief=None, km_per_day=60.0, fits=1, part_cost=120.0, **changed):
    """What is known of sensors of these ages, known to be sound but for ``belief``."""
    ages = np.atleast_1d(np.asarray(ages_km, float))
    n = len(ages)
    now = np.zeros(n) if belief is None else np.broadcast_to(belief, n).astype(float)
    hazard = ((ages[:, None] + KM_AHEAD) / SCALE_KM) ** SHAPE
    sensors = pd.DataFrame(
        {
            "sensor_id": [f"S-{i:05d}" for i in range(n)],
            "unit_id": [f"U-{i:05d}" for i in range(n)],
            "shop_id": np.where(np.arange(n) % 2, "north", "south"),
            "fleet_id": None,
            "part_no": "P1",
            "new_part_no": "P1",
            "part_cost": part_cost,
            "defect_now": now,
            "km_per_day": km_per_day,
            "new_hazard_ratio": 1.0,
        }
    )
    daily = float(np.nanmax(np.append(km_per_day, 0.0)))
    defect, heard = _by_day(ages, now, daily)
    return Outlook(
        sensors.assign(**changed),
        -np.expm1(-np.diff(hazard, axis=1)),
        (AGES_KM / SCALE_KM) ** SHAPE,
        DAYS,
        np.repeat(defect[:, None], fits, axis=1),
        np.repeat(heard[:, None], fits, axis=1),
        RATE,
        0.6,
        TEST,
    )


def _by_day(ages, now, km_per_day):
    """Chance of a defect, and of its being heard of, by each day: summed in steps of 10 km."""
    grid = np.arange(0, DAYS[-1] * km_per_day + 10, 10.0)
    hazard = ((ages[:, None] + grid) / SCALE_KM) ** SHAPE
    defect = 1 - (1 - now[:, None]) * np.exp(hazard[:, :1] - hazard)
    heard = np.zeros_like(defect)
    for k in range(1, len(grid)):
        silent = (defect[:, k - 1] + defect[:, k]) / 2 - heard[:, k - 1]
        heard[:, k] = heard[:, k - 1] + silent * -np.expm1(-RATE * 10)
    place = np.round(DAYS * km_per_day / 10).astype(int)
    return defect[:, place], heard[:, place]
