"""Advice for each sensor in service, with its reasons in plain words and the numbers behind them.

The chance meant throughout is that of a *defect*: a state that a sound bench test would find. The
levels are assumed defaults without a source, to be set by the shop. No advice says that a sensor
or a bike is safe: *leave* means that nothing on record calls for work now.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd

from models.plans.decisions import ACTIONS, Case, Rule, decide
from models.plans.schemas import ADVICE, EVIDENCE
from models.plans.wording import (
    distance_sentence,
    in_100,
    known,
    last_test_sentence,
    lines,
    odometer_sentence,
    risk_sentences,
    sweep_sentence,
)

_ALLOWED = {
    "kind": ("potentiometer", "contactless"),
    "last_verdict": ("pass", "suspect", "fail"),
    "last_conclusion": ("dropouts_seen", "rough", "nothing_seen", "cannot_tell"),
    "last_fault_nature": ("worn_track", "wandering", "undecided", "none"),
}
_CHANCES = ("defect_now", "defect_now_low", "defect_now_high", "defect_5000_km")


@dataclass(frozen=True)
class Levels:
    """The levels at which advice changes; see `advise`."""

    replace_above: float
    test_above: float
    test_above_5000_km: float
    unsure_above: float
    stale_after_km: float
    max_odometer_age_days: float

    def check(self) -> Levels:
        """Refuse levels that contradict one another.

        Raises
        ------
        ValueError
            A chance outside 0 to 1, replacing below testing, a distance or age not above 0.
        """
        chances = (self.test_above, self.replace_above, self.test_above_5000_km, self.unsure_above)
        if not all(0 < level <= 1 for level in chances):
            raise ValueError(f"levels of chance must lie above 0 and up to 1, got {chances}")
        if self.test_above > self.replace_above:
            raise ValueError(
                f"test_above ({self.test_above}) must not exceed replace_above "
                f"({self.replace_above})"
            )
        if not (self.stale_after_km > 0 and self.max_odometer_age_days > 0):
            raise ValueError("stale_after_km and max_odometer_age_days must be above 0")
        return self


def advise(
    evidence: pd.DataFrame,
    *,
    replace_above: float = 0.50,
    test_above: float = 0.10,
    test_above_5000_km: float = 0.25,
    unsure_above: float = 0.40,
    stale_after_km: float = 10_000.0,
    max_odometer_age_days: float = 120.0,
) -> pd.DataFrame:
    """Give each sensor in service exactly one of replace, test, leave and not_enough_known.

    Parameters
    ----------
    evidence : DataFrame
        EVIDENCE, one row a sensor in service.
    replace_above : float
        Chance of a defect now from which a sensor is replaced where its last test speaks against
        it too. On its own the chance never replaces a sensor: it calls for a test. Assumed.
    test_above : float
        Safety floor: from this chance of a defect now the answer is never *leave*. Assumed.
    test_above_5000_km : float
        The same for a defect now or within 5,000 km. Assumed.
    unsure_above : float
        Where the upper end of the chance now reaches this, too little is known for *leave*.
        Assumed.
    stale_after_km : float
        Distance after which a test no longer counts, km. Assumed.
    max_odometer_age_days : float
        Age of the last odometer reading from which the distance run is a guess, days. Assumed.

    Returns
    -------
    DataFrame
        ADVICE, in the order of `evidence`. `urgency` sorts replace over test over
        not_enough_known over leave, then by the chance of a defect now; a chance not known
        counts 0 within its action.

    Raises
    ------
    FrameError
        `evidence` does not fit its schema.
    ValueError
        An unknown word, a chance outside 0 to 1, or levels that contradict one another.
    """
    levels = Levels(
        replace_above,
        test_above,
        test_above_5000_km,
        unsure_above,
        stale_after_km,
        max_odometer_age_days,
    ).check()
    evidence = EVIDENCE.check(evidence)
    _refuse_unknown_values(evidence)
    rows = [_advice(row, levels) for row in evidence.to_dict("records")]
    return ADVICE.check(pd.DataFrame(rows, columns=ADVICE.names)) if rows else ADVICE.empty()


def _refuse_unknown_values(evidence: pd.DataFrame) -> None:
    for name, words in _ALLOWED.items():
        strange = evidence[name].notna() & ~evidence[name].isin([*words, ""])
        _refuse(evidence, name, strange, f"{', '.join(words)} or blank")
    for name in _CHANCES:
        outside = evidence[name].notna() & ~evidence[name].between(0, 1)
        _refuse(evidence, name, outside, "a chance from 0 to 1 or blank")


def _refuse(evidence: pd.DataFrame, name: str, wrong: pd.Series, expected: str) -> None:
    if wrong.any():
        row = evidence[wrong].iloc[0]
        raise ValueError(
            f"evidence.{name}: {row[name]!r} for sensor {row['sensor_id']}, expected {expected}"
        )


def _advice(row: dict, levels: Levels) -> dict:
    rule = decide(case_of(row, levels))
    fill = _numbers(row, levels)
    chance = row["defect_now"] if known(row["defect_now"]) else 0.0
    return {
        "sensor_id": row["sensor_id"],
        "action": rule.action,
        # Kept below 1, so that no chance lifts an action over the next.
        "urgency": ACTIONS.index(rule.action) + min(chance, 0.999),
        "headline": rule.headline.format(**fill),
        "reasons": "\n".join(_reasons(row, rule, fill, levels)),
        "look_elsewhere": row["elsewhere"] if known(row["elsewhere"]) else "",
    }


def case_of(row: dict, levels: Levels) -> Case:
    """What one row of EVIDENCE comes down to in the decision table."""
    return Case(
        verdict=verdict_of(row),
        sweep=sweep_of(row),
        risk=risk_level(row, levels),
        odometer=odometer_of(row, levels),
        run=run_of(row, levels),
        elsewhere=known(row["elsewhere"]),
        repaired=known(row["repaired_since_test"]),
        waiting=known(row["waiting"]),
        unanswered=known(row["unanswered"]),
    )


def verdict_of(row: dict) -> str:
    """Verdict of the last test; ``untested`` where nothing of a test is on record."""
    if known(row["last_verdict"]):
        return row["last_verdict"]
    traces = ("last_session_id", "last_tested_on", "last_conclusion")
    return "blank" if any(known(row[name]) for name in traces) else "untested"


def sweep_of(row: dict) -> str:
    """What the last sweep showed; contactless parts have no track to wear."""
    conclusion = row["last_conclusion"]
    if not known(conclusion) or conclusion == "cannot_tell":
        return "none"
    if conclusion == "nothing_seen":
        return "clear"
    if row["last_fault_nature"] == "wandering":
        return "wandering"
    worn = row["last_fault_nature"] == "worn_track" and row["kind"] != "contactless"
    return "worn" if worn else "unclear"


def risk_level(row: dict, levels: Levels) -> str:
    """Level of the chance of a defect."""
    if not known(row["defect_now"]):
        return "unknown"
    # A blank is nowhere at or above a level.
    if row["defect_now"] >= levels.replace_above:
        return "high"
    if row["defect_now"] >= levels.test_above or row["defect_5000_km"] >= levels.test_above_5000_km:
        return "raised"
    return "unsure" if row["defect_now_high"] >= levels.unsure_above else "low"


def odometer_of(row: dict, levels: Levels) -> str:
    """Whether the bike's last odometer reading is missing, old or current."""
    age = row["odometer_age_days"]
    if not known(age):
        return "missing"
    return "old" if age > levels.max_odometer_age_days else "current"


def run_of(row: dict, levels: Levels) -> str:
    """Whether the distance run since the last test is unknown, short or long."""
    run = row["km_since_test"]
    if not known(run):
        return "unknown"
    return "long" if run > levels.stale_after_km else "short"


def _numbers(row: dict, levels: Levels) -> dict[str, str]:
    """The numbers that headlines and reasons may name, as shown."""
    run = row["km_since_test"] if known(row["km_since_test"]) else 0.0
    left = max(100.0, np.floor((levels.stale_after_km - run) / 100) * 100)
    shown = {
        name: in_100(value) if value <= 1 else f"{value:,.0f}"
        for name, value in asdict(levels).items()
    }
    return shown | {"next_test_km": f"{left:,.0f}"}


def _reasons(row: dict, rule: Rule, fill: dict, levels: Levels) -> list[str]:
    """Plain sentences, the weightiest first, none twice."""
    found = [
        rule.reason.format(**fill),
        *(f"Set aside: {line}" for line in lines(row["waiting"])),
        *(f"Repair since: {line}" for line in lines(row["repaired_since_test"])),
        *(f"Settle first: {line}" for line in lines(row["elsewhere"])),
        *lines(row["unanswered"]),
        *risk_sentences(row),
        last_test_sentence(row, tested=verdict_of(row) != "untested"),
        *_after_a_test(row),
        odometer_sentence(row["odometer_age_days"], levels.max_odometer_age_days),
        *lines(row["risk_basis"]),
    ]
    return [sentence for sentence in dict.fromkeys(found) if sentence]


def _after_a_test(row: dict) -> list[str]:
    if verdict_of(row) == "untested":
        return []
    return [sweep_sentence(row), distance_sentence(row["km_since_test"])]
