"""How well the wear map finds simulated wear, how sure it is, and how fast it maps.

``python -m tests.bench.wear_bench all`` runs every part on its scoring seeds; the priors and
constants of the models were chosen on others (10,000 to 59,999). Parts: ``peaks`` (where worn bands
are), ``coverage`` (90 % intervals by position over small fleets), ``flat`` (flat or concentrated),
``held_out`` (pooled against fleet-only and sensor-only), ``failure`` (when the level is reached),
``dwell`` (what
explains wear), ``plan`` (passes promised), ``speed`` (sessions mapped in a process of its own, one core).
``--workers N`` or ``--cluster ADDRESS`` shares fleets out.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from models.simulate.rides import throttle
from models.simulate.world import DUTIES
from models.wear.bands import WornBands
from models.wear.concentration import Concentration, concentration
from models.wear.dwell import Explained, dwell_or_sliding, throttle_usage
from models.wear.mapping import map_wear
from models.wear.progress import BandProgress
from models.wear.records import wear_records
from models.wear.schemas import DROPOUT_PLACES, PASS_REACH
from models.wear.seen import in_life_order
from models.wear.sensor import SensorIntensity
from models.wear.surface import WearSurface
from models.wear.test_plan import lift_chance, passes_needed
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import add_worker_flags, chosen_workers
from tests.models.wear.simulated_wear import SimulatedWear, Truth, frames_of, simulate_wear

SCORING = 1_000_000  # first scoring seed
FOLLOWED = {"near_defect": True, "spacing_km": 1500.0, "tests": (4, 8)}
STREET = ("commute", "courier", "tour", "hire", "training", "offroad")
PEAKS = {
    "one band": Truth(duties=STREET, **FOLLOWED),
    "two bands": Truth(duties=STREET, bands=2, **FOLLOWED),
    "one moving, 0.5 % per 1,000 km": Truth(duties=STREET, move_pct_per_1000km=0.5, **FOLLOWED),
    "one moving, 1.0 % per 1,000 km": Truth(duties=STREET, move_pct_per_1000km=1.0, **FOLLOWED),
    "at the closed stop": Truth(centre_pct=1.5, **FOLLOWED),
    "at the open stop": Truth(centre_pct=98.5, **FOLLOWED),
    "none": Truth(bands=0, **FOLLOWED),
}
#: The results of a piece of work on each seed, by name, whoever does them.
Share = Callable[[str, Callable[[int], Any], Iterable[int]], list[Any]]
COVERAGE = {
    "one band": Truth(),
    "two bands": Truth(bands=2),
    "no common place": Truth(even=True),
    "training and hire": Truth(duties=("training", "hire")),
}
AGES_KM = (20_000.0, 35_000.0, 50_000.0)


def of_fleet(seed: int, work: Callable[[SimulatedWear], Any], sensors: int, truth: Truth) -> Any:
    """What ``work`` makes of the fleet of a seed."""
    return work(simulate_wear(sensors, seed, truth))


def pooled_of(fleet: SimulatedWear) -> tuple[WearSurface, np.ndarray]:
    records = fleet.records
    surface = WearSurface().fit(records.tests, records.counts, records.exposure)
    return surface, surface.predict_wear(records.tests)


def peaks(fleets: int, first: int, share: Share) -> None:
    """Error of the peak on sensors with at least three informative tests."""
    print("peak position, % of travel, sensors with three informative tests or more")
    print("fleet | sensors | median | p90 | interval holds | second found | falsely found")
    for name, truth in PEAKS.items():
        work = partial(of_fleet, work=peaks_of, sensors=300, truth=truth)
        parts = share(name, work, range(first, first + fleets))
        off, held, second, false = (np.concatenate([p[k] for p in parts]) for k in range(4))
        middle, far = np.quantile(off, [0.5, 0.9]) if off.size else (np.nan, np.nan)
        also = f"{second.mean():.3f}" if truth.bands == 2 else "-"
        wrong = f"{false.mean():.4f}" if truth.bands == 0 else "-"
        cover = f"{held.mean():.3f}" if held.size else "-"
        print(f"{name} | {off.size} | {middle:.2f} | {far:.2f} | {cover} | {also} | {wrong}")


def peaks_of(fleet: SimulatedWear) -> tuple[np.ndarray, ...]:
    records = fleet.records
    surface, pooled = pooled_of(fleet)
    bands = WornBands().fit(records, pooled, surface.strays_.rate)
    found = bands.predict(records, pooled).drop_duplicates(["life_id", "band_no"], keep="last")
    strongest = found[found["band_no"] == 1].set_index("life_id")
    informative = pd.Series(fleet.informative, index=records.tests["life_id"])
    enough = (informative.groupby(level=0).sum() >= 3).reindex(strongest.index).to_numpy()
    order, last = in_life_order(records)
    at = pd.Series(order[last], index=records.tests["life_id"].iloc[order[last]])
    lives = strongest.index[enough]
    false = (strongest["confidence"] >= 0.5).to_numpy()
    if not len(lives):
        return np.array([]), np.array([]), np.array([]), false
    band, middles = strongest.loc[lives], fleet.centres[at[lives].to_numpy()]
    apart = np.abs(band["peak_pct"].to_numpy()[:, None] - middles)
    nearest = middles[np.arange(len(lives)), apart.argmin(axis=1)]
    held = (band["peak_low_pct"] <= nearest) & (nearest <= band["peak_high_pct"])
    two = lives.isin(found.loc[found["band_no"] == 2, "life_id"])
    return apart.min(axis=1), held.to_numpy(), np.asarray(two), false


def population(truth: Truth) -> tuple[pd.DataFrame, np.ndarray]:
    """True mean intensity at each part, duty and age, from 60,000 sensors."""
    large = simulate_wear(60_000, 999, truth)
    tests = large.records.tests
    rows, means = [], []
    for part in truth.parts:
        for duty in truth.duties:
            own = (tests["part_no"] == part) & (tests["duty"] == duty)
            for age in AGES_KM:
                near = (own & ((tests["sensor_age_km"] - age).abs() < 3000)).to_numpy()
                rows.append((part, duty, age))
                means.append(large.expected[near].mean(axis=0))
    return pd.DataFrame(rows, columns=["part_no", "duty", "sensor_age_km"]), np.array(means)


def coverage(fleets: int, first: int, share: Share) -> None:
    """Share of intervals that hold, by kind of fleet and number of sensors, and over all fleets.

    Where nobody wears the truth is the least there can be, so that only the lower limit can miss.
    """
    print("share of 90 % intervals that hold the population's intensity (parts, duties, 3 ages)")
    print("fleet | sensors | fleets | all bins | with wear | without | true below | above | width")
    every = []
    for name, truth in COVERAGE.items():
        X, true = population(truth)
        worn = true > 3 * true.min()
        for sensors in (60, 120, 200):
            work = partial(of_fleet, work=partial(coverage_of, X=X), sensors=sensors, truth=truth)
            found = share(f"{name}, {sensors}", work, range(first, first + fleets))
            low, high = np.array(found).transpose(1, 0, 2, 3)
            held = (low <= true) & (true <= high)
            every += [(one.mean(), one[worn].mean()) for one in held]
            print(
                f"{name} | {sensors} | {fleets} | {held.mean():.3f} | {held[:, worn].mean():.3f} | "
                f"{held[:, ~worn].mean():.3f} | {(true < low).mean():.3f} | "
                f"{(true > high).mean():.3f} | ×{np.exp(np.log(high / low).mean()):.0f}",  # noqa: RUF001
                flush=True,
            )
    mean, error = np.mean(every, axis=0), np.std(every, axis=0, ddof=1) / np.sqrt(len(every))
    print(
        f"all {len(every)} fleets: all bins {mean[0]:.3f} ± {error[0]:.3f}, bins with wear "
        f"{mean[1]:.3f} ± {error[1]:.3f} (standard error over fleets)"
    )


def coverage_of(fleet: SimulatedWear, X: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    records = fleet.records
    model = WearSurface().fit(records.tests, records.counts, records.exposure)
    return model.predict_interval(X)


def flat(fleets: int, first: int, share: Share) -> None:
    print("share called concentrated (flat fleets: at most 7 %; twofold from 10 to 30 %: 90 %)")
    print("sensors | with a band | flat | twofold band | by drop-outs alone: flat | twofold")
    for sensors in (750, 500, 160):
        shares, many = [], []
        for doubled in (None, (10.0, 30.0)):
            truth = Truth(even=True, doubled=doubled)
            work = partial(of_fleet, work=decided, sensors=sensors, truth=truth)
            found = share(f"{sensors} sensors", work, range(first, first + fleets))
            shares.append(np.mean([[f.answer == "concentrated" for f in two] for two in found], 0))
            many.append(np.mean([two[0].n_sensors for two in found]))
        rates = " | ".join(f"{shares[d][k]:.3f}" for k in (0, 1) for d in (0, 1))
        print(f"{sensors} | {np.mean(many):.0f} | {rates}", flush=True)


def decided(fleet: SimulatedWear) -> tuple[Concentration, Concentration]:
    """As the map decides, from bands; and from the drop-outs alone."""
    records = fleet.records
    worn = WornBands(fit_lives=200, max_iter=3).fit(records, np.ones_like(fleet.expected))
    rows, share = worn.sights(records)
    by_band = concentration(rows, share, np.ones_like(share), n_shifts=199, least=0.5)
    sensor = records.tests["sensor_id"].to_numpy()
    return by_band, concentration(sensor, records.counts, records.exposure, n_shifts=199)


def held_out(fleets: int, first: int, share: Share) -> None:
    print("log likelihood a test of the second test of sensors of which one is known")
    print(
        "fleet | pooled | pooled, level of its like | part and duty only | fleet only | sensor only"
    )
    for name, truth in (
        ("two duties", Truth()),
        ("six duties", Truth(duties=STREET)),
        ("two bands", Truth(bands=2)),
    ):
        work = partial(of_fleet, work=held_out_of, sensors=300, truth=truth)
        parts = share(name, work, range(first, first + fleets))
        means = np.mean(parts, axis=0)
        ahead = np.array(parts)[:, :1] - np.array(parts)
        wins = (ahead[:, 1:] > 0).mean(axis=0)
        print(f"{name} | " + " | ".join(f"{v:.3f}" for v in means))
        print("  pooled ahead in shares of fleets: " + " ".join(f"{v:.2f}" for v in wins))


def held_out_of(fleet: SimulatedWear) -> list[float]:
    tests = fleet.records.tests
    number = tests.groupby("sensor_id")["sensor_age_km"].rank().to_numpy()
    one = pd.factorize(tests["sensor_id"])[0] % 2 == 0
    known, held = fleet.records.take(~one | (number == 1)), fleet.records.take(one & (number == 2))
    seen = held.exposure.sum(axis=1) > 0
    held = held.take(seen)
    surface = WearSurface().fit(known.tests, known.counts, known.exposure)
    alone = WearSurface(groups=()).fit(known.tests, known.counts, known.exposure)
    pooled, strays = surface.predict_wear(known.tests), surface.strays_.rate
    bands = WornBands().fit(known, pooled, strays)
    order, last = in_life_order(known)
    at = pd.Series(order[last], index=known.tests["sensor_id"].iloc[order[last]])
    at = at[held.tests["sensor_id"]].to_numpy()
    ahead = surface.predict_wear(held.tests)
    near = np.exp(-0.5 * ((np.arange(50)[:, None] - np.arange(50)) / 0.8) ** 2)
    near /= near.sum(axis=0)
    by_itself = (known.counts @ near + 0.5 / 50) / (known.exposure @ near + 1e-3)
    sensors = SensorIntensity(bands).fit(known, pooled)
    guesses = [
        sensors.predict(held.tests, ahead, sensors.own(known, pooled)) + strays,
        ahead.sum(axis=1, keepdims=True) * bands.own_share(known, pooled)[at] + strays,
        surface.predict(held.tests),
        alone.predict(held.tests),
        np.minimum(by_itself[at], 5.0),
    ]
    mean = [np.maximum(g, 1e-9) for g in guesses]
    return [
        float(
            (held.counts * np.log(held.exposure * m + 1e-12) - held.exposure * m).sum() / len(held)
        )
        for m in mean
    ]


def failure(fleets: int, first: int, share: Share) -> None:
    """Half the lives teach the level at failure; of the others three tests are known."""
    truth = Truth(**(FOLLOWED | {"tests": (7, 7)}))
    work = partial(of_fleet, work=failure_of, sensors=400, truth=truth)
    found = share("km of failure", work, range(first, first + fleets))
    answers = [share_unknown for *_, share_unknown in found]
    held, off = (np.concatenate([one[k] for one in found]) for k in range(2))
    print(
        f"km of failure: {held.size} lives, 90 % interval holds {held.mean():.3f}, median error "
        f"{np.median(off):.0f} km, middle half {np.quantile(off, 0.25):.0f} to "
        f"{np.quantile(off, 0.75):.0f} km; not enough known: {np.mean(answers):.2f}"
    )


def failure_of(fleet: SimulatedWear) -> tuple[np.ndarray, np.ndarray, float]:
    """Whether each interval holds, how far each is off, share of which not enough is known."""
    lives = fleet.sensors.set_index("sensor_id")["failure_km"]
    taught = set(lives.index[::2])
    tests = fleet.records.tests
    number = tests.groupby("sensor_id")["sensor_age_km"].rank().to_numpy()
    size = tests.groupby("sensor_id")["session_id"].transform("size").to_numpy()
    chosen = tests["sensor_id"].isin(taught).to_numpy() | ((number <= 3) & (size >= 3))
    records = fleet.records.take(chosen)
    surface = WearSurface().fit(records.tests, records.counts, records.exposure)
    pooled = surface.predict_wear(records.tests)
    bands = WornBands().fit(records, pooled, surface.strays_.rate)
    found = bands.predict(records, pooled)
    known = lives[lives.index.isin(taught)]
    failures = pd.DataFrame({"life_id": known.index, "failed_age_km": known.to_numpy()})
    model = BandProgress(bands).fit(records, failures, pooled=pooled, found=found)
    out = model.predict(records, pooled, found).set_index("life_id")
    out = out[~out.index.isin(taught)]
    unknown = float((out["answer"] == "not enough known").mean())
    told = out[out["fails_at_km"].notna()]
    true = lives[told.index]
    held = ((told["fails_low_km"] <= true) & (true <= told["fails_high_km"])).to_numpy()
    return held, (true - told["fails_at_km"]).to_numpy(), unknown


def dwell(fleets: int, first: int, share: Share) -> None:
    """Bikes whose wear follows dwell, sliding or neither; rides of 30 min, one sample a second.

    Tests are those of a shop: only some of the bikes logged have drop-outs to go by, and the wear
    of each is one draw from its own histogram.
    """
    print("what explains wear: answers by the true cause (rides as the duties hold the throttle)")
    print(
        "cause | logged | with drop-outs | dwell | sliding | cannot be decided | not enough known"
    )
    for cause in ("dwell", "sliding", "neither"):
        for bikes in (10, 20, 60):
            work = partial(dwell_of, bikes=bikes, cause=cause)
            found = share(f"{cause}, {bikes}", work, range(first, first + fleets))
            answers = [f.answer for f in found]
            words = ("dwell", "sliding", "cannot be decided", "not enough known")
            shares = " | ".join(f"{answers.count(a) / len(answers):.2f}" for a in words)
            worn = np.mean([f.n_bikes for f in found])
            print(f"{cause} | {bikes} | {worn:.1f} | {shares}", flush=True)


def dwell_of(seed: int, bikes: int, cause: str) -> Explained:
    rng, duties = np.random.default_rng([seed, 3]), list(DUTIES)
    rides = [throttle_usage(np.arange(1800.0), throttle(rng, duties[k % len(duties)], 1800))
             for k in range(bikes)]  # fmt: skip
    still, moving = (np.array([getattr(u, name) for u in rides]) for name in ("dwell", "sliding"))
    chance = {"dwell": still, "sliding": moving}.get(cause, np.full(still.shape, 0.02))
    worn = np.array([2.0 * rng.choice(50, p=row / row.sum()) + 1.0 for row in chance])
    records = simulate_wear(bikes, seed, Truth(centre_pct=worn)).records
    owner = records.tests["sensor_id"].str[2:].astype(int).to_numpy()
    counts, reach = np.zeros((bikes, 50)), np.zeros((bikes, 50))
    np.add.at(counts, owner, records.counts)
    np.add.at(reach, owner, records.exposure)
    return dwell_or_sliding(still, moving, counts, reach, 499)


def plan(fleets: int, first: int, _share: Share) -> None:
    """Passes promised to be 95 % sure, tried on spots whose true chance was not told."""
    print("passes promised | chance to lift | sessions learnt from | promised | found")
    for chance in (0.4, 0.7, 0.9):
        for sessions in (5, 40):
            promised, found = [], []
            for k in range(fleets):
                rng = np.random.default_rng(first + k)
                own = np.clip(chance + 0.1 * rng.standard_normal(), 0.05, 0.99)
                lift = lift_chance(*repeat_sweeps(rng, sessions, own))
                told = passes_needed(lift, 1.0, 200.0)
                promised.append(told.passes)
                found.append(1.0 - (1.0 - own) ** told.passes)
            print(f"{chance} | {sessions} | {np.mean(promised):.1f} passes | {np.mean(found):.3f}")


def repeat_sweeps(
    rng: np.random.Generator, sessions: int, chance: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    reach, drops = [], []
    for k in range(sessions):
        spot = rng.uniform(5, 95)
        for number in range(1, 7):
            reach.append((f"B{k}", number, 0.0, 100.0, 30.0, 1000.0))
            if rng.random() < chance:
                drops.append((f"B{k}", spot + 0.15 * rng.standard_normal(), number))
    return (
        pd.DataFrame(drops, columns=DROPOUT_PLACES.names),
        pd.DataFrame(reach, columns=PASS_REACH.names),
    )


def speed(sensors: int) -> None:
    command = [sys.executable, "-m", "tests.bench.wear_bench", "one_speed", str(sensors)]
    print(subprocess.run(command, check=True, capture_output=True, text=True).stdout, end="")


def one_speed(sensors: int) -> None:
    truth = Truth(parts=("QK-1140", "QK-1140S", "LN-72", "MT-208"), duties=tuple(DUTIES))
    fleet = simulate_wear(sensors, 1, Truth(**(vars(truth) | {"tests": (2, 6)})))
    lives = fleet.sensors.iloc[::3]
    failures = pd.DataFrame(
        {"life_id": lives["sensor_id"], "failed_age_km": lives["failure_km"]}
    ).reset_index(drop=True)
    tests, bins = frames_of(fleet.records)
    del fleet
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start, busy = time.perf_counter(), time.process_time()
    records = wear_records(tests, bins)
    laid = time.perf_counter() - start
    del bins
    map_wear(records, failures)
    whole, busy = time.perf_counter() - start, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{len(records):,} sessions: laid out in {laid:.1f} s, mapped in {whole:.1f} s in all, {busy:.1f} s of one "
        f"core; "
        f"peak {peak:.0f} MB, of which {before:.0f} MB with the input frames made"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parts = parser.add_subparsers(dest="what", required=True)
    runs = {
        "peaks": (peaks, 3), "coverage": (coverage, 85), "flat": (flat, 400),
        "held_out": (held_out, 20), "failure": (failure, 5),
        "dwell": (dwell, 60), "plan": (plan, 200),
    }  # fmt: skip
    for name, (_, fleets) in runs.items():
        part = parts.add_parser(name)
        part.add_argument("--fleets", type=int, default=fleets)
        part.add_argument("--first-seed", type=int, default=SCORING)
        add_worker_flags(part)
    for name in ("speed", "one_speed"):
        parts.add_parser(name).add_argument("sensors", type=int, nargs="?", default=29_500)
    add_worker_flags(parts.add_parser("all"))
    chosen = parser.parse_args()

    def share(name: str, work: Callable[[int], Any], seeds: Iterable[int]) -> list[Any]:
        whole = LongWork(chosen_workers(chosen), bars=True)
        return whole.shared(name, "fleet", work, list(seeds))

    if chosen.what == "all":
        for run, fleets in runs.values():
            run(fleets, SCORING, share)
        speed(29_500)
    elif chosen.what in runs:
        runs[chosen.what][0](chosen.fleets, chosen.first_seed, share)
    else:
        {"speed": speed, "one_speed": one_speed}[chosen.what](chosen.sensors)


if __name__ == "__main__":
    main()
