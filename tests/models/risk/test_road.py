from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from models.risk.road import road_failure_share
from tests.models.risk.published_lives import lives


def windows(defects: int, on_road: int, sound: int = 3):
    bad = np.array([20.0] * defects + [np.nan] * sound)
    frame = lives(0.0, np.full(len(bad), 10.0), bad)
    frame["road_failure"] = [True] * on_road + [False] * (len(bad) - on_road)
    return frame


@pytest.mark.parametrize(("defects", "on_road"), [(20, 5), (10, 1), (7, 6), (200, 31)])
def test_jeffreys_interval_is_that_of_statsmodels(defects, on_road):
    share = road_failure_share(windows(defects, on_road))
    reference = proportion_confint(on_road, defects, alpha=0.1, method="jeffreys")
    assert (share.share_low, share.share_high) == pytest.approx(reference)


def test_none_and_all_reach_the_ends():
    assert road_failure_share(windows(4, 0)).share_low == 0.0
    assert road_failure_share(windows(4, 4)).share_high == 1.0


def test_without_a_defect_the_share_is_blank():
    share = road_failure_share(windows(0, 0))
    assert (share.n_defects, share.share, share.share_low) == (0, None, None)


def test_sound_sensors_do_not_dilute_the_share():
    assert road_failure_share(windows(8, 2, sound=500)).share == 0.25
