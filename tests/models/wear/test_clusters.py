import numpy as np
import pytest

from models.wear.clusters import count_effect, summed
from models.wear.totals import Totals, gamma_effect


def test_independent_drop_outs_have_no_design_effect():
    own = np.random.default_rng(0).poisson(0.02, (4000, 50)).astype(float)
    assert count_effect(own).max() < 1.3


def test_lumps_of_ten_count_as_one_sight():
    rng = np.random.default_rng(1)
    own = np.zeros((400, 50))
    own[np.arange(400), rng.integers(0, 50, 400)] = 10.0
    assert count_effect(own) == pytest.approx(np.full(50, 10.0), rel=0.02)


def test_the_effect_is_read_near_by():
    own = np.zeros((200, 50))
    own[np.arange(100), 5] = 20.0
    own[np.arange(100, 200), 45] = 1.0
    effect = count_effect(own)
    assert effect[5] > 15.0
    assert effect[45] < 2.0


def test_what_is_met_on_either_side_counts():
    """By hand: 2 and 3 drop-outs side by side meet 2 x 5 + 3 x 5 in 5 drop-outs, so 5 about one."""
    own = np.zeros((1, 50))
    own[0, 20:22] = 2.0, 3.0
    effect = count_effect(np.vstack([own] * 500))
    assert effect[20:22] == pytest.approx(np.full(2, 5.0), rel=0.01)


def test_roughness_that_comes_back_widens():
    rng = np.random.default_rng(2)
    sensor = np.repeat(np.arange(100), 4)
    fresh = rng.gamma(25.0, 1 / 25.0, (400, 50))
    again = np.repeat(rng.gamma(25.0, 1 / 25.0, (100, 50)), 4, axis=0)
    for rough, effect in ((fresh, 0.04), (again, 0.16)):
        shown = Totals(rough, None, sensor)
        assert gamma_effect(shown, *shown.by_sensor()) == pytest.approx(effect, rel=0.1)


def test_rows_are_summed_by_group():
    assert summed(np.eye(3), np.array([1, 1, 0]), 2).tolist() == [[0, 0, 1], [1, 1, 0]]
