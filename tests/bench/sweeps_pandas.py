"""The same sweeps measured the pandas way, a ``groupby("session_id").apply``: how much faster ours is.

Written as somebody would who knows pandas well: each session's figures by Series and grouped
operations, rolling medians and differences; a loop only where there is no other way (turning
points). It yields the main figures and the profile by 1 % of travel; it does not tell what ours
tells besides (visibility, linearity, rails, second tracks, natures of faults, findings), so that the
ratio is on the low side. Both begin from the same two frames and work in one thread; they take turns,
in processor time. The figures are held against each other before the ratio is told.
"""

from __future__ import annotations

import cProfile
import itertools
import pstats
import time

import numpy as np
import pandas as pd

from models.sweeps.measure import SweepResults, measure_sweeps
from tests.bench.sweeps_truth import SCORE, frames, sweeps

ROUNDS = 3
_LINE_S, _MEDIAN_S, _BLOCK_S = 0.06, 0.15, 0.04
_TURN_SHARE, _REST_SHARE, _WHOLE_PASS, _ENDS = 0.03, 0.008, 0.9, 2


def beside_pandas(scale: float) -> None:
    """Print how far both agree, the ratio of their times, and where ours goes."""
    count = max(20, int(400 * scale))
    batch = list(sweeps("healthy", count * 9 // 10, 200, SCORE))
    batch += list(sweeps("worn", count - len(batch), 200, SCORE))
    samples, contexts = frames(batch)
    measure_sweeps(*frames(batch[:5]))
    rounds = []
    for _ in range(ROUNDS):
        theirs, theirs_s = _timed(pandas_way, samples, contexts)
        ours, ours_s = _timed(measure_sweeps, samples, contexts)
        rounds.append((theirs_s, ours_s))
    print(f"{len(batch)} sweeps, {len(samples) / 1e6:.2f} million samples")
    _say_agreement(ours, theirs)
    took = np.array(rounds)
    ratios, (best_theirs, best_ours) = took[:, 0] / took[:, 1], took.min(axis=0)
    print(
        f"pandas groupby-apply {1e3 * best_theirs / len(batch):.2f} ms a sweep, ours "
        f"{1e3 * best_ours / len(batch):.2f} ms: {best_theirs / best_ours:.1f} x faster "
        f"(rounds {ratios.min():.1f} to {ratios.max():.1f})"
    )
    _say_where(samples, contexts)


def pandas_way(samples: pd.DataFrame, contexts: pd.DataFrame) -> pd.DataFrame:
    """One row of figures a session."""
    known = contexts.set_index("session_id")[["supply_v", "output"]]
    joined = samples.join(known, on="session_id")
    return joined.groupby("session_id", sort=False)[["t_s", "signal", "supply_v", "output"]].apply(
        _session
    )


def _session(session: pd.DataFrame) -> pd.Series:
    t = session["t_s"].reset_index(drop=True)
    y = (100.0 * session["signal"] / session["supply_v"]).reset_index(drop=True)
    step = t.diff().median()
    noise = _noise(y)
    window = int(_MEDIAN_S / step) | 1
    middle = y.rolling(window, center=True, min_periods=1).median()
    off = y - middle
    out = off.abs() > max(8.0 * noise, 0.7)
    dips = off[out].abs().groupby((out != out.shift()).cumsum()[out]).agg(["size", "max"])
    dips = dips[dips["size"] * step <= _LINE_S]
    bridged = y.mask(out).interpolate(limit_direction="both")
    block = max(1, round(_BLOCK_S / step))
    coarse = bridged.groupby(bridged.index // block).mean()
    turns = _turns(coarse)
    closed, opened = _stops(coarse, turns, falling=session["output"].iloc[0] == "falling")
    pass_no, spans = _passes(coarse, turns, block, len(y))
    shares = pd.Series(spans, dtype=float) / (opened - closed)
    travel = 100.0 * (middle - closed) / (opened - closed)
    windows, profile = _windows(t, bridged, pass_no, travel, most=max(5, int(_LINE_S / step)))
    roughest = windows["power"].sub(windows["power"].median()).clip(lower=0.0)
    return pd.Series(
        {
            "usable_count": y.notna().sum(),
            "duration_s": t.iloc[-1] - t.iloc[0],
            "rate_hz": 1.0 / step,
            "noise_pct": noise,
            "dropout_count": len(dips),
            "dropout_deepest_pct": dips["max"].max(),
            "pass_count": (shares.abs() >= _WHOLE_PASS).sum(),
            "passes_opening": (shares >= _WHOLE_PASS).sum(),
            "closed_output": closed * session["supply_v"].iloc[0] / 100.0,
            "open_output": opened * session["supply_v"].iloc[0] / 100.0,
            "smoothness_pct": profile["smoothness_pct"].max(),
            "smoothness_repeat_pct": profile["repeat_pct"].max(),
            "roughness_pct": np.sqrt(roughest.max()),
            "roughness_travel_pct": roughest.idxmax() + 0.5,
            "profile": profile,
        }
    )


def _noise(y: pd.Series) -> float:
    """One sigma by second differences, not below what the converter's step makes."""
    first = y.diff()
    steps = first.abs()
    quantum = min(steps[steps > 1e-4].min(), 1.0)
    return max(first.diff().abs().median() / (0.6745 * np.sqrt(6.0)), quantum / np.sqrt(12.0))


def _turns(coarse: pd.Series) -> list[int]:
    """Blocks at which the hand turns by more than a share of the range, the ends with them."""
    values, least = coarse.tolist(), _TURN_SHARE * (coarse.max() - coarse.min())
    pivots, way, best, low, high = [], 0, 0, 0, 0
    for at, value in enumerate(values):
        if way == 0:
            low = at if value < values[low] else low
            high = at if value > values[high] else high
            if values[high] - values[low] >= least:
                way, best = (1, high) if low < high else (-1, low)
                pivots.append(min(low, high))
        elif way * (value - values[best]) >= 0:
            best = at
        elif way * (values[best] - value) >= least:
            pivots.append(best)
            way, best = -way, at
    return [*pivots, best] if way else []


def _stops(coarse: pd.Series, turns: list[int], *, falling: bool) -> tuple[float, float]:
    """Output at the closed and at the open stop: typical of the turns near either end."""
    levels = coarse.iloc[turns]
    share = (levels - levels.min()) / (levels.max() - levels.min())
    low, high = levels[share < 0.1].median(), levels[share > 0.9].median()
    return (high, low) if falling else (low, high)


def _passes(
    coarse: pd.Series, turns: list[int], block: int, count: int
) -> tuple[pd.Series, list[float]]:
    """Each sample's pass, blank at rest; and by how much the output rises over each."""
    pass_no, spans = pd.Series(np.nan, index=range(count)), []
    rest = _REST_SHARE * (coarse.max() - coarse.min())
    for begin, end in itertools.pairwise(turns):
        leg = coarse.iloc[begin : end + 1]
        first = leg.index[(leg - leg.iloc[0]).abs() <= rest][-1]
        last = leg.index[(leg - leg.iloc[-1]).abs() <= rest][0]
        if last > first:
            spans.append(leg.iloc[-1] - leg.iloc[0])
            pass_no.iloc[first * block : (last + 1) * block] = len(spans)
    return pass_no, spans


def _windows(
    t: pd.Series, y: pd.Series, pass_no: pd.Series, travel: pd.Series, most: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Mean square by 1 % of travel, and the profile: departures from local lines against time."""
    frame = pd.DataFrame({"t": t, "y": y, "pass": pass_no, "bin": np.floor(travel)})
    frame = frame[frame["pass"].notna() & frame["bin"].between(_ENDS, 99 - _ENDS)]
    window = frame.groupby(["pass", "bin"])
    parts = np.ceil(window["t"].transform("size") / most)
    frame["piece"] = np.floor(window.cumcount() * parts / window["t"].transform("size"))
    keys = ["pass", "bin", "piece"]
    piece = frame.groupby(keys)
    u = frame["t"] - piece["t"].transform("mean")
    v = frame["y"] - piece["y"].transform("mean")
    sums = frame[keys].assign(uv=u * v, uu=u * u).groupby(keys)[["uv", "uu"]].transform("sum")
    rest = v - u * sums["uv"] / sums["uu"]
    of_rest = rest.groupby([frame[key] for key in keys])
    height = (of_rest.max() - of_rest.min())[of_rest.size() >= 4]
    by_pass = height.groupby(["pass", "bin"]).max().groupby("bin")
    profile = pd.DataFrame({"smoothness_pct": by_pass.max(), "repeat_pct": by_pass.median()})
    power = (rest**2).groupby(frame["bin"]).mean()
    return pd.DataFrame({"power": power}), profile


def _timed(work, *of):
    begun = time.process_time()
    return work(*of), time.process_time() - begun


def _say_agreement(ours: SweepResults, theirs: pd.DataFrame) -> None:
    """How far the figures of both are apart, sweep by sweep."""
    measures = ours.measures.set_index("session_id")
    both = measures.join(theirs, rsuffix="_pandas")
    for name in ("usable_count", "pass_count", "passes_opening", "dropout_count"):
        same = both[name] == both[f"{name}_pandas"]
        print(f"    {name}: the same in {same.mean():.1%}")
    has_dropouts = (both["dropout_count"] > 0) == (both["dropout_count_pandas"] > 0)
    print(f"    drop-outs or none: the same in {has_dropouts.mean():.1%}")
    near = ("duration_s", "rate_hz", "noise_pct", "closed_output", "open_output")
    for name in (*near, "dropout_deepest_pct", "smoothness_pct", "smoothness_repeat_pct"):
        apart = (both[f"{name}_pandas"] / both[name] - 1.0).abs().dropna()
        print(
            f"    {name}: apart by {apart.median():.2%} in the median, "
            f"{apart.quantile(0.95):.2%} at the 95th of 100 ({len(apart)} sweeps)"
        )
    bins = _bins_of_both(ours, theirs)
    print(f"    smoothness by bin: rank correlation {bins.corr('spearman').iloc[0, 1]:.3f}")
    rough = both[["roughness_pct", "roughness_pct_pandas"]].astype(float)
    print(f"    roughness: rank correlation {rough.corr('spearman').iloc[0, 1]:.3f}")


def _bins_of_both(ours: SweepResults, theirs: pd.DataFrame) -> pd.DataFrame:
    """Smoothness by bin of travel, ours and theirs, where both have it."""
    own = ours.profile.set_index(["session_id", "bin_from_pct"])["smoothness_pct"]
    width = (ours.profile["bin_to_pct"] - ours.profile["bin_from_pct"]).iloc[0]
    profiles = pd.concat(dict(theirs["profile"]), names=["session_id"])["smoothness_pct"]
    bins = profiles.index.get_level_values("bin") // width * width
    their = profiles.groupby([profiles.index.get_level_values("session_id"), bins]).max()
    their.index.names = own.index.names
    return pd.concat([own, their], axis=1).dropna().astype(float)


def _say_where(samples: pd.DataFrame, contexts: pd.DataFrame) -> None:
    """What share of ours goes where, by its functions (profiled, which makes small ones dearer)."""
    profile = cProfile.Profile()
    profile.runcall(measure_sweeps, samples, contexts)
    stats = pstats.Stats(profile).get_stats_profile()
    whole = stats.func_profiles["measure_sweeps"].cumtime
    steps = (
        *("read_samples", "noise_sigma", "find_dropouts", "coarse_copy", "find_strokes"),
        *("find_rails", "cut_windows", "find_grain", "report_batch"),
    )
    told = [(stats.func_profiles[s].cumtime / whole, s) for s in steps if s in stats.func_profiles]
    print("    of ours: " + ", ".join(f"{step} {share:.0%}" for share, step in told))
