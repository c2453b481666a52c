"""How the fit of the hazard learns of the season: what parts of lives weigh, and a Newton step."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.risk.expectation import Records
from models.risk.grid_parts import Season
from models.risk.lives import Rows
from models.risk.season import calendar_of_lives
from models.risk.spread import mixing

#: The longest step of the scaled coefficient.
_MOST = 2.0


def scaled_season(
    lives: pd.DataFrame, rows: Rows, km_per_day: float, season_sd: float
) -> Season | None:
    """Season of parts of rows, so scaled that its coefficient's prior is standard normal.

    None where no life is dated. ``km_per_day`` : of bikes whose own riding is not known.
    """
    calendar = calendar_of_lives(lives, km_per_day)
    if calendar is None:
        return None
    shift = rows.entry - lives["entry_km"].to_numpy()[rows.life]

    def season(row: np.ndarray, low: np.ndarray, km: np.ndarray) -> np.ndarray:
        own = low - shift[row]
        return season_sd * calendar.season(rows.life[row], own, own + km)

    return season


def season_step(records: Records, hazard: np.ndarray, weight: np.ndarray, season: float) -> float:
    """Newton step of the season's scaled coefficient, all others held; its prior is in it.

    By the information observed rather than by EM, which would be slow: a window holds its defect
    somewhere within half a year or more.
    """
    none, rows = np.zeros((len(hazard), 0)), records.rows
    score = (records.season_scores(hazard) * weight)[:, None]
    information = records.information(hazard, none, weight)
    for some in records.by_lives():
        information -= mixing(rows.life[some], rows.times[some], score[some], weight[some])
    step = (score.sum() - season) / (1.0 + max(float(information[0, 0]), 0.0))
    return float(np.clip(step, -_MOST, _MOST))
