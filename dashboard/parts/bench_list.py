"""Bench tests as a table, each linked to its own page."""

from __future__ import annotations

import pandas as pd

from dashboard.markup import Html, folded_table, identifier, to_session
from dashboard.words import (
    CONCLUSIONS,
    NATURES,
    VERDICTS,
    day,
    dropouts_near,
    km,
    known,
    number,
    plain,
)

TESTS_SHOWN = 4


def bench_list(tests: pd.DataFrame, caption: str) -> Html:
    """BIKE_TESTS, the latest first; all but a few are folded away."""
    columns = {
        "Tested on": lambda r: to_session(r["session_id"], day(r["tested_on"])),
        "Odometer": lambda r: km(r["odometer_km"]),
        "Sensor": lambda r: identifier(r["sensor_id"]),
        "Why tested": _why,
        "Technician's verdict": lambda r: plain(r["verdict"], VERDICTS, "none recorded"),
        "Sweep": sweep_words,
        "Smoothness": lambda r: number(r["smoothness_pct"], "% of applied"),
        "Codes": lambda r: plain(r["fault_codes"], {}, "not recorded"),
    }
    rows = tests.sort_values(["tested_on", "session_id"], ascending=False)
    return folded_table(rows, columns, caption, shown=TESTS_SHOWN, rest="earlier tests")


def sweep_words(row: dict) -> str:
    """What the sweep showed, in a few words."""
    if not known(row["conclusion"]):
        return "no sweep"
    words = [plain(row["conclusion"], CONCLUSIONS)]
    if known(row["dropout_count"]) and row["dropout_count"] > 0:
        count = int(row["dropout_count"])
        words.append(f"{count}{dropouts_near(count, row['dropout_peak_travel_pct'])}")
    nature = plain(row["fault_nature"], NATURES, "")
    if nature and row["fault_nature"] != "none":
        words.append(nature)
    return "; ".join(words)


def _why(row: dict) -> str:
    why = plain(row["reason"], blank="not recorded")
    return f"{why}: {row['symptom']}" if known(row["symptom"]) else why
