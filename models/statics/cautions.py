"""Fixed safety sentences and where to look next after the checks of one bench test."""

from __future__ import annotations

import pandas as pd

CAUTIONS: tuple[str, ...] = (
    "Engine off, bike steady on a stand, nobody sitting on it; key out, save where a step asks for "
    "it on.",
    "Ignition off before the sensor's plug is pulled or put back: unplugging with the key on "
    "stores fault codes of its own.",
    "Drive-by-wire throttle plates move by themselves when powered: keep fingers and tools out of "
    "the throttle bodies whenever the key is on.",
    "Follow the maker's procedure for this model. Where it differs from what is shown here, the "
    "maker's procedure holds.",
    "After refitting, relearn the closed position where the maker asks for it, and see that the "
    "throttle opens freely and snaps shut before the engine is started.",
    "Local rules and a qualified technician decide whether the bike may be ridden.",
    "This tool never declares a bike safe. Too little evidence is not a pass.",
)

RELEARN_REMINDER = (
    "After refitting: relearn the closed position where the maker asks for it, clear the codes and "
    "read them again."
)

_ORDER = ("supply", "ground", "connector", "wiring", "sensor", "control_unit")
_WHY = {
    "supply": "Look at the supply first, for every other reading is measured against it.",
    "ground": "Look at the ground first, for a poor ground shifts every other reading.",
    "connector": "See to the plug next, for a bad contact looks like a bad sensor.",
    "wiring": "See to the plug and the lead next, for a broken lead looks like a bad sensor.",
    "sensor": "Look at the sensor itself.",
    "control_unit": "Look at the control unit's own figure.",
}
_BEFORE_SENSOR = frozenset({"supply", "ground", "connector", "wiring"})
_MUST_READ = {
    "supply": "the supply",
    "ground": "the supply to the plug's ground pin",
    "connector_corrosion": "the plug's contacts",
    "wiggle_test": "the wiggle test of plug and lead",
    "fault_codes": "the fault codes",
    "track_ohm": "the track resistance",
    "closed_v": "the closed signal",
    "open_v": "the open signal",
    "closed_ohm": "the closed resistance",
    "open_ohm": "the open resistance",
}
_EITHER = ({"closed_v", "closed_ohm"}, {"open_v", "open_ohm"})
_SWEEP = {
    "worn_track": (
        "sensor",
        "The sweep shows a fault at the same travel again and again: a worn track in the sensor.",
    ),
    "wandering": (
        "wiring",
        "The sweep shows a fault that wanders over the travel: a plug, a lead or the hand more "
        "often than the sensor.",
    ),
    "undecided": (
        "sensor",
        "The sweep shows drop-outs that do not tell a worn track from a plug, a lead or the hand: "
        "sweep again slowly, six passes or more, and move plug and lead by hand in between.",
    ),
}
_ELSEWHERE = (
    "Nothing read here lies outside its range. That does not show that the sensor is sound: sweep "
    "it slowly, and if the complaint stays, look elsewhere, such as cable and stops, air leaks and "
    "what the maker's procedure names."
)
_NOTHING_JUDGED = (
    "Nothing was read at rest that can be judged, so nothing can be said of the sensor by it: read "
    "supply, ground, plug and ends in this order, and sweep it slowly."
)


def next_look(checks: pd.DataFrame, *, fault_nature: str | None = None) -> list[str]:
    """Where to look next and why, in the technician's order.

    Parameters
    ----------
    checks : DataFrame
        CHECKS of one bench test.
    fault_nature : str, optional
        What its sweep showed: ``worn_track``, ``wandering``, ``undecided`` or ``none``.

    Returns
    -------
    list of str
        Plain sentences; readings in doubt are settled first, the reminder to relearn stands last.

    Raises
    ------
    ValueError
        Checks of more than one session.
    """
    if len(set(checks["session_id"])) > 1:
        raise ValueError("next_look takes the checks of one session")
    checks = checks.sort_values("step")
    pointed = _pointed_at(checks, fault_nature)
    looks = [
        line for place in _ORDER if place in pointed for line in (_WHY[place], *pointed[place])
    ]
    if _BEFORE_SENSOR & set(pointed) and {"sensor", "control_unit"} & set(pointed):
        looks.append("Put right what comes first and test again before the sensor is replaced.")
    codes = _texts(checks[checks["check"].eq("fault_codes") & _is_open(checks)])
    judged = checks["state"].isin(["in_band", "out_of_band"]).any()
    nothing = [] if looks or codes else [_ELSEWHERE if judged else _NOTHING_JUDGED]
    return [*_doubts(checks), *looks, *codes, *nothing, *_unread(checks), RELEARN_REMINDER]


def _is_open(checks: pd.DataFrame) -> pd.Series:
    """Recorded, and not already asked about."""
    return checks["state"].ne("not_read") & checks["points_to"].ne("reading")


def _texts(rows: pd.DataFrame) -> list[str]:
    return list(dict.fromkeys(rows["text"]))


def _pointed_at(checks: pd.DataFrame, fault_nature: str | None) -> dict[str, list[str]]:
    """Sentences by the place they point to."""
    out = checks[checks["state"].eq("out_of_band") & checks["points_to"].isin(_ORDER)]
    pointed = {place: _texts(rows) for place, rows in out.groupby("points_to")}
    if fault_nature in _SWEEP:
        place, sentence = _SWEEP[fault_nature]
        pointed[place] = [*pointed.get(place, []), sentence]
    return pointed


def _doubts(checks: pd.DataFrame) -> list[str]:
    questions = _texts(checks[checks["points_to"].eq("reading")])
    return ["Settle these readings first, they look miswritten.", *questions] if questions else []


def _unread(checks: pd.DataFrame) -> list[str]:
    """What was not read and would help; one way of reading an end is enough."""
    recorded = set(checks[checks["state"] != "not_read"]["check"])
    missing = set(checks["check"]) & set(_MUST_READ) - recorded
    for pair in _EITHER:
        if pair & recorded:
            missing -= pair
    names = [words for check, words in _MUST_READ.items() if check in missing]
    return [f"Not read yet: {', '.join(names)}."] if names else []
