import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.sweeps.decimate import decimate_minmax


def test_a_one_sample_dip_stays_on_the_picture():
    t = np.arange(100_000) / 200.0
    y = np.sin(t)
    y[54_321] = -9.0
    kept = decimate_minmax(t, y, 500)
    assert 54_321 in kept
    assert kept.size <= 502


def test_few_samples_are_all_kept():
    assert decimate_minmax(np.arange(5.0), np.ones(5), 10).tolist() == [0, 1, 2, 3, 4]


def test_unreadable_samples_are_never_drawn():
    y = np.array([1.0, np.nan, np.inf, 4.0, 5.0])
    assert decimate_minmax(np.arange(5.0), y, 4).tolist() == [0, 3, 4]


def test_lengths_must_agree():
    with pytest.raises(ValueError, match="alike"):
        decimate_minmax(np.arange(3.0), np.arange(4.0), 10)
    with pytest.raises(ValueError, match="at least 4"):
        decimate_minmax(np.arange(3.0), np.arange(3.0), 3)


@given(
    st.lists(st.floats(-1e6, 1e6, width=32), min_size=1, max_size=300),
    st.integers(min_value=4, max_value=50),
)
@settings(max_examples=60)
def test_each_buckets_extremes_survive(values, n_points):
    y = np.array(values)
    kept = decimate_minmax(np.arange(y.size, dtype=float), y, n_points)
    assert np.all(np.diff(kept) > 0)
    assert kept[0] == 0
    assert kept[-1] == y.size - 1
    assert y[kept].min() == y.min()
    assert y[kept].max() == y.max()
