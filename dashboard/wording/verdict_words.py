"""The two verdicts of a test in words: what the rules make of it, and what the technician wrote.

Neither ever says that a sensor or a bike is good or safe: where nothing was seen, that is what is
said, and how far one could have seen.
"""

from __future__ import annotations

import math

import pandas as pd

from dashboard.words import (
    CONCLUSIONS,
    NATURES,
    READINGS,
    VERDICTS,
    counted,
    dropouts_near,
    known,
    milliseconds,
    number,
    plain,
    travel,
)

# Within this much of a stop the travel counts as swept whole, % of travel.
END_PCT = 2.0


def rule_verdict(measures: dict | None, checks: pd.DataFrame) -> tuple[str, list[str]]:
    """The rules' verdict in a few words, and the sentences behind it."""
    word, why = sweep_verdict(measures)
    return word, [*why, _static_sentence(checks)]


def sweep_verdict(measures: dict | None) -> tuple[str, list[str]]:
    """The rules' verdict on a sweep alone, and the sentences behind it."""
    if measures is None:
        word = "No sweep to judge"
        return word, ["No sweep came with this test: it says nothing about drop-outs or roughness."]
    return plain(measures["conclusion"], CONCLUSIONS), _sweep_sentences(measures)


def _sweep_sentences(measures: dict) -> list[str]:
    nature = measures["fault_nature"]
    conclusion = measures["conclusion"]
    if conclusion == "dropouts_seen":
        seen = counted(int(measures["dropout_count"]), "drop-out")
        where = dropouts_near(measures["dropout_count"], measures["dropout_peak_travel_pct"])
        kind = f", {NATURES[nature]}" if nature in NATURES else ""
        return [f"{seen}{where}{kind}."]
    if conclusion == "rough":
        where = travel(measures["smoothness_travel_pct"], "a travel not known")
        smooth = number(measures["smoothness_pct"], "% of the applied")
        return [f"Output smoothness {smooth} at {where}."]
    if conclusion == "cannot_tell":
        how = measures["advice"] if known(measures["advice"]) else ""
        return [f"Too little evidence to say more. {how}".strip()]
    return ["No drop-out and no roughness, as far as this sweep could show them."]


def _static_sentence(checks: pd.DataFrame) -> str:
    out = checks[checks["state"] == "out_of_band"]
    judged = int(checks["state"].isin(["in_band", "out_of_band"]).sum())
    if judged == 0:
        return "No reading at rest could be judged."
    if out.empty:
        return f"None of {counted(judged, 'judged check')} at rest points to a fault."
    names = ", ".join(dict.fromkeys(plain(c, READINGS) for c in out["check"]))
    points = "points" if len(out) == 1 else "point"
    return f"{len(out)} of {counted(judged, 'judged check')} at rest {points} to a fault: {names}."


def technician_verdict(session: dict, measures: dict | None) -> tuple[str, list[str]]:
    """The technician's verdict, and a sentence where the sweep does not bear it out."""
    verdict = session["verdict"]
    if not known(verdict):
        return "None recorded", []
    word = plain(verdict, VERDICTS)
    conclusion = measures["conclusion"] if measures else None
    seen = conclusion in ("dropouts_seen", "rough")
    if verdict == "pass" and seen:
        return word, ["The rules and the technician do not agree: look at the sweep again."]
    if conclusion in (None, "cannot_tell"):
        what = "There is no sweep to bear" if conclusion is None else "The sweep cannot bear"
        return word, [f"{what} this out: it rests on what else the technician saw."]
    if verdict in ("suspect", "fail") and conclusion == "nothing_seen":
        return word, ["The sweep shows nothing that would explain this verdict."]
    return word, []


def could_have_missed(measures: dict, profile: pd.DataFrame) -> list[str]:
    """What the sweep was able to show, and so what it could have missed, in words."""
    return [
        _covered(measures),
        _shortest(measures),
        _narrowest(measures["narrowest_visible_pct"]),
        *_not_judged(profile),
    ]


def _covered(measures: dict) -> str:
    start, end = measures["covered_from_pct"], measures["covered_to_pct"]
    passes = (
        f"{counted(int(measures['pass_count']), 'pass', 'passes')} from stop to stop "
        f"({measures['passes_opening']} opening, {measures['passes_closing']} closing)"
    )
    if not (known(start) and known(end)):
        return f"{passes}; which part of the travel was swept is not known."
    outside = start > END_PCT or end < 100 - END_PCT
    rest = " What lies outside was not tested." if outside else ""
    swept = f"{number(start, digits=1)} to {number(end, '% of travel', 1)}"
    return f"{passes} swept {swept}.{rest}"


def _shortest(measures: dict) -> str:
    shortest, depth = measures["shortest_visible_ms"], measures["least_visible_depth_pct"]
    if not known(shortest):
        return "How short a drop-out this sweep would have shown cannot be told."
    shallow = (
        f", or shallower than {number(depth, '% of the applied voltage')}," if known(depth) else ""
    )
    rate = number(measures["rate_hz"], "samples a second", 0, "rate not known")
    speed = number(measures["speed_pct_per_s"], "% of travel a second", 0, "speed not known")
    return (
        f"Drop-outs shorter than {milliseconds(shortest)}{shallow} could have been missed "
        f"({rate}, {speed})."
    )


def _narrowest(narrowest: object) -> str:
    if not known(narrowest):
        return "How narrow a worn patch this sweep would have shown cannot be told."
    wide = max(math.ceil(10.0 * narrowest), 1) / 10.0  # rounded up: nothing narrower is promised
    patch = number(wide, "% of travel", 1)
    return f"Worn patches narrower than {patch} could have been missed."


def _not_judged(profile: pd.DataFrame) -> list[str]:
    """Cells of the travel whose roughness could not be judged."""
    blank = int(profile["smoothness_pct"].isna().sum())
    if not blank:
        return []
    return [
        f"{blank} of {counted(len(profile), 'cell')} of travel hold too few samples to judge "
        "roughness."
    ]
