"""One recorded sweep, with the truth beside it: hand, track, faults and logger put together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from models.simulate import logger as recording
from models.simulate.divider import loaded_divider_v, open_ground_v, two_wire_ohm
from models.simulate.dropouts import breaks
from models.simulate.hand import GRID_S, HandMotion, Motion, move_hand
from models.simulate.logger import Logger
from models.simulate.track import TrackState, contact_ohm, wiper_fraction

CHANNELS = ("volt", "ohm", "percent")
VISIBLE_V = 0.035  # a drop-out counts as visible from this depth at 5 V of supply on ...
VISIBLE_SIGMA = 8.0  # ... and from this many sigma of the recording's noise
NOMINAL_SUPPLY_V = 5.0
SMOOTHNESS_WINDOW_PCT = 1.0
WINDOWS = int(100.0 / SMOOTHNESS_WINDOW_PCT)
EVENT_COLUMNS = [
    "start_s", "length_s", "travel_pct", "depth_pct", "direction", "cause", "wire", "track",
    "pass_no", "samples", "visible",
]  # fmt: skip


@dataclass(frozen=True)
class SimulatedSweep:
    """A recording and what was really there. Arrays have one entry a recorded row, shape (n,).

    t_s, signal, signal_b, travel_pct : as handed in; signal_b is None without a second track,
        travel_pct None unless asked for. signal is V, ohm or per cent by ``channel``.
    noise_free, noise_free_b : the signal at the same instants before noise and quantisation.
    without_breaks, without_breaks_b : the same without any drop-out.
    true_travel_pct : where the throttle really was.
    dropouts : one row a drop-out: start_s, length_s, travel_pct, depth_pct (of full scale: supply,
        track ohms or 100 %, the deepest noise-free sample, 0 when it fell between samples),
        direction (opening, closing, still), cause (worn, lead), wire, track (a, b), pass_no (-1 at
        rest), samples (recorded samples inside it), visible.
    passes : one row a stroke: pass_no, start_s, end_s, from_pct, to_pct, direction, complete,
        reversals.
    smoothness_pct : peak to peak of the departure of without_breaks from its ideal smooth
        course, the largest over windows of 1 % travel, per cent of full scale.
    rough : whether any band of the track is rough.
    """

    channel: str
    rate_hz: float
    supply_v: float
    t_s: np.ndarray
    signal: np.ndarray
    signal_b: np.ndarray | None
    travel_pct: np.ndarray | None
    noise_free: np.ndarray
    noise_free_b: np.ndarray | None
    without_breaks: np.ndarray
    without_breaks_b: np.ndarray | None
    true_travel_pct: np.ndarray
    dropouts: pd.DataFrame
    passes: pd.DataFrame
    smoothness_pct: float
    rough: bool
    sensor: TrackState
    hand: HandMotion
    logger: Logger

    def frame(self, session_id: str) -> pd.DataFrame:
        """The rows a shop hands in: session_id, t_s, signal, signal_b, travel_pct."""
        blank = np.full(len(self.t_s), np.nan)
        return pd.DataFrame(
            {
                "session_id": session_id,
                "t_s": np.round(np.round(self.t_s / self.logger.stamp_s) * self.logger.stamp_s, 4),
                "signal": self.signal,
                "signal_b": blank if self.signal_b is None else self.signal_b,
                "travel_pct": blank if self.travel_pct is None else np.round(self.travel_pct, 2),
            }
        )


@dataclass(frozen=True)
class _Traced:
    """One track's signal at the sample instants."""

    ideal: np.ndarray
    without_breaks: np.ndarray
    noise_free: np.ndarray
    recorded: np.ndarray
    dropouts: pd.DataFrame


@dataclass(frozen=True)
class _Bench:
    channel: str
    supply_v: float
    logger: Logger
    motion: Motion
    t_s: np.ndarray


def simulate_sweep(
    rng: np.random.Generator,
    *,
    channel: str = "volt",
    rate_hz: float = 200.0,
    sensor: TrackState | None = None,
    hand: HandMotion | None = None,
    logger: Logger | None = None,
    supply_v: float = NOMINAL_SUPPLY_V,
    record_travel: bool = False,
) -> SimulatedSweep:
    """Record one sweep of a sensor.

    Parameters
    ----------
    rng : numpy Generator
        The only source of chance.
    channel : str
        ``volt``, ``ohm`` or ``percent``.
    rate_hz : float
        Samples a second, 2 to 5000.
    sensor, hand, logger : TrackState, HandMotion, Logger
        What is tested, by what hand, with what instrument; their defaults when None.
    supply_v : float
        Reference voltage during the sweep, V.
    record_travel : bool
        Whether another channel recorded the position.

    Raises
    ------
    ValueError
        An unknown channel, a rate that is not positive, or a hand without passes.
    """
    if channel not in CHANNELS:
        raise ValueError(f"channel must be one of {', '.join(CHANNELS)}, not {channel!r}")
    sensor, hand, logger = sensor or TrackState(), hand or HandMotion(), logger or Logger()
    motion = move_hand(rng, hand)
    t_s = recording.sample_times_s(rng, logger, rate_hz, float(motion.t_s[-1]))
    bench = _Bench(channel, supply_v, logger, motion, t_s)
    a = _trace(rng, bench, sensor, "a")
    b = _trace(rng, bench, sensor.second, "b") if sensor.second is not None else None
    order = recording.written_order(rng, logger, len(t_s))
    travel = np.interp(t_s, motion.t_s, motion.travel_pct)
    dropouts = a.dropouts if b is None else pd.concat([a.dropouts, b.dropouts], ignore_index=True)
    return SimulatedSweep(
        channel=channel,
        rate_hz=rate_hz,
        supply_v=supply_v,
        t_s=t_s[order],
        signal=a.recorded[order],
        signal_b=None if b is None else b.recorded[order],
        travel_pct=travel[order] if record_travel else None,
        noise_free=a.noise_free[order],
        noise_free_b=None if b is None else b.noise_free[order],
        without_breaks=a.without_breaks[order],
        without_breaks_b=None if b is None else b.without_breaks[order],
        true_travel_pct=travel[order],
        dropouts=dropouts,
        passes=motion.passes,
        smoothness_pct=_smoothness_pct(a, travel, full_scale(channel, supply_v, sensor)),
        rough=sensor.rough,
        sensor=sensor,
        hand=hand,
        logger=logger,
    )


def full_scale(channel: str, supply_v: float, sensor: TrackState) -> float:
    """What 100 per cent means on a channel: the supply (V), the track (ohm) or 100 per cent."""
    return {"volt": supply_v, "ohm": sensor.track_ohm, "percent": 100.0}[channel]


def _trace(rng: np.random.Generator, bench: _Bench, track: TrackState, name: str) -> _Traced:
    # The control unit filters before it is polled, so that channel is worked out on the fine grid.
    at = bench.motion.t_s if bench.channel == "percent" else bench.t_s
    travel = np.interp(at, bench.motion.t_s, bench.motion.travel_pct)
    speed = np.interp(at, bench.motion.t_s, bench.motion.speed_pct_s)
    x = wiper_fraction(track, travel, speed)
    contact = contact_ohm(rng, track, travel, bench.motion.pass_at(at))
    found = breaks(rng, track, bench.motion)
    ideal = _signal(bench, track, x, np.full_like(contact, track.contact_ohm))
    sound = _signal(bench, track, x, contact)
    broken = _with_breaks(bench, track, at, x, contact, sound, found)
    if bench.channel == "percent":
        ideal, sound, broken = (_polled(bench, track, s) for s in (ideal, sound, broken))
    recorded = _recorded(rng, bench, track, broken)
    rows = _events(bench, track, name, found, sound, broken)
    return _Traced(ideal, sound, broken, recorded, rows)


def _signal(
    bench: _Bench, track: TrackState, x: np.ndarray, contact: np.ndarray | float
) -> np.ndarray:
    if bench.channel == "ohm":
        leads = bench.logger.leads_ohm
        return two_wire_ohm(x, track_ohm=track.track_ohm, contact_ohm=contact, leads_ohm=leads)
    return loaded_divider_v(
        x,
        supply_v=bench.supply_v,
        track_ohm=track.track_ohm,
        load_ohm=bench.logger.pull_down_ohm,
        contact_ohm=contact,
    )


def _with_breaks(
    bench: _Bench,
    track: TrackState,
    at: np.ndarray,
    x: np.ndarray,
    contact: np.ndarray,
    sound: np.ndarray,
    found: pd.DataFrame,
) -> np.ndarray:
    """The signal with its interruptions; each touches only the samples inside it."""
    broken = sound.copy()
    for row in found.itertuples():
        first, last = np.searchsorted(at, [row.start_s, row.start_s + row.length_s])
        inside = slice(first, last)
        broken[inside] = _interrupted(bench, track, x[inside], contact[inside], row)
    if bench.channel == "ohm":
        return np.minimum(broken, bench.logger.meter_range_ohm)
    return np.clip(broken, bench.logger.clip_low_v, bench.logger.clip_high_v)


def _interrupted(
    bench: _Bench, track: TrackState, x: np.ndarray, contact: np.ndarray, row: Any
) -> np.ndarray:
    if bench.channel == "ohm" or row.wire in ("wiper", "signal"):
        return _signal(bench, track, x, contact + row.ohm)
    if row.wire == "supply":  # the broken wire's resistance stands above the track
        total = track.track_ohm + row.ohm
        return _signal(bench, track, x, contact) * track.track_ohm / total
    return open_ground_v(
        x,
        supply_v=bench.supply_v,
        track_ohm=track.track_ohm,
        load_ohm=bench.logger.pull_down_ohm,
        contact_ohm=contact,
    )


def _polled(bench: _Bench, track: TrackState, volts: np.ndarray) -> np.ndarray:
    """Per cent between the learned stops, filtered on the grid, taken at the poll times."""
    ends = _signal(
        bench,
        track,
        wiper_fraction(track, np.array([0.0, 100.0])),
        track.contact_ohm,
    )
    percent = 100.0 * (volts - ends[0]) / (ends[1] - ends[0])
    smooth = recording.filtered(np.clip(percent, 0.0, 100.0), GRID_S)
    return np.interp(bench.t_s, bench.motion.t_s, smooth)


def _recorded(
    rng: np.random.Generator, bench: _Bench, track: TrackState, clean: np.ndarray
) -> np.ndarray:
    if bench.channel == "volt":
        return recording.convert_v(rng, bench.logger, clean)
    if bench.channel == "ohm":
        per_v = track.track_ohm / NOMINAL_SUPPLY_V
        return recording.convert_ohm(rng, bench.logger, clean, per_v)
    return recording.convert_percent(clean)


def _events(
    bench: _Bench,
    track: TrackState,
    name: str,
    found: pd.DataFrame,
    sound: np.ndarray,
    broken: np.ndarray,
) -> pd.DataFrame:
    scale = full_scale(bench.channel, bench.supply_v, track)
    departure = np.abs(sound - broken) / scale
    tail_s = 3.0 * recording.UNIT_FILTER_S if bench.channel == "percent" else 0.0
    first = np.searchsorted(bench.t_s, found["start_s"])
    last = np.searchsorted(bench.t_s, found["start_s"] + found["length_s"] + tail_s)
    depth = [float(departure[a:b].max(initial=0.0)) for a, b in zip(first, last, strict=True)]
    start = found["start_s"].to_numpy()
    least = visible_share(bench.channel, bench.logger)
    return pd.DataFrame(
        {
            "start_s": start,
            "length_s": found["length_s"],
            "travel_pct": np.interp(start, bench.motion.t_s, bench.motion.travel_pct),
            "depth_pct": 100.0 * np.array(depth, dtype=float),
            "direction": bench.motion.direction_at(start),
            "cause": found["cause"],
            "wire": found["wire"],
            "track": name,
            "pass_no": bench.motion.pass_at(start).astype(int),
            "samples": (last - first).astype(int),
            "visible": np.array(depth, dtype=float) > least,
        },
        columns=EVENT_COLUMNS,
    )


def visible_share(channel: str, logger: Logger) -> float:
    """Depth from which a drop-out counts as visible, as a share of full scale.

    35 mV at 5 V (0.7 %) and eight sigma, whichever is more; on the percentage the sigma is the
    step's alone.
    """
    sigma = logger.sigma_v / NOMINAL_SUPPLY_V
    if channel == "percent":
        sigma = recording.UNIT_STEP_PCT / 100.0 / np.sqrt(12.0)
    return max(VISIBLE_V / NOMINAL_SUPPLY_V, VISIBLE_SIGMA * sigma)


def _smoothness_pct(traced: _Traced, travel_pct: np.ndarray, scale: float) -> float:
    """Largest peak to peak of the grain within one window of travel, per cent of full scale."""
    window = np.minimum((travel_pct / SMOOTHNESS_WINDOW_PCT).astype(int), WINDOWS - 1)
    grain = traced.without_breaks - traced.ideal
    high, low = np.full(WINDOWS, -np.inf), np.full(WINDOWS, np.inf)
    np.maximum.at(high, window, grain)
    np.minimum.at(low, window, grain)
    seen = high > -np.inf
    return float(100.0 * (high[seen] - low[seen]).max() / scale)
