"""What each event costs the shop, from the settings and each part's price."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.plans.settings import PlanSettings


class Prices(NamedTuple):
    """What each event costs, arrays of shape (n,) in the shop's currency.

    ``test`` a planned test; ``replace`` a planned replacement; ``found`` replacing after a test
    found a defect, beside the test; ``false_alarm`` the same where the sensor was sound; ``heard``
    a defect heard of, the replacement included; ``usual_per_km`` a new sensor's cost per km in the
    long run.
    """

    test: np.ndarray
    replace: np.ndarray
    found: np.ndarray
    false_alarm: np.ndarray
    heard: np.ndarray
    usual_per_km: np.ndarray

    def take(self, members: slice | np.ndarray) -> Prices:
        """Those of some sensors."""
        return Prices(*(np.asarray(price)[members] for price in self))


def prices_of(
    part_cost: np.ndarray,
    road_share: float,
    settings: PlanSettings,
    usual_per_km: np.ndarray | float = 0.0,
) -> Prices:
    """The prices of sensors whose parts cost so much.

    A defect found by a test is mended in the same visit; one that is heard of costs a bay visit
    without notice, the days off the road and, with the chance ``road_share``, the recovery.

    Parameters
    ----------
    part_cost : array of shape (n,)
        Price of a new part; blank where not known, which takes the assumed one.
    road_share : float
        Share of road failures among the defects heard of.
    settings : PlanSettings
        Costs and times.
    usual_per_km : array of shape (n,) or float
        A new sensor's cost per km in the long run.
    """
    part = np.where(np.isnan(part_cost), settings.part_cost_if_unknown, part_cost)
    labour = settings.labour_cost_per_hour
    fitted = part + labour * settings.replace_hours
    days = road_share * settings.road_failure_days + (1 - road_share) * settings.complaint_days
    word = labour * settings.complaint_hours + settings.day_off_road_cost * days
    flat = np.ones_like(part)
    return Prices(
        test=flat * (settings.call_in_cost + labour * settings.test_hours),
        replace=fitted + settings.call_in_cost,
        found=fitted,
        false_alarm=fitted + settings.needless_replacement_cost,
        heard=fitted + word + road_share * settings.road_failure_cost,
        usual_per_km=flat * usual_per_km,
    )
