"""What the technician sees at the bench and concludes: imperfect, as people and meters are.

All chances are assumed.
"""

from __future__ import annotations

import numpy as np

from models.simulate.wear import Spell, rough_ohm
from models.simulate.world import ROUGH_OHM

CHANNEL_SHARES = (  # (channel, samples a second, share of tests)
    ("volt", 200.0, 0.80),
    ("volt", 1000.0, 0.05),
    ("ohm", 50.0, 0.06),
    ("percent", 8.0, 0.04),
    ("percent", 5.0, 0.02),
    ("volt", None, 0.03),  # a test whose sweep was not recorded
)
SEEN_AT_ONCE, SEEN_AT_LAST, SEEN_KM = 0.80, 0.97, 1500.0
PERCENT_BLINDNESS = 0.45  # a polled percentage shows this share of what a voltmeter shows
# Of defects seen, the share called failed; the rest is called suspect. One lift-off in several
# strokes is called in again rather than condemned, many in one place leave no doubt.
FAIL_AT_ONCE, FAIL_AT_LAST, FAIL_KM = 0.45, 0.97, 3000.0
FALSE_FAIL, FALSE_SUSPECT, ROUGH_SUSPECT = 0.006, 0.02, 0.16
BLANK_VERDICT = 0.015
LEAD_SEEN_ROUTINE, LEAD_SEEN_SYMPTOM = 0.50, 0.85
LEAD_TAKEN_FOR_SENSOR = 0.09

SYMPTOMS = {
    "defect": (
        "hesitates at steady throttle", "surges in slow traffic", "idle hunts", "jerks off idle",
    ),
    "road": ("cut out while riding", "limp mode, no response", "stalled and would not idle"),
    "lead": ("cuts out over bumps", "fault lamp comes and goes", "hesitates in the wet"),
    "other": ("hard to start", "hesitates when cold", "fault lamp on once", "uneven idle"),
}  # fmt: skip


def choose_channel(rng: np.random.Generator, wears: bool) -> tuple[str, float | None]:
    """Channel and rate of a test's sweep; no rate means that none was recorded."""
    at = rng.random()
    for channel, rate_hz, share in CHANNEL_SHARES:
        at -= share
        if at < 0.0:
            return ("volt", 200.0) if channel == "ohm" and not wears else (channel, rate_hz)
    return "volt", 200.0


def judge(
    rng: np.random.Generator, spell: Spell, odometer_km: float, channel: str, lead_seen: bool
) -> str | None:
    """Verdict on the sensor: ``pass``, ``suspect``, ``fail`` or None where it was left blank."""
    at = rng.random()
    if spell.defective(odometer_km):
        since_km = 1000.0 * spell.severity(odometer_km)
        seen = _growing(SEEN_AT_ONCE, SEEN_AT_LAST, since_km / SEEN_KM)
        seen *= PERCENT_BLINDNESS if channel == "percent" else 1.0
        if at < seen:
            failed = seen * _growing(FAIL_AT_ONCE, FAIL_AT_LAST, since_km / FAIL_KM)
            return "fail" if at < failed else "suspect"
        return "pass"
    if lead_seen:
        return "fail" if at < LEAD_TAKEN_FOR_SENSOR else "pass"
    rough = rough_ohm(spell, odometer_km) > 0.5 * ROUGH_OHM
    suspect = FALSE_SUSPECT + (ROUGH_SUSPECT if rough and channel != "percent" else 0.0)
    if at < FALSE_FAIL:
        return "fail"
    if at < FALSE_FAIL + suspect:
        return "suspect"
    return None if at > 1.0 - BLANK_VERDICT else "pass"


def _growing(first: float, last: float, way: float) -> float:
    """A share that goes from its first value to its last as a defect ages."""
    return last - (last - first) * float(np.exp(-way))


def lead_seen(rng: np.random.Generator, lead: str | None, reason: str) -> bool:
    """Whether moving plug and lead by hand shows up a lead fault that is there."""
    if lead is None:
        return False
    return rng.random() < (LEAD_SEEN_SYMPTOM if reason == "symptom" else LEAD_SEEN_ROUTINE)


def symptom_words(rng: np.random.Generator, kind: str) -> str:
    """The rider's complaint, in the shop's words."""
    words = SYMPTOMS[kind]
    return words[int(rng.integers(len(words)))]
