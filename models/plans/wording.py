"""The evidence behind advice as plain sentences, numbers with their units."""

from __future__ import annotations

import pandas as pd

_NATURES = {
    "worn_track": "at the same travel again and again, as a worn track does",
    "wandering": "wandering over the travel, as a plug or a lead does more often than a worn track",
    "undecided": "too few or too uneven to tell a worn track from a lead",
}
_CONTACTLESS = "the part is contactless and has no track to wear"


def known(value: object) -> bool:
    """Whether a cell holds anything: a blank and an empty text do not."""
    # asked some thirty times a sensor: a blank is None, pd.NA, or unlike itself (NaN, NaT)
    return value is not None and value is not pd.NA and bool(value == value and value != "")


def lines(text: object) -> list[str]:
    """The lines of a cell, stripped; an empty list where blank."""
    return [line.strip() for line in str(text).splitlines() if line.strip()] if known(text) else []


def in_100(chance: float) -> str:
    """A chance as a number out of 100, never rounded to none or all."""
    if chance <= 0.005:  # exactly half would round to none, or to all
        return "less than 1"
    return "more than 99" if 0.995 <= chance < 1 else f"{100 * chance:.0f}"


def risk_sentences(row: dict) -> list[str]:
    """The chance of a defect now, with its likely range, and within 5,000 km."""
    if not known(row["defect_now"]):
        return ["Chance of a defect now: not known."]
    now = f"Chance of a defect now: {_about(row['defect_now'])} in 100"
    likely = _likely(row["defect_now_low"], row["defect_now_high"])
    later = row["defect_5000_km"]
    ahead = f"Chance of a defect now or within 5,000 km: {_about(later)} in 100."
    return [f"{now}{likely}.", *([ahead] if known(later) else [])]


def _likely(low: float, high: float) -> str:
    """The likely range in words; nothing where an end is not known."""
    if not (known(low) and known(high)):
        return ""
    if in_100(low) == in_100(high):
        return f", likely {in_100(high)}"
    return f", likely {'up to' if low < 0.005 else f'{in_100(low)} to'} {in_100(high)}"


def _about(chance: float) -> str:
    words = in_100(chance)
    return words if words.startswith(("less", "more")) else f"about {words}"


def last_test_sentence(row: dict, *, tested: bool) -> str:
    """When the last test was and what it ended with."""
    if not tested:
        return "No accepted test of this sensor is on record."
    when = f" on {row['last_tested_on']:%Y-%m-%d}" if known(row["last_tested_on"]) else ""
    verdict = row["last_verdict"]
    return f"Last test{when}: {f'verdict {verdict}' if known(verdict) else 'no verdict recorded'}."


def sweep_sentence(row: dict) -> str:
    """What the sweep of the last test showed, or why it counts for nothing."""
    conclusion = row["last_conclusion"]
    left = "only its verdict counts" if known(row["last_verdict"]) else "it says nothing"
    if not known(conclusion):
        return f"No sweep was measured at that test: {left}."
    if conclusion == "cannot_tell":
        again = "".join(f" Sweep again: {line}" for line in lines(row["last_sweep_advice"]))
        return f"The sweep of that test cannot tell: {left}.{again}"
    if conclusion == "nothing_seen":
        return (
            "Its sweep showed no drop-out and no roughness, as far as such a sweep can show them."
        )
    seen = _dropouts(row) if conclusion == "dropouts_seen" else _roughness(row)
    contactless = row["kind"] == "contactless"
    nature = _CONTACTLESS if contactless else _NATURES.get(row["last_fault_nature"], "")
    return f"Its sweep showed {seen}{': ' if nature else ''}{nature}."


def _dropouts(row: dict) -> str:
    count, travel = row["last_dropout_count"], row["last_dropout_travel_pct"]
    some = known(count) and count > 0
    seen = f"{count} drop-out{'' if count == 1 else 's'}" if some else "drop-outs"
    where = "at" if some and count == 1 else "most at"
    return f"{seen}, {where} about {travel:.0f} % of travel" if known(travel) else seen


def _roughness(row: dict) -> str:
    smoothness = row["last_smoothness_pct"]
    if not known(smoothness):
        return "roughness"
    return f"roughness, output smoothness {smoothness:.2f} % of the applied voltage"


def distance_sentence(km_since_test: float) -> str:
    """How far the bike has run since the last test."""
    if not known(km_since_test):
        return "The distance run since that test is not known."
    return f"{km_since_test:,.0f} km run since that test."


def odometer_sentence(age_days: float, max_age_days: float) -> str:
    """Nothing while the odometer reading is current; otherwise what is amiss with it."""
    if not known(age_days):
        return "The bike has no odometer reading."
    if age_days <= max_age_days:
        return ""
    return f"The last odometer reading is {age_days:,.0f} days old, so the distance is a guess."
