"""Random problems of one shop, for tests and the bench."""

from __future__ import annotations

import numpy as np

from models.check_plan.case import ShopCase


def any_case(seed: int) -> ShopCase:
    """A problem that branch and bound mostly solves: 3 to 39 bikes, up to 24 days and 3 depots."""
    rng = np.random.default_rng(seed)
    size = int(rng.integers(3, 40)), int(rng.integers(3, 25)), int(rng.integers(0, 4))
    return random_case(rng, *size, float(rng.choice([1, 2, 3])), windows=rng.random() < 0.7)


def random_case(
    rng: np.random.Generator,
    bikes: int,
    days: int,
    depots: int,
    bay_hours: float,
    *,
    windows: bool = True,
    pools: int = 2,
    two_sensors: float = 0.15,
    depot_day_cost: float = 25.0,
) -> ShopCase:
    """Bikes of some depots and private ones; a few have two sensors, a fifth needs a part."""
    depot = np.where(rng.random(bikes) < 0.7, rng.integers(0, max(depots, 1), bikes), -1)
    depot = depot if depots else np.full(bikes, -1)
    depot[depot >= 0] = np.unique(depot[depot >= 0], return_inverse=True)[1]
    bike = np.repeat(np.arange(bikes), np.where(rng.random(bikes) < two_sensors, 3, 1))
    n, day = len(bike), np.arange(days)
    level, slope = rng.gamma(1.2, 25, n) - 5, rng.normal(0, 0.02, n)
    bend = rng.random(n)[:, None] * np.abs(day - rng.integers(0, days, n)[:, None])
    gain = level[:, None] * (1 - slope[:, None] * day) - 0.4 * bend
    free = np.ones((bikes, days), dtype=bool)
    if windows:
        free = np.repeat((depot < 0)[:, None], days, axis=1)
        for own in range(bikes):
            for start in rng.integers(0, days, rng.integers(1, 4)):
                free[own, start : start + rng.integers(1, 5)] = True
    replaces = rng.random(n) < 0.2
    uses = np.zeros((n, days, pools), dtype=np.int8)
    for pool in range(pools):
        uses[replaces & (rng.integers(0, pools, n) == pool), :, pool] = 1
    most = max(2, int(replaces.sum() / 2 / max(pools, 1)))
    return ShopCase(
        bike,
        depot,
        np.where(free[bike], gain, -np.inf),
        np.repeat(np.where(replaces, 0.8, 0.5)[:, None], days, axis=1),
        np.full(days, bay_hours),
        uses,
        rng.integers(0, most, pools).astype(float),
        depot_day_cost,
    )
