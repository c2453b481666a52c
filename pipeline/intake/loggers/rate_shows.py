"""What the rate of a recording can show and cannot, by the rules that measure every sweep."""

from __future__ import annotations

import numpy as np

from models.sweeps.ability import shortest_visible_ms
from models.sweeps.conclusion import Sight, shortcomings
from pipeline.intake.loggers.recording import median_step_s


def rate_shows(t_s: np.ndarray, channel: str | None) -> list[str]:
    """Sentences on what a recording's rate and channel allow; the passes are judged later."""
    step_s = median_step_s(t_s)
    if step_s is None:
        return ["All samples have one time: nothing can be told of its rate."]
    shortest = float(shortest_visible_ms(step_s))
    said = [
        f"{t_s.size:,} samples over {np.nanmax(t_s) - np.nanmin(t_s):,.1f} s, one every "
        f"{1000 * step_s:.3g} ms ({rate_words(step_s)} a second): drop-outs shorter than "
        f"{shortest:.3g} ms could have been missed."
    ]
    return said + shortcomings(_as_far_as_the_rate_goes(channel, shortest))


def _as_far_as_the_rate_goes(channel: str | None, shortest_ms: float) -> Sight:
    """A sweep that falls short in nothing but its channel and rate."""
    return Sight(
        channel,
        measurable=True,
        step_ms=shortest_ms,
        patch_pct=0.0,
        passes_opening=2,
        passes_closing=2,
        cover_pct=100.0,
        noise_depth_pct=0.0,
        widest_gap_ms=shortest_ms,
    )


def rate_words(step_s: float) -> str:
    """Samples a second, without digits that say nothing."""
    return f"{1 / step_s:,.0f}" if step_s <= 0.01 else f"{1 / step_s:.3g}"
