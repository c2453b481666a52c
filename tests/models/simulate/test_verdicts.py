"""Verdicts: a young defect is doubted, an old one condemned, a sound sensor mostly passed."""

from collections import Counter

import numpy as np
import pytest

from models.simulate.verdicts import FAIL_AT_LAST, FALSE_FAIL, SEEN_AT_LAST, SEEN_AT_ONCE, judge
from models.simulate.wear import Spell


def _shares(odometer_km, n=4000):
    spell = Spell(0, 0, 0.0, 20_000.0, 26_000.0, 24_000.0, 20.0, 3.0, (0.0,), 1.0, False)
    rng = np.random.default_rng(1)
    count = Counter(judge(rng, spell, odometer_km, "volt", False) for _ in range(n))
    return {verdict: count[verdict] / n for verdict in ("pass", "suspect", "fail")}


def test_a_young_defect_is_called_suspect_as_often_as_failed_an_old_one_is_failed():
    young, old = _shares(20_000.0), _shares(45_000.0)
    assert young["fail"] + young["suspect"] == pytest.approx(SEEN_AT_ONCE, abs=0.02)
    assert young["suspect"] > 0.35
    assert old["fail"] == pytest.approx(SEEN_AT_LAST * FAIL_AT_LAST, abs=0.02)


def test_failures_grow_with_the_distance_since_the_defect():
    fails = [_shares(km)["fail"] for km in (20_000.0, 22_000.0, 26_000.0, 40_000.0)]
    assert fails == sorted(fails)
    assert fails[-1] > fails[0] + 0.4


def test_a_sound_sensor_is_hardly_ever_failed():
    assert _shares(5_000.0)["fail"] == pytest.approx(FALSE_FAIL, abs=0.005)
