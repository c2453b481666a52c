"""The decision table: replace, test, leave or not enough known, one rule for every case.

A `Case` says in a few words what is known of one sensor; `decide` goes down `RULES` and takes the
first that fits. Common practice without a source, save the order: what lies outside the sensor is
settled before the sensor is blamed, evidence of a test comes before the estimated risk, a set floor
of risk comes before what costs least, and *leave* stands last, for a sensor against which nothing
speaks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

ACTIONS = ("leave", "not_enough_known", "test", "replace")  # by rising urgency

VERDICTS = ("untested", "blank", "pass", "suspect", "fail")
SWEEPS = ("none", "clear", "unclear", "wandering", "worn")
RISKS = ("unknown", "low", "unsure", "raised", "high")
ODOMETERS = ("missing", "old", "current")
RUNS = ("unknown", "short", "long")
CHEAPEST = ("unknown", "replace", "test", "leave")


@dataclass(frozen=True)
class Case:
    """What is known of one sensor in service.

    Attributes
    ----------
    verdict : str
        Of the last test: one of `VERDICTS`; ``blank`` where a test has none.
    sweep : str
        What its sweep showed: one of `SWEEPS`. ``none`` where there was no sweep or it cannot
        tell, ``unclear`` for roughness, or drop-outs of undecided nature.
    risk : str
        Level of the chance of a defect: one of `RISKS`. ``unsure`` where the estimate is low and
        its upper end is not.
    odometer : str
        The bike's last odometer reading: one of `ODOMETERS`.
    run : str
        Distance run since the last test: one of `RUNS`.
    elsewhere : bool
        The last test points to supply, ground, connector or wiring.
    repaired : bool
        A repair was closed after the last test.
    waiting : bool
        A record of the sensor or the bike is set aside.
    unanswered : bool
        An earlier sweep showed drop-outs that no later sweep or repair answers.
    cheapest : str
        What costs least in expectation: one of `CHEAPEST`.
    by_lot : bool
        Drawn to be tested though it may be left, so that leaving is checked.
    """

    verdict: str
    sweep: str
    risk: str
    odometer: str
    run: str
    elsewhere: bool
    repaired: bool
    waiting: bool
    unanswered: bool
    cheapest: str = "unknown"
    by_lot: bool = False


@dataclass(frozen=True)
class Rule:
    """One line of the table: when it fits, what to do, and the sentences shown."""

    name: str
    fits: Callable[[Case], bool]
    action: str
    headline: str
    reason: str


def _condemned(case: Case) -> bool:
    """Risk is high and the last test speaks against the sensor too."""
    against = (
        case.sweep == "worn"
        or (case.verdict == "fail" and case.sweep != "clear")
        or (case.verdict == "suspect" and case.sweep == "unclear")
    )
    return case.risk == "high" and against


def _replacing_pays(case: Case) -> bool:
    """A planned replacement costs least, and the distance run that this rests on is known."""
    known = case.odometer == "current" and case.run != "unknown" and not case.waiting
    return case.cheapest == "replace" and known


RULES: tuple[Rule, ...] = (
    Rule(
        "repaired_since",
        lambda c: c.repaired,
        "test",
        "Test: a repair was closed after the last test and its result has not been tested.",
        "What the last test showed is from before the repair, so it no longer stands.",
    ),
    Rule(
        "fault_elsewhere",
        lambda c: c.elsewhere,
        "test",
        "Put right what lies outside the sensor first, then test the sensor again.",
        "The last test found a fault outside the sensor; until that is put right, its readings "
        "cannot be held against the sensor or for it.",
    ),
    Rule(
        "wandering",
        lambda c: c.sweep == "wandering",
        "test",
        "See to the plug and the lead, then test again.",
        "The fault in the last sweep wanders over the travel, as a plug or a lead does more often "
        "than a worn track.",
    ),
    Rule(
        "failed_worn_track",
        lambda c: c.verdict == "fail" and c.sweep == "worn",
        "replace",
        "Replace: it failed its last test and the sweep shows a worn track.",
        "Verdict and sweep agree: failed, with a fault at the same travel again and again.",
    ),
    Rule(
        "condemned_by_test_and_risk",
        _condemned,
        "replace",
        "Replace: the last test speaks against it and the chance of a defect is high.",
        "The last test speaks against the sensor and its chance of a defect now is {replace_above} "
        "in 100 or more (a set level).",
    ),
    Rule(
        "failed",
        lambda c: c.verdict == "fail",
        "test",
        "Test again to confirm: it failed its last test, without a sweep that shows a worn track.",
        "A failed verdict alone does not show that the sensor itself is at fault.",
    ),
    Rule(
        "fault_suspected",
        lambda c: c.verdict == "suspect" or c.sweep in ("worn", "unclear"),
        "test",
        "Test again: the last test left a suspicion.",
        "The last test neither clears the sensor nor condemns it.",
    ),
    Rule(
        "drop_outs_unanswered",
        lambda c: c.unanswered,
        "test",
        "Test again, with a slow sweep: drop-outs seen earlier were never explained.",
        "A later test that cannot tell does not answer drop-outs that were seen before.",
    ),
    Rule(
        "never_tested",
        lambda c: c.verdict == "untested",
        "not_enough_known",
        "Not enough known: never tested. A bench test would settle it.",
        "No accepted test of this sensor is on record.",
    ),
    Rule(
        "test_without_result",
        lambda c: c.verdict == "blank" and c.sweep == "none",
        "not_enough_known",
        "Not enough known: the last test has neither a verdict nor a sweep that can tell.",
        "A test without a verdict and without a sweep that can tell is no evidence.",
    ),
    Rule(
        "no_odometer",
        lambda c: c.odometer == "missing",
        "not_enough_known",
        "Not enough known: the bike has no odometer reading.",
        "Without an odometer reading the distance run, and so the wear, is not known.",
    ),
    Rule(
        "no_risk",
        lambda c: c.risk == "unknown",
        "not_enough_known",
        "Not enough known: the chance of a defect could not be estimated.",
        "The chance of a defect could not be estimated for this sensor.",
    ),
    Rule(
        "replacing_costs_least",
        _replacing_pays,
        "replace",
        "Replace: a planned replacement costs least, less than testing it or waiting.",
        "No test has condemned it; the costs and the chance of a defect have.",
    ),
    Rule(
        "risk_raised",
        lambda c: c.risk in ("raised", "high"),
        "test",
        "Test: the chance of a defect is too high to leave it.",
        "From a chance of {test_above} in 100 now a test is always called for, whatever it costs "
        "(the set floor).",
    ),
    Rule(
        "testing_costs_least",
        lambda c: c.cheapest == "test",
        "test",
        "Test: it costs least to test it now.",
        "Testing now costs less in expectation than leaving it or replacing it.",
    ),
    Rule(
        "test_too_long_ago",
        lambda c: c.run == "long" and c.cheapest == "unknown",
        "test",
        "Test: too far has been run since the last test.",
        "More than {stale_after_km} km have been run since the last test (a set level).",
    ),
    Rule(
        "record_waiting",
        lambda c: c.waiting,
        "not_enough_known",
        "Not enough known: a record of this sensor or bike waits to be put right.",
        "A record of this sensor or bike is set aside, so what is on record may not be all.",
    ),
    Rule(
        "risk_unsure",
        lambda c: c.risk == "unsure",
        "not_enough_known",
        "Not enough known: the chance of a defect may be high. A bench test would settle it.",
        "The chance of a defect now may be {unsure_above} in 100 or more (a set level).",
    ),
    Rule(
        "odometer_old",
        lambda c: c.odometer == "old",
        "not_enough_known",
        "Not enough known: the last odometer reading is too old.",
        "An odometer reading counts for {max_odometer_age_days} days (a set level).",
    ),
    Rule(
        "run_unknown",
        lambda c: c.run == "unknown",
        "not_enough_known",
        "Not enough known: the distance run since the last test is not known.",
        "Without that distance it cannot be said whether the last test still counts.",
    ),
    Rule(
        "drawn_by_lot",
        lambda c: c.by_lot,
        "test",
        "Test, as a check on leaving: drawn by lot among the sensors that may be left.",
        "A few sensors are tested though nothing calls for it, so that leaving the others can be "
        "judged ({lot_share} in 100 a quarter, a set share).",
    ),
    Rule(
        "verdict_alone",
        lambda c: c.sweep == "none",
        "leave",
        "Nothing calls for work now, by the verdict alone; {next_work}.",
        "Only the verdict of the last test speaks for leaving it, and the chance of a defect is "
        "below the level at which a test is called for ({test_above} in 100 now).",
    ),
    Rule(
        "nothing_against_it",
        lambda c: True,
        "leave",
        "Nothing calls for work now; {next_work}.",
        "The last test found nothing against it, and the chance of a defect is below the level at "
        "which a test is called for ({test_above} in 100 now).",
    ),
)


def decide(case: Case) -> Rule:
    """The first rule of the table that fits; the last one fits always."""
    return next(rule for rule in RULES if rule.fits(case))
