"""What one sweep allows to be said, and how to sweep again where it does not allow enough.

``nothing_seen`` is not a clean bill: it says that this sweep would have shown drop-outs down to
the stated length and depth, and showed none. Whatever the sweep is too coarse for is
``cannot_tell``.
"""

from __future__ import annotations

from dataclasses import dataclass

MOST_STEP_MS = 12.0  # a sweep with longer sampling intervals would miss most drop-outs
MOST_PATCH_PCT = 0.5  # a worn patch narrower than this may fall between samples
LEAST_PASSES = 4  # two up, two down
LEAST_COVER_PCT = 95.0
MOST_NOISE_DEPTH_PCT = 2.0  # noise that hides shallower drop-outs hides too much
ROUGH_Z = 10.0  # grain and sag less far beyond chance are no finding (tuned on simulated sweeps)
ROUGH_PCT = 0.02  # nor is finer grain, % of applied
GOOD_RATE_HZ = 200
GOOD_STROKE = "3 to 4 s"


@dataclass(frozen=True)
class Sight:
    """What a sweep was able to show."""

    channel: str | None
    measurable: bool
    step_ms: float
    patch_pct: float
    passes_opening: int
    passes_closing: int
    cover_pct: float
    noise_depth_pct: float
    widest_gap_ms: float
    clipped: bool = False


def shortcomings(sight: Sight) -> list[str]:
    """Why a sweep without anything seen is no answer, as advice; empty where it is one."""
    if not sight.measurable:
        return ["Put right what the findings name and sweep again."]
    advice = []
    if sight.channel == "percent":
        advice.append(
            "A percentage polled from the control unit is filtered and slow: record the sensor's "
            f"voltage with a logger at {GOOD_RATE_HZ} Hz or more."
        )
    if sight.clipped:
        advice.append("Choose a range of the logger that the whole output fits in.")
    if not sight.step_ms <= MOST_STEP_MS:
        advice.append(f"Record at {GOOD_RATE_HZ} samples a second or more.")
    elif not sight.patch_pct <= MOST_PATCH_PCT:
        advice.append(
            f"Move more slowly, {GOOD_STROKE} from stop to stop, or record at a higher rate."
        )
    if min(sight.passes_opening, sight.passes_closing) < LEAST_PASSES // 2:
        advice.append(
            "Make at least two passes up and two down, from stop to stop; six are better."
        )
    elif not sight.cover_pct >= LEAST_COVER_PCT:
        advice.append("Go from stop to stop: part of the travel was not swept.")
    if not sight.noise_depth_pct <= MOST_NOISE_DEPTH_PCT:
        advice.append("The recording is too noisy: use shorter leads, or a logger with less noise.")
    return advice


def conclude(dropouts: int, rough: bool, missing: list[str]) -> str:
    """``dropouts_seen``, ``rough``, ``cannot_tell`` or ``nothing_seen``."""
    if dropouts:
        return "dropouts_seen"
    if rough:
        return "rough"
    return "cannot_tell" if missing else "nothing_seen"


def is_rough(z: float, excess_pct: float) -> bool:
    """Whether the grain is beyond chance and large enough to matter."""
    return bool(z > ROUGH_Z and excess_pct > ROUGH_PCT)
