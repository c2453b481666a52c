"""Sweep measurement against simulated truth, rivals, and DuckDB's scan of the same file.

    python -m tests.bench.sweeps_bench [--quick] [--only alarms recall ...]

The parts: alarms, rails, recall, nature, rough, rivals, speed, fetch, pandas.

It prints; it asserts nothing. All scoring is on seeds that no tuning has seen.
"""

from __future__ import annotations

import argparse
import importlib.util
import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from models.simulate.bench import NOMINAL_SUPPLY_V
from models.sweeps.measure import measure_sweeps
from tests.bench import sweeps_ideal as ideal
from tests.bench import sweeps_rivals as rivals
from tests.bench.sweeps_pandas import beside_pandas
from tests.bench.sweeps_scores import Recall, roc_area
from tests.bench.sweeps_speed import fetch, speed
from tests.bench.sweeps_truth import (
    SCORE,
    TUNE,
    frames,
    in_batches,
    session_id,
    sweeps,
)

VISIBLE_SIGMAS = 3.0  # noise alone shows 2.7 sigma peak to peak in the seven samples of a window at
# 200 Hz (d2 of seven, the control-chart constant; from memory)


def alarms(scale: float) -> None:
    """Healthy sweeps flagged, by rate."""
    for rate, count in ((200, 10_000), (1000, 1000), (50, 1000), (10, 1000)):
        said: dict[str, int] = {}
        total = clipped = 0
        for batch in in_batches(sweeps("healthy", max(50, int(count * scale)), rate, SCORE)):
            results = measure_sweeps(*frames(batch))
            measures = results.measures
            total += len(measures)
            clipped += int((results.findings["finding"] == "clipped").sum())
            for name, n in measures["conclusion"].value_counts().items():
                said[name] = said.get(name, 0) + int(n)
        print(
            f"healthy sweeps at {rate} Hz: {total}, concluded {said}; taken for clipped {clipped}"
        )


def rails(scale: float) -> None:
    """Sweeps cut off at 3.3 V, well below the open stop: how many are told, by bits and rate."""
    count = max(10, int(100 * scale))
    for rate in (200, 1000):
        told = {bits: [0, 0] for bits in (8, 10, 12, 14, 16)}
        for bits, tally in told.items():
            cut = {"bits": bits, "clip_high_v": 3.3}
            for batch in in_batches(sweeps("healthy", count, rate, SCORE, recorded_by=cut), 100):
                findings = measure_sweeps(*frames(batch)).findings
                high = {session_id(i) for i, s in enumerate(batch) if s.without_breaks.max() > 3.4}
                tally[0] += len(high)
                tally[1] += (
                    findings[findings["finding"] == "clipped"]["session_id"].isin(high).sum()
                )
        words = ", ".join(f"{bits} bits {n[1]} of {n[0]}" for bits, n in told.items())
        print(f"cut off at 3.3 V, at {rate} Hz: told {words}")


def recall(scale: float) -> None:
    """Visible drop-outs found and where they were put, by rate; and by length over all."""
    for rate, count in ((200, 1500), (1000, 700), (5000, 60), (50, 500), (10, 500)):
        score, off, nearest_claim = Recall(), [], []
        for kind in ("worn", "lead"):
            for batch in in_batches(sweeps(kind, max(20, int(count * scale)), rate, SCORE), 200):
                results = measure_sweeps(*frames(batch))
                events = dict(iter(results.dropouts.groupby("session_id")))
                for i, sweep in enumerate(batch):
                    mine = events.get(session_id(i), results.dropouts.iloc[:0])
                    start = mine["start_s"].to_numpy()
                    which = score.add(sweep, start, start + mine["length_s"].to_numpy())
                    hit = which >= 0
                    truth = sweep.dropouts["travel_pct"].to_numpy()[which[hit]]
                    off.append(np.abs(mine["travel_pct"].to_numpy()[hit] - truth))
                    nearest_claim.append(mine["travel_error_pct"].to_numpy()[hit])
        off, claimed = np.concatenate(off), np.concatenate(nearest_claim)
        print(
            f"faulty sweeps at {rate} Hz: visible found {score.visible_found} of {score.visible} "
            f"= {score.share:.4f}; false reports {score.false_reports} of {score.reports}\n"
            f"    all events: {score.lengths()}\n"
            f"    travel off by: median {np.nanmedian(off):.2f} %, p95 "
            f"{np.nanquantile(off, 0.95):.2f} %; stated 1-sigma {np.nanmedian(claimed):.2f} %"
        )


def nature(scale: float) -> None:
    """What worn tracks and lead faults are called."""
    for rate, count in ((1000, 1500), (200, 1500)):
        for kind in ("worn", "lead", "tug"):
            called: dict[str, int] = {}
            for batch in in_batches(sweeps(kind, max(30, int(count * scale)), rate, SCORE), 200):
                measures = measure_sweeps(*frames(batch)).measures
                for name, n in measures["fault_nature"].value_counts().items():
                    called[name] = called.get(name, 0) + int(n)
            with_faults = sum(n for name, n in called.items() if name != "none")
            share = called.get("worn_track", 0) / max(with_faults, 1)
            print(f"{kind} at {rate} Hz: called worn {share:.4f} of {with_faults} seen; {called}")


def rough(scale: float) -> None:
    """How well the roughness measures part rough from sound sweeps without drop-outs.

    Visible: the true smoothness at the recorded rate is at least VISIBLE_SIGMAS of the noise. The
    ceiling is the ideal detector that knows the place and the noise, and not the hand's motion.
    """
    columns = ("roughness_z", "roughness_pct", "smoothness_pct", "smoothness_repeat_pct")
    for rate, count in ((200, 1500), (1000, 500)):
        scores = {}
        for kind in ("healthy", "rough"):
            parts: dict[str, list] = {c: [] for c in (*columns, *ideal.NAMES, "visible")}
            rng = np.random.default_rng([SCORE, rate])
            for batch in in_batches(sweeps(kind, max(50, int(count * scale)), rate, SCORE)):
                measures = measure_sweeps(*frames(batch)).measures
                for column in columns:
                    parts[column] += np.nan_to_num(measures[column].to_numpy()).tolist()
                parts["visible"] += [s.smoothness_pct >= _noise_pct(s) for s in batch]
                for sweep in batch:
                    for name, score in zip(ideal.NAMES, ideal.scores(rng, sweep), strict=True):
                        parts[name].append(score)
            scores[kind] = {name: np.array(values) for name, values in parts.items()}
        visible = scores["rough"]["visible"]
        print(f"rough at {rate} Hz: {visible.sum()} of {visible.size} visible")
        areas = {
            name: (
                roc_area(scores["rough"][name][visible], scores["healthy"][name]),
                roc_area(scores["rough"][name], scores["healthy"][name]),
            )
            for name in (*columns, *ideal.NAMES)
        }
        ceiling = areas[ideal.NAMES[0]]
        for name, (of_visible, of_all) in areas.items():
            beside = "" if name in ideal.NAMES else " (ceiling {:.4f})"
            print(
                f"    {name}: ROC {of_visible:.4f}{beside.format(ceiling[0])} visible, "
                f"{of_all:.4f}{beside.format(ceiling[1])} all"
            )


def _noise_pct(sweep) -> float:
    return VISIBLE_SIGMAS * 100.0 * sweep.logger.sigma_v / NOMINAL_SUPPLY_V


def compare(scale: float) -> None:
    """Rivals on the same sweeps, each at the threshold that the tuning sweeps give it."""
    methods = {
        "pandas rolling median": rivals.rolling_median,
        "scipy find_peaks": rivals.peak_search,
        "this project": rivals.this_project,
    }
    if importlib.util.find_spec("ruptures"):
        methods["ruptures KernelCPD"] = rivals.change_points
    healthy_n, faulty_n = max(40, int(1000 * scale)), max(20, int(200 * scale))
    tune = [_scaled(s) for s in sweeps("healthy", healthy_n, 200, TUNE)]
    healthy = [_scaled(s) for s in sweeps("healthy", healthy_n, 200, SCORE)]
    for name, method in methods.items():
        slow = name.startswith("ruptures")
        calm = tune[: len(tune) // 5] if slow else tune
        threshold = _threshold(method, calm)
        checked = healthy[: len(healthy) // 5] if slow else healthy
        flagged = sum(method(t, y, threshold)[0].size > 0 for t, y in checked)
        parts = []
        for rate in (200, 1000):
            score = Recall()
            for sweep in sweeps("worn", faulty_n // (4 if slow else 1), rate, SCORE):
                t, y = _scaled(sweep)
                first, last = method(t, y, threshold)
                score.add(sweep, t[first], t[last])
            parts.append(
                f"{rate} Hz visible {score.share:.4f}, false {score.false_reports} of "
                f"{score.reports}"
            )
        print(
            f"{name} (threshold {threshold} %): {flagged} of {len(checked)} healthy flagged; "
            + "; ".join(parts)
        )


def _scaled(sweep) -> tuple[np.ndarray, np.ndarray]:
    return sweep.t_s, 100.0 * sweep.signal / sweep.supply_v


def _threshold(method, calm: list) -> float:
    """Least threshold that flags at most one calm sweep in a thousand, or the largest."""
    for threshold in rivals.THRESHOLDS:
        flagged = sum(method(t, y, threshold)[0].size > 0 for t, y in calm)
        if flagged <= len(calm) / 1000:
            return threshold
    return rivals.THRESHOLDS[-1]


PARTS = {
    "alarms": alarms,
    "rails": rails,
    "recall": recall,
    "nature": nature,
    "rough": rough,
    "rivals": compare,
    "speed": speed,
    "fetch": fetch,
    "pandas": beside_pandas,
}


def main() -> None:
    """Run the parts asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a twentieth of the sweeps")
    parser.add_argument("--only", nargs="*", choices=PARTS, default=list(PARTS))
    asked = parser.parse_args()
    for name in asked.only:
        print(f"== {name}")
        PARTS[name](0.05 if asked.quick else 1.0)


if __name__ == "__main__":
    main()
