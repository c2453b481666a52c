"""Every shop there is, on paper and by simulation: what today's code would take, and where it breaks.

``.venv/bin/python -m tests.bench.scale_paper``: 10,000 shops, 5 million bikes, 10^8 tests and 10^12
samples, at the unit costs that ``scale_bench`` and ``large_home`` measured. On paper: bytes at rest,
processor hours, money a month. By simulation: nights of a chain whose shops differ in size, each
shop a home of its own, built by so many workers between closing and opening.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

HOUR_S = 3600.0


@dataclass(frozen=True)
class World:
    """What there is, and over how many days it came."""

    shops: int = 10_000
    bikes: int = 5_000_000
    tests: int = 100_000_000
    samples: int = 1_000_000_000_000
    sensors_a_bike: float = 1.74  # of the invented shops
    rows_a_test: float = 6.2  # of the invented shops, odometer readings among them
    days: int = 2_000

    @property
    def sensors(self) -> float:
        return self.bikes * self.sensors_a_bike

    @property
    def rows(self) -> float:
        return self.tests * self.rows_a_test


@dataclass(frozen=True)
class UnitCosts:
    """Seconds of processor time and bytes at rest, each measured at the size named."""

    # scale_bench, 103,587 tests of 12,000 samples each, other work beside
    sample_read_s: float = 0.50e-6
    sample_put_together_s: float = 0.43e-6
    sample_measured_s: float = 0.23e-6
    sample_handed_in_bytes: float = 3.9  # as plain Parquet; a CSV has five times as much
    sample_kept_bytes: float = 1.67
    row_read_s: float = 3.3e-6
    row_bytes: float = 77.0
    sensor_fitted_s: float = 7.1e-3  # a fit and all that hangs on it, by sensor
    sensor_looked_back_s: float = 7.4e-3
    warehouse_bytes_a_test: float = 3_600.0
    # scale_bench, 242 tests: what a build takes however little there is
    build_fixed_s: float = 6.0
    # a day's build of the same home, the fits standing
    row_settled_s: float = 5e-6
    test_told_s: float = 0.09e-3  # good ranges, the wear map, lives
    sensor_told_s: float = 0.72e-3  # chances, advice, stock and checks
    # memory at most, in the fits of looking back: a line through 24,473 sensors (98,980 tests) and
    # 247,317 (1,040,273)
    build_bytes: float = 1.0e9
    build_bytes_a_sensor: float = 7_000.0

    @property
    def sample_s(self) -> float:
        """What a new sample takes."""
        return self.sample_read_s + self.sample_put_together_s + self.sample_measured_s


@dataclass(frozen=True)
class Prices:
    """Assumed, in round figures and no currency: what a month of each costs."""

    core_hour: float = 0.04
    gigabyte_month: float = 0.02


def on_paper(world: World, costs: UnitCosts, prices: Prices) -> None:
    """Bytes, hours and money of the whole, were it one home."""
    held = {
        "samples as handed in": world.samples * costs.sample_handed_in_bytes,
        "samples kept": world.samples * costs.sample_kept_bytes,
        "rows": world.rows * costs.row_bytes,
        "one version of the warehouses": world.tests * costs.warehouse_bytes_a_test,
    }
    once = {
        "reading samples": world.samples * costs.sample_read_s,
        "putting them together by shop and month": world.samples * costs.sample_put_together_s,
        "measuring sweeps": world.samples * costs.sample_measured_s,
        "reading rows": world.rows * costs.row_read_s,
    }
    nightly = {
        "settling rows": world.rows * costs.row_settled_s,
        "good ranges, the wear map, lives": world.tests * costs.test_told_s,
        "chances, advice, stock, checks": world.sensors * costs.sensor_told_s,
        "a day's samples and rows": sum(once.values()) / world.days,
        "what each shop's build takes at least": world.shops * costs.build_fixed_s,
    }
    print("at rest:")
    for name, count in held.items():
        print(f"  {count / 1e12:8.2f} TB  {name}")
    print(f"  {sum(held.values()) / 1e9 * prices.gigabyte_month:8,.0f} a month (assumed price)")
    print("once:")
    _hours(once)
    print("with each new fit:")
    fitted = {"the fit": costs.sensor_fitted_s, "looking back": costs.sensor_looked_back_s}
    _hours({name: world.sensors * each for name, each in fitted.items()})
    print("each night, everything but sweeps and fits told anew:")
    _hours(nightly)
    month = 30 * sum(nightly.values()) / HOUR_S * prices.core_hour
    print(f"  {month:8,.0f} a month (assumed price)")
    needed = costs.build_bytes + world.sensors * costs.build_bytes_a_sensor
    print(f"memory of one build of all: {needed / 1e9:.0f} GB")
    for gigabytes in (16, 64, 256):
        sensors = (gigabytes * 1e9 - costs.build_bytes) / costs.build_bytes_a_sensor
        shops = sensors / (world.sensors / world.shops)
        print(f"  {gigabytes} GB hold {sensors:,.0f} sensors, {shops:,.0f} shops of these")


def _hours(seconds: dict[str, float]) -> None:
    for name, taken in seconds.items():
        print(f"  {taken / HOUR_S:8.1f} processor hours  {name}")
    print(f"  {sum(seconds.values()) / HOUR_S:8.1f} in all")


def shop_shares(rng: np.random.Generator, shops: int, spread: float = 1.0) -> np.ndarray:
    """Shares of all bikes by shop, log-normal (assumed), summing to 1; shape (shops,)."""
    sizes = rng.lognormal(0.0, spread, shops)
    return sizes / sizes.sum()


def night_s(tasks_s: np.ndarray, workers: int) -> float:
    """Seconds until the last task ends, the longest begun first, each worker one at a time."""
    free = [0.0] * workers
    for taken in np.sort(tasks_s)[::-1]:
        heapq.heappush(free, heapq.heappop(free) + float(taken))
    return max(free)


def by_simulation(world: World, costs: UnitCosts, nights: int = 20, seed: int = 1) -> None:
    """Nights of shops of different size: how many workers, and what the largest shop takes."""
    rng = np.random.default_rng(seed)
    shares = shop_shares(rng, world.shops)
    a_test_s = world.samples / world.tests * costs.sample_s
    standing = costs.build_fixed_s + shares * (
        world.rows * costs.row_settled_s
        + world.tests * costs.test_told_s
        + world.sensors * costs.sensor_told_s
    )
    largest = shares.max() * world.sensors
    print(
        f"shops by simulation: largest {largest:,.0f} sensors, "
        f"{(costs.build_bytes + largest * costs.build_bytes_a_sensor) / 1e9:.1f} GB of memory"
    )
    for workers in (8, 16, 32, 64):
        ends = []
        for _ in range(nights):
            new = rng.poisson(shares * world.tests / world.days)
            ends.append(night_s(standing + new * a_test_s, workers))
        low, high = np.quantile(ends, [0.05, 0.95]) / HOUR_S
        print(f"  {workers:3d} workers: a night takes {low:.2f} to {high:.2f} h (90 of 100 nights)")


def main() -> int:
    """Print both."""
    world, costs, prices = World(), UnitCosts(), Prices()
    on_paper(world, costs, prices)
    by_simulation(world, costs)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
