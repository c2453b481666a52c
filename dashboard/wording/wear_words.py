"""Where tracks wear, in sentences."""

from __future__ import annotations

import pandas as pd

from dashboard.words import about_in_100, counted, in_100, km, km_span, known, number
from pipeline.access.wear_view import SweepPlan

ALL = "all"
LIKELY = 0.5
EARLIER_SAID = 3
ANSWERS = {
    "concentrated": "at a common place",
    "flat": "no common place shown",
    "not enough known": "not enough known",
}
YOUNGER = (
    "That holds for wear that lifts the wiper as often as the worn spots on record do; younger "
    "wear lifts it less often, so nothing seen is not nothing there."
)
USES = {
    "dwell": "Wear follows where the throttle is held, more than where it is moved.",
    "sliding": "Wear follows where the throttle is moved, more than where it is held.",
    "cannot be decided": "Whether wear follows holding or moving cannot be decided yet.",
    "not enough known": (
        "Whether wear follows holding or moving cannot be told yet: at least six bikes with a log "
        "and drop-outs are needed."
    ),
}


def span(low: object, high: object, digits: int = 0) -> str:
    """A stretch of the travel: ``4 to 14 % of travel``."""
    return f"{number(low, digits=digits)} to {number(high, '% of travel', digits)}"


def group(row: dict) -> str:
    """Which sensors: part and duty, either of which may be any."""
    part = "all parts" if row["part_no"] == ALL else f"part {row['part_no']}"
    duty = "all duties" if row["duty"] == ALL else f"duty {row['duty']}"
    return f"{part}, {duty}"


def gathers(row: dict) -> str:
    """Whether the sensors of one WEAR_GATHERED row wear at a common place, with its numbers."""
    sensors = f"{lives_with_band(row)} with a likely worn band by their own tests alone"
    tested = f"{counted(row['n_seen'], 'sensor')} and {counted(row['n_tests'], 'test')} mapped"
    if row["answer"] == "not enough known":
        return (
            f"Whether these sensors wear at a common place is not known: {sensors} "
            f"({tested}), and eight are needed."
        )
    chance = f"{in_100(row['p_value'])} in 100 evenly worn fleets would show as much"
    if row["answer"] == "flat":
        return f"These sensors show no common place ({sensors}; {tested}; {chance})."
    return (
        f"These sensors wear at a common place, most between "
        f"{number(row['from_pct'], digits=0)} and {number(row['to_pct'], '% of travel', 0)}: "
        f"{number(row['ratio'], digits=1)} times as many drop-outs there as an even spread would "
        f"put ({sensors}; {tested}; {chance})."
    )


def lives_with_band(row: dict) -> str:
    """Sensor lives that count in one WEAR_GATHERED row: a cleaned sensor may count again."""
    return counted(row["n_sensors"], "sensor life", "sensor lives")


def sure_in_100(confidence: float) -> str:
    """How sure, never quite."""
    return f"{in_100(min(confidence, 0.999))} in 100"


def band(sensor: dict) -> str:
    """The worn band of one WEAR_SENSORS row in a sentence; weak evidence is said as such."""
    tests = counted(sensor["n_tests"], "test")
    sure = f"{sure_in_100(sensor['confidence'])} sure"
    place = span(sensor["from_pct"], sensor["to_pct"])
    if sensor["confidence"] < LIKELY:
        return (
            f"No worn band is shown by {tests} (one is {sure}). That is no statement that the "
            "track is sound."
        )
    stop = " It reaches a stop." if sensor["at_stop"] else ""
    more = sensor["further_bands"]
    further = f" {counted(more, 'further band')} beside it." if more else ""
    return (
        f"Worn band {place}, middle at {number(sensor['peak_pct'], '%', 0)}, likely "
        f"{number(sensor['peak_low_pct'], digits=0)} to {number(sensor['peak_high_pct'], '%', 0)} "
        f"({sure}, {tests}, the last at {km(sensor['sensor_age_km'])}).{stop}{further}"
    )


def before(confidences: list[float]) -> str:
    """How sure the tests before this one were of a band, the earliest first; few of the last."""
    if not confidences:
        return "It is the first sweep of this life, so there is none to hold it against."
    last = confidences[-EARLIER_SAID:]
    sure = [in_100(min(c, 0.999)) for c in last]
    listed = sure[0] if len(sure) == 1 else f"{', '.join(sure[:-1])} and {sure[-1]}"
    which = "the test before it" if len(last) == 1 else f"the {len(last)} tests before it"
    return f"After {which} one was {listed} in 100 sure."


def against_fleet(there: pd.DataFrame) -> str:
    """The roughest cell of a worn band against sensors that passed; WEAR_PROFILE_ROWS of it."""
    judged = there[there["roughness"].notna()]
    if judged.empty:
        return "No cell of the band holds enough samples to judge its roughness."
    worst = judged.loc[judged["roughness"].idxmax()]
    said = f"This test is up to {number(worst['roughness'], digits=1)} times its middle cell there"
    if pd.isna(worst["fleet_high"]):
        return f"{said}; too few sensors of its part passed to compare with."
    return (
        f"{said}; of {counted(int(worst['fleet_sensors']), 'sensor')} of its part that passed, "
        f"90 in 100 lie between {number(worst['fleet_low'], digits=1)} and "
        f"{number(worst['fleet_high'], digits=1)}."
    )


def sweep_was(plan: SweepPlan) -> str:
    """How sure a sweep was to show wear of a width, and how many passes would have been enough."""
    wide = number(plan.width_pct, "%", 1)
    how = (
        f"{number(plan.rate_hz, 'samples a second', 0)} and "
        f"{number(plan.speed_pct_per_s, '% of travel a second', 0)}"
    )
    made = counted(plan.made, "pass", "passes")
    whole = min(max(int(100 * plan.sure), 1), 99)  # rounded down, never to a sureness not reached
    sure = f"this test's {made} {'was' if plan.made == 1 else 'were'} {whole} % sure"
    if not plan.needed:
        return (
            f"At its {how}, no number of passes is 95 % sure to show wear {wide} wide ({sure}): "
            "log faster, or sweep slower."
        )
    needed = counted(plan.needed, "pass", "passes")
    return f"At its {how}, wear {wide} wide takes {needed} to be 95 % sure to see ({sure})."


def progress(sensor: dict) -> list[str]:
    """How a likely band moved and widened and, of a life that goes on, when its like failed."""
    if sensor["confidence"] < LIKELY:
        return []
    return [_shift(sensor), *([_failing(sensor)] if sensor["in_service"] else [])]


def _shift(sensor: dict) -> str:
    if not known(sensor["moved_pct_per_1000km"]):
        return "Whether it moves or widens is not known: two tests that show it are needed."
    moved, widened = (
        f"{_signed(sensor[middle])} % in 1,000 km, likely {_signed(sensor[f'{name}_low'])} to "
        f"{_signed(sensor[f'{name}_high'])}"
        for name, middle in (
            ("moved", "moved_pct_per_1000km"),
            ("widened", "widened_pct_per_1000km"),
        )
    )
    return f"Its middle moves by {moved}; its width grows by {widened}."


def _signed(value: float) -> str:
    words = number(value, digits=1)
    return f"+{words}" if value > 0.05 else words


def _failing(sensor: dict) -> str:
    if sensor["answer"] == "not enough known":
        return "When it reaches the level at which its like failed is not known."
    low, high = (round(sensor[f"fails_{end}_km"], -2) for end in ("low", "high"))
    if sensor["answer"] == "level reached":
        return (
            f"It has reached the level at which its like failed (at {km(sensor['sensor_age_km'])})."
        )
    return (
        f"Expected to reach the level at which its like failed at "
        f"{km(round(sensor['fails_at_km'], -2))} of its own run (likely "
        f"{km_span(low, high)})."
    )


def slowest(stretches: pd.DataFrame) -> str:
    """Where to sweep one sensor slowest, from its WEAR_STRETCHES rows."""
    if stretches.empty:
        return ""
    places = [span(row["from_pct"], row["to_pct"]) for row in stretches.to_dict("records")]
    whose = (
        "its own tests and those of its like"
        if stretches["from_own_tests"].any()
        else "tests of its like, since it has none of its own"
    )
    held = number(100 * stretches["share"].sum(), digits=0)
    return (
        f"Sweep slowest at {_listed(places)}: {held} of 100 parts of the wear are expected there, "
        f"by {whose}. Sweep the rest too."
    )


def _listed(words: list[str]) -> str:
    if len(words) == 1:
        return words[0]
    short = [w.removesuffix(" % of travel") for w in words[:-1]]
    return f"{', '.join(short)} and {words[-1]}"


def passes(row: dict) -> str:
    """How many passes one WEAR_PASSES row asks for."""
    if row["answer"] != "passes":
        return f"no number of passes is enough at {number(row['rate_hz'], 'Hz', 0)}: log faster"
    return (
        f"{counted(row['passes'], 'pass', 'passes')}, no faster than "
        f"{number(row['speed_pct_per_s'], '% of travel a second', 0)}"
    )


def passes_in_short(rows: pd.DataFrame, width_pct: float = 1.0) -> str:
    """The passes for wear 1 % wide, in a sentence; nothing where the logger is not known."""
    own = rows[rows["width_pct"].eq(width_pct)]
    if own.empty:
        return ""
    row = own.to_dict("records")[0]
    wide = number(width_pct, "%", 1)
    if row["answer"] != "passes":
        return f"To be 95 % sure to see wear {wide} wide, {passes(row)}."
    return f"To be 95 % sure to see wear {wide} wide there: {passes(row)}."


def rests_on(about: dict) -> list[str]:
    """What the map rests on, in sentences."""
    said = [
        f"The map rests on {counted(about['n_tests'], 'test')} of "
        f"{counted(about['n_seen'], 'sensor')} with {counted(about['dropout_count'], 'drop-out')}. "
        "Each cell is weighed by what the sweeps could have shown there: their passes, speed and "
        "sampling. Drop-outs that wander with a lead are left out.",
        "Parts and duties with few tests are drawn to all others, so a cell is an estimate and "
        "not a count; its range is in the table.",
        f"By these records {in_100(about['worn_share'])} in 100 sensors have a worn band.",
    ]
    if about["lift_passes"]:
        said.append(
            f"A pass over a worn spot shows it {about_in_100(about['lift_chance'])} times in 100 "
            f"(likely {in_100(about['lift_low'])} to {in_100(about['lift_high'])}), learnt from "
            f"{counted(about['lift_passes'], 'repeat pass', 'repeat passes')}."
        )
    return said


def use_answer(about: dict) -> str:
    """Dwell or sliding, as far as the logged bikes tell."""
    logged = (
        f"{counted(about['n_logged'], 'bike')} with a logged ride, {about['use_n_bikes']} of them "
        f"with drop-outs"
    )
    return f"{USES.get(about['use_answer'], about['use_answer'])} ({logged}.)"
