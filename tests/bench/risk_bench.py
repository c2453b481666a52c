"""Speed, memory and coverage of the risk models.

``python -m tests.bench.risk_bench speed`` fits fleets of 5,000 and 50,000 sensors and, in the same
run, an interval-censored Weibull regression of lifelines on 5,000; each in a process of its own, so
that peak memory is its own too. ``python -m tests.bench.risk_bench coverage --fleets 200`` counts
how often 90 % intervals hold the truth over simulated fleets; ``contact`` does so where silence
since the last contact counts.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np

from models.risk.assumed import BetaPrior
from models.risk.hazard import DefectHazard
from models.risk.score import fit_and_score
from tests.models.risk.simulated_fleet import Truth, simulate, with_contact

TRUTH = Truth(parts=(0.7, 0.85, 1.0, 1.0, 1.2, 1.4), duties=(0.7, 0.9, 1.1, 1.3))
CURVE_AGES_KM = np.array([10_000.0, 20_000, 40_000, 60_000])
#: Name of the fleet: bikes, sensors a bike, truth, share of those seen in use of unknown age.
FLEETS = {
    "160 bikes": (160, 1, Truth(), 0.0),
    "40 bikes": (40, 1, Truth(), 0.0),
    "160 bikes, 2 sensors, frailty 0.8": (160, 2, Truth(frailty_sd=0.8), 0.0),
    "160 bikes, steep wear (shape 3.5)": (160, 1, Truth(shape=3.5, scale_km=50_000.0), 0.0),
    "160 bikes, no wear (shape 1)": (160, 1, Truth(shape=1.0, scale_km=80_000.0), 0.0),
    "160 bikes, 60 % of unknown age": (160, 1, Truth(), 0.6),
    "60 bikes, hardly a defect": (60, 1, Truth(scale_km=200_000.0), 0.0),
}


def peak_mb() -> float:
    """Peak resident memory of this process, MB (Linux counts in kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def fit_ours(sensors: int) -> None:
    windows, now = simulate(sensors, 1, TRUTH, share_unknown=0.1)
    before = peak_mb()
    fit = timed(lambda: DefectHazard().fit(windows))
    both = timed(lambda: fit_and_score(windows, now))
    print(f"ours {sensors} {fit:.3f} {both:.3f} {before:.0f} {peak_mb():.0f}")


def fit_lifelines(sensors: int) -> None:
    """Weibull AFT on the same columns; it takes neither unknown ages nor exact partial pooling."""
    from lifelines import WeibullAFTFitter

    windows, _ = simulate(sensors, 1, TRUTH)
    seen = windows["bad_km"].notna() | (windows["good_km"] > windows["entry_km"])
    frame = windows.loc[seen, ["entry_km", "good_km", "bad_km", "part_no", "duty"]]
    frame = frame.assign(bad_km=frame["bad_km"].fillna(np.inf))
    before = peak_mb()
    fit = timed(
        lambda: WeibullAFTFitter().fit_interval_censoring(
            frame, "good_km", "bad_km", entry_col="entry_km", formula="part_no + duty"
        )
    )
    print(f"lifelines {sensors} {fit:.3f} nan {before:.0f} {peak_mb():.0f}")


def speed() -> None:
    rows = []
    for name, sensors in (("ours", 5_000), ("ours", 50_000), ("lifelines", 5_000)):
        command = [sys.executable, "-m", "tests.bench.risk_bench", "one", name, str(sensors)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        rows.append(done.stdout.split()[-6:])
    reference = float(rows[-1][2])
    print("who        sensors  fit s  fit and score s  MB before  MB peak  fit / lifelines 5k")
    for who, sensors, fit, both, before, peak in rows:
        ratio = float(fit) / reference
        print(f"{who:10} {sensors:>7} {fit:>6} {both:>16} {before:>10} {peak:>8} {ratio:>19.3f}")


def population_survival(truth: Truth, age_km: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """Survival of the fleet's mix, bike frailty integrated out (Gauss-Hermite)."""
    node, weight = np.polynomial.hermite_e.hermegauss(31)
    frail = np.exp(-(truth.frailty_sd**2) / 2 + truth.frailty_sd * node)
    each = [truth.survival(age_km[:, None], f * ratio).mean(axis=1) for f in frail]
    return np.average(each, axis=0, weights=weight)


def one_fleet(seed: int, fleet: tuple[int, int, Truth, float]) -> tuple[np.ndarray, float, int]:
    """Whether the curve's intervals hold at each age, the share of sensors' that do, defects."""
    bikes, each, truth, unknown = fleet
    windows, now = simulate(bikes, seed, truth, sensors_per_bike=each, share_unknown=unknown)
    results = fit_and_score(windows, now, sensitivity=BetaPrior(1e6, 1e-3), seed=seed)
    curve = results.fleet_curve.query("part_no == 'all'")
    low, high = (
        np.interp(CURVE_AGES_KM, curve["age_km"], curve[f"survival_{end}"])
        for end in ("low", "high")
    )
    true = population_survival(truth, CURVE_AGES_KM, windows["ratio"].to_numpy())
    known = now["age_known"].to_numpy()
    sensors, risk = now[known], results.defect_risk[known]
    ahead = truth.survival(sensors["true_age_km"] + 5_000, sensors["ratio"])
    chance = 1 - ahead / truth.survival(sensors["good_km"], sensors["ratio"])
    held = (risk["defect_5000_km_low"] <= chance) & (chance <= risk["defect_5000_km_high"])
    return (low <= true) & (true <= high), held.mean(), results.summary["n_defects"]


def coverage(fleets: int, first_seed: int) -> None:
    print(f"Share of {fleets} fleets in which the 90 % interval holds the truth")
    print("curve at " + ", ".join(f"{a:,.0f}" for a in CURVE_AGES_KM) + " km | sensors, 5,000 km")
    for name, fleet in FLEETS.items():
        found = [one_fleet(first_seed + k, fleet) for k in range(fleets)]
        curve = " ".join(f"{share:.3f}" for share in np.mean([f[0] for f in found], axis=0))
        sensors = np.mean([f[1] for f in found])
        # A sensor's own chance under frailty depends on a frailty no record shows.
        sensor_text = "  -  " if fleet[2].frailty_sd else f"{sensors:.3f}"
        defects = np.mean([f[2] for f in found])
        print(f"{curve} | {sensor_text} | {name} ({defects:.0f} defects)", flush=True)


def contact(fleets: int, first_seed: int) -> None:
    """The delay left as assumed below 30 road failures, and learned always."""
    for fewest in (30, 0):
        print(f"delay learned from {fewest} road failures on: ", end="", flush=True)
        one_contact(fleets, first_seed, DefectHazard(fewest_road_failures=fewest))


def one_contact(fleets: int, first_seed: int, model: DefectHazard) -> None:
    """Fleets read to this day, defects heard of late: the curve's coverage, expected and true."""
    held, sums = [], []
    for seed in range(first_seed, first_seed + fleets):
        windows, now = with_contact(160, seed)
        results = fit_and_score(
            windows, now, sensitivity=BetaPrior(1e6, 1e-3), seed=seed, model=model
        )
        curve, risk = results.fleet_curve.query("part_no == 'all'"), results.defect_risk
        low, high = (
            np.interp(CURVE_AGES_KM, curve["age_km"], curve[f"survival_{end}"])
            for end in ("low", "high")
        )
        true = np.exp(-((CURVE_AGES_KM / 60_000) ** 2))
        held.append((low <= true) & (true <= high))
        silent = risk["defect_now_if_silent"].sum()
        sums.append((now["truly_defective"].sum(), risk["defect_now"].sum(), silent))
    shares = " ".join(f"{share:.3f}" for share in np.mean(held, axis=0))
    seen, expected, silent = np.sum(sums, axis=0)
    print(f"curve {shares} | defects now: observed / predicted {seen / expected:.3f}, ", end="")
    print(f"were they silent {seen / silent:.3f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parts = parser.add_subparsers(dest="what", required=True)
    parts.add_parser("speed")
    one = parts.add_parser("one")
    one.add_argument("who", choices=["ours", "lifelines"])
    one.add_argument("sensors", type=int)
    for name in ("coverage", "contact"):
        covered = parts.add_parser(name)
        covered.add_argument("--fleets", type=int, default=200)
        covered.add_argument("--first-seed", type=int, default=0)
    chosen = parser.parse_args()
    if chosen.what == "speed":
        speed()
    elif chosen.what == "coverage":
        coverage(chosen.fleets, chosen.first_seed)
    elif chosen.what == "contact":
        contact(chosen.fleets, chosen.first_seed)
    else:
        {"ours": fit_ours, "lifelines": fit_lifelines}[chosen.who](chosen.sensors)


if __name__ == "__main__":
    main()
