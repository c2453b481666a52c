"""Where a sensor's chance of a defect comes from, in shares that add up."""

from __future__ import annotations

import pandas as pd

from dashboard.markup import Html, fold, joined, table, tag
from dashboard.words import about_in_100, number

SMALLEST_SHOWN = 0.0005


def explained_chances(explained: pd.DataFrame) -> Html:
    """One fold a sensor, from EXPLANATION; empty where no chance is known."""
    folds = [
        _one(str(sensor_id), rows) for sensor_id, rows in explained.groupby("sensor_id", sort=False)
    ]
    return joined(folds)


def _one(sensor_id: str, rows: pd.DataFrame) -> Html:
    total = float(rows["change"].sum())
    shown = rows[rows["factor"].eq("middle") | (rows["change"].abs() >= SMALLEST_SHOWN)]
    columns = {"What": "words", "In 100": lambda r: _share(r["factor"], r["change"])}
    title = f"Where the chance of a defect now of sensor {sensor_id} comes from"
    caption = f"The shares add up to {about_in_100(total)} in 100."
    return fold(title, table(shown, columns, caption), tag("p", _reading(rows)))


def _share(factor: str, change: float) -> str:
    shown = number(100 * change, digits=1)
    return shown if factor == "middle" or change < 0 else f"+{shown}"


def _reading(rows: pd.DataFrame) -> str:
    moved = rows[rows["factor"].ne("middle")]
    if moved.empty or moved["change"].abs().max() < SMALLEST_SHOWN:
        return "Nothing sets it apart from the middle sensor of its part."
    most = moved.loc[moved["change"].abs().idxmax()]
    way = "raises" if most["change"] > 0 else "lowers"
    return f"What {way} it most: {most['words']}."
