"""Tiny sweeps with known content, for tests of one thing at a time."""

import numpy as np


def triangle_travel(passes=6, pass_s=3.0, rest_s=0.4, rate_hz=200.0):
    """Times and travel of straight passes between rests at the stops, from the closed one."""
    n_rest, n_pass = round(rest_s * rate_hz), round(pass_s * rate_hz)
    parts = [np.zeros(n_rest)]
    for k in range(passes):
        ramp = np.linspace(0.0, 100.0, n_pass, endpoint=False)
        parts += [ramp if k % 2 == 0 else 100.0 - ramp, np.full(n_rest, 100.0 * ((k + 1) % 2))]
    travel = np.concatenate(parts)
    return np.arange(travel.size) / rate_hz, travel


def volts(travel_pct, *, supply_v=5.0, falling=False, noise_v=0.002, step_v=0.00125, seed=0):
    """A healthy sensor's reading, 12 to 88 % of supply, with noise and a converter's steps."""
    share = 0.88 - 0.76 * travel_pct / 100.0 if falling else 0.12 + 0.76 * travel_pct / 100.0
    noisy = share * supply_v + noise_v * np.random.default_rng(seed).standard_normal(share.size)
    return np.round(noisy / step_v) * step_v


def healthy(rate_hz=200.0, **how):
    """Times, readings and travel of a healthy sweep."""
    t, travel = triangle_travel(rate_hz=rate_hz)
    return t, volts(travel, **how), travel


def worn(spot_pct=40.0, length=2, depth_v=0.8, rate_hz=200.0, **how):
    """A sweep that drops out on every pass over one spot; and the first samples of the dips."""
    t, y, travel = healthy(rate_hz, **how)
    above = travel > spot_pct
    at = np.flatnonzero(above[1:] != above[:-1]) + 1
    for place in at:
        y[place : place + length] -= depth_v
    return t, y, at
