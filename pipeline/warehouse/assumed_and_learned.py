"""What the risk model assumed before any record, beside what the records have made of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import beta, gamma

from models.risk.assumed import (
    DELAY_RATE,
    FEWEST_ROAD_FAILURES,
    SEASON_SD,
    SIGN_PRIORS,
    TEST_SENSITIVITY,
    BetaPrior,
)
from models.risk.hazard import DefectHazard
from models.risk.score import RiskResults

_TAIL = 0.05
_NORMAL_95 = 1.6448536269514722


def assumed_and_learned(results: RiskResults, followed_up: pd.DataFrame) -> pd.DataFrame:
    """Each quantity with its middle and its 90 % range, before and after the records.

    Parameters
    ----------
    results : RiskResults
        The fitted model, its settings and summary.
    followed_up : frame of shape (signs, ...)
        Columns of ``FOLLOWED_UP``.

    Returns
    -------
    frame of one row a quantity: ``quantity`` (sensitivity, a sign, delay or season), ``unit``,
    ``assumed``, ``assumed_low``, ``assumed_high``, ``learned``, ``learned_low``,
    ``learned_high`` and ``rests_on`` in words.
    """
    counts = followed_up.set_index("sign")
    believed = results.settings["sensitivity"]
    moved = believed != TEST_SENSITIVITY
    rows = [
        _row(
            "sensitivity",
            "share",
            _of_share(TEST_SENSITIVITY),
            _of_share(believed),
            "what came to light soon after tests" if moved else "nothing: it stays assumed",
        )
    ]
    for sign, share in results.settings["shares"].items():
        n = int(counts["followed_up"].get(sign, 0))
        yes = int(counts["confirmed"].get(sign, 0))
        rests = f"{yes:,} of {n:,} such tests followed up" if n else "nothing: it stays assumed"
        rows.append(_row(sign, "share", _of_share(SIGN_PRIORS[sign]), _of_share(share), rests))
    rows.append(_delay(results.summary.get("delay")))
    return pd.DataFrame([*rows, *_season(results.model)])


def _row(quantity: str, unit: str, assumed: Any, learned: Any, rests_on: str) -> dict[str, Any]:
    ends = ("", "_low", "_high")
    return {
        "quantity": quantity,
        "unit": unit,
        **{f"assumed{end}": value for end, value in zip(ends, assumed, strict=True)},
        **{f"learned{end}": value for end, value in zip(ends, learned, strict=True)},
        "rests_on": rests_on,
    }


def _of_share(share: BetaPrior) -> tuple[float, float, float]:
    spread = beta(share.hits, share.misses)
    return share.mean, float(spread.ppf(_TAIL)), float(spread.ppf(1 - _TAIL))


def _delay(found: dict[str, Any] | None) -> dict[str, Any]:
    """Mean km until a defect is heard of; a slow rate is a long delay."""
    rate = gamma(DELAY_RATE.events, scale=1 / DELAY_RATE.km)
    assumed = 1 / DELAY_RATE.mean, 1 / rate.ppf(1 - _TAIL), 1 / rate.ppf(_TAIL)
    if not found:
        return _row("delay", "km", assumed, assumed, "nothing: it stays assumed")
    road = int(found["n_road_failures"])
    if not found["learned"]:
        rests = f"nothing: {road} road failures are fewer than {FEWEST_ROAD_FAILURES}"
        return _row("delay", "km", assumed, assumed, rests)
    spread = np.exp(_NORMAL_95 * found["log_sd"])
    learned = found["mean_km"], found["mean_km"] / spread, found["mean_km"] * spread
    return _row("delay", "km", assumed, learned, f"{road} road failures among the defects heard of")


def _season(model: DefectHazard | None) -> Iterator[dict[str, Any]]:
    """Defects a km in mid January as a multiple of those in mid July, where lives are dated."""
    if model is None or not model.n_season_:
        return
    spread = model.season_sd * float(np.sqrt(model.covariance_[-1, -1]))
    assumed = _january_over_july(0.0, SEASON_SD)
    learned = _january_over_july(model.season_sd * float(model.coef_[-1]), spread)
    rests = f"{model.n_defects_:,} defects by the days that their km were run on"
    yield _row("season", "times", assumed, learned, rests)


def _january_over_july(coef: float, sd: float) -> tuple[float, float, float]:
    """From January to July the cosine falls by 2."""
    low, high = coef - _NORMAL_95 * sd, coef + _NORMAL_95 * sd
    return float(np.exp(2 * coef)), float(np.exp(2 * low)), float(np.exp(2 * high))
