"""Medians of groups, held to numpy's own one group after another."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from models.statics.medians import medians


@given(st.integers(0, 60), st.randoms(use_true_random=False), st.data())
def test_each_group_has_its_own_median(n, random, data):
    group = np.array([random.randrange(-3, 9) for _ in range(n)], dtype=np.int64)
    value = data.draw(arrays.arrays(float, n, elements=st.floats(-1e6, 1e6)))
    groups, found = medians(group, value)
    assert np.array_equal(groups, np.unique(group))
    expected = [np.median(value[group == one]) for one in groups]
    assert np.allclose(found, expected, rtol=1e-12, atol=1e-9)


def test_no_value_has_no_median():
    groups, found = medians(np.zeros(0, dtype=int), np.zeros(0))
    assert len(groups) == len(found) == 0
