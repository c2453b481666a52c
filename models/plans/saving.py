"""What following the advice is expected to cost, beside planning nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.frames import Column, FrameSchema

EXPECTED_COST = FrameSchema(
    "expected_cost",
    "one fit of the parameters: cost over the horizon of all sensors whose chances are known, of "
    "fits drawn as those that were followed tell",
    (
        Column("draw", "whole", "0 the estimate, 1 and on fits drawn"),
        Column("following", "number", "if what is advised now is done", "money"),
        Column("doing_nothing", "number", "if no work is planned within the horizon", "money"),
        Column("sensor_count", "whole", "sensors whose chances are known"),
    ),
)


def cost_of_advice(costs: pd.DataFrame, action: pd.Series) -> pd.Series:
    """Expected cost over the horizon of each sensor's advice, later work at its best time.

    Parameters
    ----------
    costs : frame of shape (n, ...)
        CHEAPEST.
    action : series, indexed by sensor
        What is advised. A sensor that too little is known of is tested.

    Returns
    -------
    series indexed by sensor, blank where a sensor's chances are not known
    """
    table = costs.set_index("sensor_id")
    done = action.reindex(table.index)
    later = table[["test_later", "replace_later", "leave"]].min(axis=1)
    cost = np.select(
        [done.eq("replace"), done.isin(["test", "not_enough_known"])],
        [table["replace_now"], table["test_now"]],
        later,
    )
    return pd.Series(cost, index=table.index)


def expected_cost(costs: pd.DataFrame, action: pd.Series, draw: int) -> dict[str, float]:
    """One row of ``EXPECTED_COST``; parameters as of ``cost_of_advice``."""
    advised, nothing = known_costs(costs, action)
    return cost_row(draw, float(advised.sum()), float(nothing.sum()), len(advised))


def known_costs(costs: pd.DataFrame, action: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Cost of the advice, and of no work, of each sensor whose chances are known; in their order.

    Parameters as of ``cost_of_advice``.
    """
    known = costs[costs["cheapest"].notna()]
    return cost_of_advice(known, action).to_numpy(), known["leave"].to_numpy(float)


def cost_row(draw: int, following: float, doing_nothing: float, count: int) -> dict[str, float]:
    """One row of ``EXPECTED_COST``."""
    return {
        "draw": draw,
        "following": following,
        "doing_nothing": doing_nothing,
        "sensor_count": count,
    }
