"""What may lie ahead of a bike's sensors: a defect, and a road failure, by km and by date."""

from __future__ import annotations

import pandas as pd

from dashboard.markup import Html, joined, table, tag
from dashboard.words import (
    chance,
    counted,
    day,
    in_shown_unit,
    km,
    km_a_day,
    km_span,
    known,
    number,
)

_IF_LEFT = (
    "As if nobody tested or repaired the sensor before. A defect is the sensor itself at fault; a "
    "road failure is a defect that lets the rider down."
)


def lies_ahead(ahead: pd.DataFrame, bike: dict) -> Html:
    """One table a sensor from RISK_AHEAD, after a sentence on the bike's km a day (BIKE)."""
    columns = {
        "Within": _within,
        "A defect": lambda r: chance(r["defect"], r["defect_low"], r["defect_high"]),
        "A road failure": lambda r: chance(r["road"], r["road_low"], r["road_high"]),
    }
    tables = [
        table(rows, columns, f"Sensor {sensor_id}, by distance and by date.")
        for sensor_id, rows in ahead.groupby("sensor_id", sort=False)
    ]
    said = [tag("p", sentence) for sentence in (_IF_LEFT, riding_in_words(bike))]
    if known(bike["odometer_stale"]) and bike["odometer_stale"]:
        said.append(tag("p", stale_in_words(bike), class_="wa-waits"))
    return joined([*said, *tables])


def riding_in_words(bike: dict) -> str:
    """How dates follow from km: the bike's km a day with their range."""
    if not known(bike["ahead_km_per_day"]):
        return "The bike's odometer was never read, so dates rest on how bikes are ridden in all."
    low, high = bike["ahead_km_per_day_low"], bike["ahead_km_per_day_high"]
    return (
        f"Dates are worked out at about {km_a_day(bike['ahead_km_per_day'])}, "
        f"likely {_figure(low)} to {_figure(high)}."
    )


def _figure(km_per_day: float) -> str:
    return number(in_shown_unit(km_per_day), digits=0)


def stale_in_words(bike: dict) -> str:
    """That the odometer was not read for long, since when, and how much may have been run."""
    if not known(bike["odometer_read_on"]):
        return "The odometer was never read: age, km and dates are a guess."
    days = counted(int(bike["days_since_reading"]), "day")
    low, high = (_hundred(bike[f"km_since_reading_{end}"]) for end in ("low", "high"))
    return (
        f"The odometer was last read on {day(bike['odometer_read_on'])}, {days} ago. Since then "
        f"the bike has run likely {km_span(low, high)}, so that km and dates are a "
        "guess: read it."
    )


def _within(row: dict) -> str:
    if row["horizon_kind"] == "km":
        return km(row["horizon"])
    run = f" (about {km(_hundred(row['km']))})" if known(row["km"]) else ""
    return f"{row['horizon']:.0f} days{run}"


def _hundred(value: float) -> float:
    """To the hundred km: a forecast of riding is no nearer than that."""
    return round(value / 100) * 100
