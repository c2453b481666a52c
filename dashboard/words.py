"""Values as people read them: chances, distances, dates and the contract's words in plain English.

Every function takes a value as it stands in a view, blank included, and returns plain text. Nothing
here is markup: `dashboard.markup` escapes whatever is put on a page.
"""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from dashboard.shown_as import shown_as
from dashboard.wording.date_words import day_words
from pipeline.intake.settings.shown_settings import MILES

MILE_KM = 1.609344
NOT_KNOWN = "not known"
#: The sign for a currency that is not specified (U+00A4; CLDR's XXX).
ANY_CURRENCY = "¤"

ACTIONS = {
    "replace": "Replace",
    "test": "Test",
    "not_enough_known": "Not enough known",
    "leave": "Leave",
}
ACTION_MEANINGS = {
    "replace": "the last test speaks against the sensor, or a planned replacement costs least",
    "test": "test it on the bench before anything else",
    "not_enough_known": "too little is on record to say more",
    "leave": "nothing on record calls for work now; that is no statement that the bike is safe",
}
CONCLUSIONS = {
    "dropouts_seen": "Drop-outs seen",
    "rough": "Rough",
    "nothing_seen": "Nothing seen",
    "cannot_tell": "Cannot tell",
}
NATURES = {
    "worn_track": "at the same travel again and again, as a worn track does",
    "wandering": "wandering over the travel, as a plug or a lead does more often than a worn track",
    "undecided": "too few or too uneven to tell a worn track from a lead",
}
VERDICTS = {"pass": "Pass", "suspect": "Suspect", "fail": "Fail"}
MOUNTS = {
    "throttle": "throttle",
    "throttle_left": "left throttle",
    "throttle_right": "right throttle",
    "grip_a": "grip, sensor A",
    "grip_b": "grip, sensor B",
}
REPAIRS = {
    "sensor_replaced": "sensor replaced",
    "sensor_cleaned": "sensor cleaned",
    "connector_repaired": "connector repaired",
    "wiring_repaired": "wiring repaired",
    "other_repair": "other repair",
    "no_fault_found": "no fault found",
}
CONFIRMED_BY = {
    "swap_cured": "a swap cured it",
    "bench_retest": "a second bench test",
    "opened": "the sensor was opened",
    "verdict_only": "the verdict alone",
}
ORIGINS = {
    "fitted_here": "fitted here",
    "original": "on the bike since new",
    "unknown": "origin not known",
}
READINGS = {
    "supply_v": "supply to battery negative",
    "supply_to_ground_v": "supply to the plug's ground pin",
    "track_ohm": "track resistance",
    "closed_ohm": "resistance, closed",
    "open_ohm": "resistance, open",
    "closed_v": "signal, closed",
    "open_v": "signal, open",
    "closed_pct": "control unit's figure, closed",
    "open_pct": "control unit's figure, open",
    "closed_ratio": "signal over supply, closed",
    "open_ratio": "signal over supply, open",
    "closed_ohm_ratio": "resistance over track, closed",
    "open_ohm_ratio": "resistance over track, open",
    "supply": "supply",
    "ground": "ground difference",
    "connector_corrosion": "connector corrosion",
    "wiggle_test": "wiggle test of plug and lead",
    "fault_codes": "fault codes",
    "track_resistance": "track resistance",
}
STATES = {
    "in_band": "in range",
    "out_of_band": "out of range",
    "no_band": "not judged",
    "not_read": "not read",
}
# The same for checks answered in words, which have no range.
WORDED_STATES = {
    "in_band": "no fault seen",
    "out_of_band": "points to a fault",
    "no_band": "not judged",
    "not_read": "not looked at",
}
SOURCES = {
    "maker": "maker's limits",
    "learned": "learned from good sensors",
    "common_practice": "common practice, no source",
}
CHANNEL_UNITS = {"volt": "V", "ohm": "ohm", "percent": "%"}


def known(value: object) -> bool:
    """Whether a cell holds anything: a blank and an empty text do not."""
    return value is not None and not pd.isna(value) and value != ""


def plain(value: object, words: dict[str, str] | None = None, blank: str = NOT_KNOWN) -> str:
    """A coded word as people say it; a word not listed is shown with its underscores opened."""
    if not known(value):
        return blank
    text = str(value)
    return (words or {}).get(text, text.replace("_", " "))


def counted(number: int, one: str, many: str | None = None) -> str:
    """A whole number with its noun: ``1 test``, ``1,204 tests``."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def lines(text: object) -> list[str]:
    """The lines of a cell, stripped, the empty ones left out."""
    return [line.strip() for line in str(text).splitlines() if line.strip()] if known(text) else []


def distance_unit() -> str:
    """The unit that distances are shown in: ``km`` or ``miles``."""
    return shown_as().distances


def in_shown_unit(km_run: Any) -> Any:
    """A distance in km, or a column of them, in the unit that distances are shown in."""
    return km_run / MILE_KM if distance_unit() == MILES else km_run


def km(value: object, blank: str = NOT_KNOWN) -> str:
    """A distance kept in km, whole, in the unit that distances are shown in."""
    if not known(value):
        return blank
    whole = f"{in_shown_unit(value):,.0f}"
    return f"{whole} {'mile' if whole == '1' and distance_unit() == MILES else distance_unit()}"


def km_span(low: object, high: object) -> str:
    """From one distance to another: ``12,000 to 14,000 km``."""
    return f"{km(low).rsplit(' ', 1)[0]} to {km(high)}" if known(low) else f"up to {km(high)}"


def km_a_day(value: object, blank: str = NOT_KNOWN) -> str:
    """A rate kept in km a day, in the unit that distances are shown in: ``34 km a day``."""
    if not known(value):
        return blank
    return number(in_shown_unit(value), f"{distance_unit()} a day", 0)


def number(value: object, unit: str = "", digits: int = 2, blank: str = NOT_KNOWN) -> str:
    """A number with its unit, trailing zeros dropped."""
    if not known(value):
        return blank
    shown = f"{value:,.{digits}f}"
    shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
    shown = "0" if shown == "-0" else shown.replace("-", "\u2212")
    return f"{shown} {unit}" if unit else shown


def money(amount: float, currency: str = "") -> str:
    """An amount in whole units of the shop's currency."""
    return in_currency(f"{amount:,.0f}", currency)


def in_currency(amount: str, currency: str = "") -> str:
    """An amount and its unit; a currency nobody has named goes by the sign that stands for any."""
    return f"{amount} {currency or ANY_CURRENCY}"


def figures(value: object, unit: str = "", blank: str = NOT_KNOWN) -> str:
    """A reading to what a workshop meter shows: ``4,623 ohm``, ``0.826``, ``4.97 V``, ``0.3 %``."""
    small_ohms = 1 if known(value) and abs(value) < 100 else 0
    digits = {"V": 2, "ohm": small_ohms, "%": 1}.get(unit, 3)
    return number(value, unit, digits, blank)


def good_range(row: dict, blank: str = NOT_KNOWN) -> str:
    """The limits of a reading (``low``, ``high``, ``unit``), either of which may be missing."""
    unit = row["unit"] if known(row["unit"]) else ""
    low, high = (figures(row[end], unit, blank="") for end in ("low", "high"))
    if low and high:
        return f"{low.removesuffix(unit).strip()} to {high}"
    return (low and f"from {low}") or (high and f"up to {high}") or blank


def travel(value: object, blank: str = NOT_KNOWN) -> str:
    """A place on the travel, from the closed stop (0 %) to the open stop (100 %)."""
    return f"{value:.0f} % of travel" if known(value) else blank


def dropouts_near(count: int, place_pct: object) -> str:
    """Where drop-outs stand closest together; ``, densest near 23 % of travel``, blank if unknown.

    The place is that about which most lie within 1 %, which may be fewer than half of them.
    """
    if not known(place_pct):
        return ""
    return f", {'near' if count == 1 else 'densest near'} {travel(place_pct)}"


def milliseconds(value: object, blank: str = NOT_KNOWN) -> str:
    """A short time, to two figures or the whole millisecond."""
    if not known(value):
        return blank
    if value < 1:  # as recordings at the rates of sound show them
        return f"{value:.2g} ms"
    return f"{value:.1f} ms" if value < 10 else f"{value:,.0f} ms"


def day(value: object, blank: str = NOT_KNOWN) -> str:
    """A day in a form that is read the same everywhere, year-month-day unless set otherwise."""
    return day_words(pd.Timestamp(value)) if known(value) else blank


def moment(value: object, blank: str = NOT_KNOWN) -> str:
    """A time, its own offset kept unless a zone is set: ``2026-03-14, 09:20 (UTC+01:00)``."""
    if not known(value):
        return blank
    at = pd.Timestamp(value)
    if at.tzinfo is None:
        return f"{day_words(at)}, {at:%H:%M}"
    zone = shown_as().time_zone
    at = at.tz_convert(ZoneInfo(zone)) if zone else at
    offset = f"{at:%z}"
    return f"{day_words(at)}, {at:%H:%M} (UTC{offset[:3]}:{offset[3:5]})"


def about_in_100(chance: float) -> str:
    """As ``in_100`` with *about* before it, save where it already says that it is less."""
    words = in_100(chance)
    return words if words.startswith(("less", "more")) else f"about {words}"


def in_100(chance: float) -> str:
    """A chance as a number out of 100, never rounded to none or to all."""
    if chance <= 0.005:
        return "less than 1"
    return "more than 99" if 0.995 <= chance < 1 else f"{100 * chance:.0f}"


def chance(value: object, low: object = None, high: object = None) -> str:
    """``about 4 in 100, likely 2 to 7``: a chance with the range it likely lies in (90 %)."""
    if not known(value):
        return NOT_KNOWN
    return f"{about_in_100(value)} in 100{_likely(low, high)}"


def _likely(low: object, high: object) -> str:
    if not (known(low) and known(high)):
        return ""
    least, most = in_100(low), in_100(high)
    if least == most:
        return "" if most.startswith(("less", "more")) else f", likely {most}"
    return f", likely up to {most}" if least.startswith("less") else f", likely {least} to {most}"


def repair_counts_as(event: object) -> str:
    """What a closed repair counts as. The two events are kept apart wherever they are shown."""
    return {
        "defect": "defect: the sensor itself proved faulty",
        "road_failure": "road failure: a defect of the sensor let the rider down",
    }.get(
        str(event) if known(event) else "", "neither: no fault of the sensor itself was confirmed"
    )


def life(row: dict) -> str:
    """When a sensor was on the bike, and from and to which odometer."""
    start = f"{day(row['from_on'])} at {km(row['from_km'])}"
    if row["in_service"]:
        return f"since {start}"
    end = f"{day(row['to_on'])} at {km(row['to_km'])}"
    assumed = " (end taken from the next sensor's fitting)" if row["end_assumed"] else ""
    return f"{start} to {end}{assumed}"
