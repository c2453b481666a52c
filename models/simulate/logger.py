"""The instrument that records a sweep: clock, noise, quantisation, and what can go wrong.

Channels: ``volt`` (a data logger with a pull-down at its input), ``ohm`` (a logging meter, two
wires), ``percent`` (the control unit's own value, filtered and polled). Figures are assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

UNIT_FILTER_S = 0.040  # the control unit's first-order filter on its sensor input (assumed)
UNIT_STEP_PCT = 100.0 / 255.0  # one count of an 8-bit percentage, about 0.4 %


@dataclass(frozen=True)
class Logger:
    """How a sweep is recorded.

    bits, full_scale_v : converter; one step is full_scale_v / 2^bits (12 bits of 5.12 V: 1.25 mV).
    noise_v : white noise, 1 sigma, V; on the ohm channel the same share of the track's ohms.
    pull_down_ohm : load from the wiper lead to ground.
    timestamps : ``even`` or ``jittered``; jitter is 1 sigma as a share of the period.
    clip_low_v, clip_high_v : rails beyond which the input does not follow.
    gaps, gap_s : number of stretches not recorded and their mean length.
    duplicated, reordered : share of samples written twice, or swapped with the next.
    stamp_s : step to which times are written, s (0.1 ms, or the whole ms of a slow clock).
    meter_range_ohm : over-range reading of the ohm meter; leads_ohm its leads.
    """

    bits: int = 12
    full_scale_v: float = 5.12
    noise_v: float = 0.002
    pull_down_ohm: float = 100_000.0
    timestamps: str = "even"
    jitter: float = 0.08
    clip_low_v: float = 0.0
    clip_high_v: float = 5.12
    gaps: int = 0
    gap_s: float = 0.25
    duplicated: float = 0.0
    reordered: float = 0.0
    stamp_s: float = 1e-4
    meter_range_ohm: float = 20_000.0
    leads_ohm: float = 0.3

    @property
    def step_v(self) -> float:
        """One step of the converter, V."""
        return self.full_scale_v / 2**self.bits

    @property
    def sigma_v(self) -> float:
        """Noise of a recorded sample with the quantisation's step / sqrt(12), V."""
        return float(np.hypot(self.noise_v, self.step_v / np.sqrt(12.0)))


def sample_times_s(
    rng: np.random.Generator, logger: Logger, rate_hz: float, duration_s: float
) -> np.ndarray:
    """Times of the samples taken, ascending from 0, gaps left out, shape (n,)."""
    if rate_hz <= 0:
        raise ValueError(f"rate_hz must be positive, not {rate_hz}")
    t_s = np.arange(int(duration_s * rate_hz) + 1) / rate_hz
    if logger.timestamps == "jittered":
        shift = np.clip(logger.jitter * rng.standard_normal(len(t_s)), -0.45, 0.45) / rate_hz
        t_s = t_s + shift - shift[0]
    keep = np.ones(len(t_s), dtype=bool)
    for _ in range(logger.gaps):
        start = rng.uniform(0.1, 0.9) * duration_s
        keep &= ~((t_s > start) & (t_s < start + logger.gap_s * rng.gamma(4.0, 0.25)))
    return t_s[keep]


def written_order(rng: np.random.Generator, logger: Logger, samples: int) -> np.ndarray:
    """Which sample stands in which row of the recording: repeats and swaps, shape (m,)."""
    order = np.arange(samples)
    if logger.duplicated > 0.0:
        order = np.repeat(order, 1 + (rng.random(samples) < logger.duplicated))
    for at in np.flatnonzero(rng.random(len(order) - 1) < logger.reordered):
        order[at], order[at + 1] = order[at + 1], order[at]
    return order


def convert_v(rng: np.random.Generator, logger: Logger, volts: np.ndarray) -> np.ndarray:
    """Noise, rails and the converter's steps, V, rounded to 0.1 mV."""
    noisy = volts + logger.noise_v * rng.standard_normal(len(volts))
    return _stepped(np.clip(noisy, logger.clip_low_v, logger.clip_high_v), logger.step_v, 4)


def convert_ohm(
    rng: np.random.Generator, logger: Logger, ohms: np.ndarray, ohm_per_v: float
) -> np.ndarray:
    """Noise, over-range and the meter's steps of one ohm."""
    noisy = ohms + logger.noise_v * ohm_per_v * rng.standard_normal(len(ohms))
    return _stepped(np.clip(noisy, 0.0, logger.meter_range_ohm), 1.0, 0)


def convert_percent(percent: np.ndarray) -> np.ndarray:
    """The percentage as a control unit sends it: one of 256 counts."""
    return _stepped(np.clip(percent, 0.0, 100.0), UNIT_STEP_PCT, 2)


def filtered(values: np.ndarray, step_s: float, tau_s: float = UNIT_FILTER_S) -> np.ndarray:
    """First-order low-pass of evenly spaced values, started at rest on the first one."""
    kernel = np.exp(-np.arange(int(6.0 * tau_s / step_s)) * step_s / tau_s)
    padded = np.concatenate([np.full(len(kernel) - 1, values[0]), values])
    return np.convolve(padded, kernel / kernel.sum(), mode="valid")


def _stepped(values: np.ndarray, step: float, decimals: int) -> np.ndarray:
    return np.round(np.round(values / step) * step, decimals)


def random_logger(rng: np.random.Generator) -> Logger:
    """A well-behaved logger of assumed variety: 10 to 16 bits, 1 to 4 mV of noise."""
    return Logger(
        bits=int(rng.choice([10, 12, 12, 12, 14, 16])),
        noise_v=float(rng.uniform(0.001, 0.004)),
        pull_down_ohm=float(rng.choice([82_000.0, 100_000.0, 100_000.0, 120_000.0])),
        timestamps=str(rng.choice(["even", "jittered"])),
    )
