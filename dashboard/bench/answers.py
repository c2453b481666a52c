"""What is said of a reading the moment it is typed, and of all of them before the save."""

from __future__ import annotations

import pandas as pd

from dashboard.bench.steps import COLUMNS, Step
from dashboard.bench.typed import TABLE, Bench
from dashboard.forms.fields import declared, out_of_bounds
from dashboard.markup import Html, joined, tag
from dashboard.parts.state_mark import state_mark
from dashboard.words import km

#: An odometer further on than this since the last reading is asked about (own choice).
FAR_KM = 50_000


def answers(step: Step, checks: pd.DataFrame, cells: dict[str, str]) -> Html:
    """The checks that a step's readings allow, and values that cannot be saved."""
    rows = checks[checks["check"].isin(step.checks) & checks["state"].ne("not_read")]
    said = [
        tag("p", state_mark(row), tag("span", f" {row['text']}"), class_="wa-check")
        for row in rows.sort_values("step").to_dict("records")
    ]
    wrong = [tag("p", words, class_="wa-waits") for words in cannot_stand(step, cells)]
    return tag("div", joined([*wrong, *said]), role="status")


def cannot_stand(step: Step, cells: dict[str, str]) -> list[str]:
    """Values of a step that the contract refuses."""
    found = (out_of_bounds(TABLE, name, cells.get(name)) for name, _ in step.columns)
    return [words for words in found if words]


def odometer_words(bench: Bench, cells: dict[str, str]) -> str:
    """What is odd about the odometer typed, against what is known of the bike."""
    typed, before = cells.get("odometer_km"), bench.view.odometer_km
    if typed is None or before is None:
        return ""
    if float(typed) < before:
        return (
            f"{km(float(typed))} is less than the {km(before)} read before. Read it again; if the "
            "instrument was changed, say so in the note."
        )
    if float(typed) > before + FAR_KM:
        return (
            f"{km(float(typed))} is {km(float(typed) - before)} more than was read before. Read it "
            "again: a figure too many is soon typed."
        )
    return ""


def not_read(cells: dict[str, str], kind: str | None) -> list[str]:
    """Readings left blank, by their columns."""
    units = {"V", "ohm", "%"}
    return [
        name
        for name in COLUMNS
        if declared(TABLE, name).unit in units
        and name not in cells
        and not (kind == "contactless" and name.endswith("_ohm"))
    ]
