"""Recordings of loggers in plain words: what is asked of them, and what they cannot show."""

from __future__ import annotations

ROLES = {
    "t_s": "Time",
    "signal": "Signal",
    "signal_b": "Second track",
    "travel_pct": "Travel, from a channel that knows it",
}
CHANNELS = {"volt": "V", "ohm": "ohm", "percent": "% by the control unit"}
LEVELS = {"kept": "kept (DC-coupled)", "lost": "lost, or not known (AC-coupled)"}
SCALE_HOW = (
    "A sound card's file holds no volts. Put a known steady voltage on the input, or a known "
    "voltage that swings, and say here what full scale and zero stand for. A sound card is usually "
    "AC-coupled: slow levels and drift are then lost, and nothing is concluded. Never put more on "
    "an input than its maker allows."
)
SLOW_POLL = (
    "A control unit polled a few times a second passes over most drop-outs: nothing seen in such a "
    "sweep says little."
)
