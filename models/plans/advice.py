"""Advice for each sensor in service, with its reasons in plain words and the numbers behind them.

The chance meant throughout is that of a *defect*: a state that a sound bench test would find. The
levels are assumed defaults without a source, to be set by the shop. No advice says that a sensor
or a bike is safe: *leave* means that nothing on record calls for work now.

Evidence of tests and the set floor of risk come first (``models.plans.decisions``); where they
leave it open, what costs least decides (``models.plans.cheapest``).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pandas as pd

from models.plans.cost_wording import cost_sentences, next_work
from models.plans.decisions import ACTIONS, Case, Rule, decide
from models.plans.schemas import ADVICE, CHEAPEST, EVIDENCE
from models.plans.settings import PlanSettings
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
_AFTER_REPLACING = (
    "Bench-test the sensor that comes off and record what it shows: only so is it known whether "
    "it was at fault."
)
#: Sensors told at a time, so that few rows lie in memory as words.
_AT_ONCE = 4_000
_CHANCES = ("defect_now", "defect_now_low", "defect_now_high", "defect_5000_km")


def advise(
    evidence: pd.DataFrame,
    costs: pd.DataFrame | None = None,
    settings: PlanSettings | None = None,
    *,
    by_lot: frozenset[str] = frozenset(),
    day: date | None = None,
) -> pd.DataFrame:
    """Give each sensor in service exactly one of replace, test, leave and not_enough_known.

    Parameters
    ----------
    evidence : DataFrame
        EVIDENCE, one row a sensor in service.
    costs : DataFrame, optional
        CHEAPEST. A sensor that it does not hold is judged by levels of risk and distance alone.
    settings : PlanSettings, optional
        Levels and costs as set; by default as assumed.
    by_lot : set of str
        Sensors to be tested though they may be left (``models.plans.lot``).
    day : date, optional
        The as-of day, to tell days ahead as dates.

    Returns
    -------
    DataFrame
        ADVICE, in the order of `evidence`. `urgency` sorts replace over test over
        not_enough_known over leave, then by the chance of a defect now; a chance not known
        counts 0 within its action.

    Raises
    ------
    FrameError
        `evidence` or `costs` does not fit its schema.
    ValueError
        An unknown word, or a chance outside 0 to 1.
    """
    settings = PlanSettings() if settings is None else settings
    evidence = EVIDENCE.check(evidence)
    _refuse_unknown_values(evidence)
    if not len(evidence):
        return ADVICE.empty()
    costs = CHEAPEST.empty() if costs is None else CHEAPEST.check(costs)
    priced = costs[costs["cheapest"].notna()].drop_duplicates("sensor_id", keep="last")
    place = pd.Index(priced["sensor_id"]).get_indexer(pd.Index(evidence["sensor_id"]))
    levels, parts = _levels(settings), []
    for start in range(0, len(evidence), _AT_ONCE):
        own = place[start : start + _AT_ONCE]
        cost = {row["sensor_id"]: row for row in _records(priced.iloc[own[own >= 0]])}
        rows = [
            _advice(row, cost.get(row["sensor_id"], {}), settings, levels, by_lot, day)
            for row in _records(evidence.iloc[start : start + _AT_ONCE])
        ]
        parts.append(pd.DataFrame(rows, columns=ADVICE.names))
    return ADVICE.check(pd.concat(parts, ignore_index=True))


def _records(frame: pd.DataFrame) -> Iterator[dict]:
    """Each row by the names of its columns, as ``to_dict`` tells them."""
    columns = (column.tolist() for _, column in frame.items())
    names = frame.columns.tolist()
    return (dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True))


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


def _advice(
    row: dict,
    cost: dict,
    settings: PlanSettings,
    levels: dict[str, str],
    by_lot: frozenset[str],
    day: date | None,
) -> dict:
    rule = decide(case_of(row, settings, cost, by_lot=row["sensor_id"] in by_lot))
    fill = levels
    if "{next_work}" in rule.headline:
        run = row["km_since_test"] if known(row["km_since_test"]) else 0.0
        left_km = settings.test_stale_after_km - run
        fill = levels | {"next_work": next_work(cost, settings, day, left_km)}
    chance = row["defect_now"] if known(row["defect_now"]) else 0.0
    return {
        "sensor_id": row["sensor_id"],
        "action": rule.action,
        # Kept below 1, so that no chance lifts an action over the next.
        "urgency": ACTIONS.index(rule.action) + min(chance, 0.999),
        "headline": rule.headline.format(**fill),
        "reasons": "\n".join(_reasons(row, cost, rule, fill, settings)),
        "look_elsewhere": row["elsewhere"] if known(row["elsewhere"]) else "",
    }


def case_of(
    row: dict, settings: PlanSettings, cost: dict | None = None, *, by_lot: bool = False
) -> Case:
    """What one row of EVIDENCE, and one of CHEAPEST, come down to in the decision table."""
    return Case(
        verdict=verdict_of(row),
        sweep=sweep_of(row),
        risk=risk_level(row, settings, priced=bool(cost)),
        odometer=odometer_of(row, settings),
        run=run_of(row, settings),
        elsewhere=known(row["elsewhere"]),
        repaired=known(row["repaired_since_test"]),
        waiting=known(row["waiting"]),
        unanswered=known(row["unanswered"]),
        cheapest=cost["cheapest"] if cost else "unknown",
        by_lot=by_lot,
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


def risk_level(row: dict, settings: PlanSettings, *, priced: bool = False) -> str:
    """Level of the chance of a defect; where costs are known they weigh what lies ahead."""
    if not known(row["defect_now"]):
        return "unknown"
    # A blank is nowhere at or above a level.
    if row["defect_now"] >= settings.replace_above:
        return "high"
    ahead = not priced and row["defect_5000_km"] >= settings.test_above_5000_km
    if row["defect_now"] >= settings.test_above or ahead:
        return "raised"
    return "unsure" if row["defect_now_high"] >= settings.unsure_above else "low"


def odometer_of(row: dict, settings: PlanSettings) -> str:
    """Whether the bike's last odometer reading is missing, old or current."""
    age = row["odometer_age_days"]
    if not known(age):
        return "missing"
    return "old" if age > settings.odometer_stale_after_days else "current"


def run_of(row: dict, settings: PlanSettings) -> str:
    """Whether the distance run since the last test is unknown, short or long."""
    run = row["km_since_test"]
    if not known(run):
        return "unknown"
    return "long" if run > settings.test_stale_after_km else "short"


def _levels(settings: PlanSettings) -> dict[str, str]:
    """The levels that headlines and reasons may name, as shown."""
    shares = ("test_above", "replace_above", "unsure_above", "lot_share")
    shown = {name: in_100(getattr(settings, name)) for name in shares}
    return shown | {
        "stale_after_km": f"{settings.test_stale_after_km:,}",
        "max_odometer_age_days": f"{settings.odometer_stale_after_days}",
    }


def _reasons(row: dict, cost: dict, rule: Rule, fill: dict, settings: PlanSettings) -> list[str]:
    """Plain sentences, the weightiest first, none twice."""
    found = [
        rule.reason.format(**fill),
        *(f"Set aside: {line}" for line in lines(row["waiting"])),
        *(f"Repair since: {line}" for line in lines(row["repaired_since_test"])),
        *(f"Settle first: {line}" for line in lines(row["elsewhere"])),
        *lines(row["unanswered"]),
        *risk_sentences(row),
        *cost_sentences(cost, settings, rule.action),
        last_test_sentence(row, tested=verdict_of(row) != "untested"),
        *_after_a_test(row),
        odometer_sentence(row["odometer_age_days"], settings.odometer_stale_after_days),
        _AFTER_REPLACING if rule.action == "replace" else "",
        *lines(row["risk_basis"]),
    ]
    return [sentence for sentence in dict.fromkeys(found) if sentence]


def _after_a_test(row: dict) -> list[str]:
    if verdict_of(row) == "untested":
        return []
    return [sweep_sentence(row), distance_sentence(row["km_since_test"])]
