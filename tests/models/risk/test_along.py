import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.risk.along import cumulative_along
from models.risk.stretches import Stretches


def common(age_km):
    """Two draws of a cumulative hazard: age squared, and twice that."""
    return np.stack([age_km**2, 2 * age_km**2])


def test_each_stretch_multiplies_the_common_hazard_from_its_start():
    cut = Stretches(np.array([0, 0, 1]), np.array([-np.inf, 3.0, -np.inf]), np.zeros((3, 0)))
    log_ratio = np.log([[1.0, 2.0, 0.5], [1.0, 3.0, 1.0]])
    age = np.array([[2.0, 5.0], [2.0, 5.0]])[:, :, None]
    got = cumulative_along(common, age, 0.0, cut, log_ratio)[..., 0]
    assert got[0] == pytest.approx(np.array([[4, 9 + 2 * 16], [2, 12.5]]))
    assert got[1] == pytest.approx(np.array([[8, 18 + 3 * 32], [8, 50]]))


def test_a_shift_moves_the_stretches_with_the_age():
    cut = Stretches(np.array([0, 0]), np.array([-np.inf, 3.0]), np.zeros((2, 0)))
    log_ratio = np.log([[1.0, 2.0], [1.0, 2.0]])
    shift = np.array([0.0, 10.0])
    got = cumulative_along(common, np.array([[[5.0, 15.0]]]), shift, cut, log_ratio)
    assert got[0, 0, 0] == pytest.approx([9 + 2 * 16, 169 + 2 * (225 - 169)])


@given(
    st.lists(st.floats(0.1, 50), max_size=6, unique=True),
    st.lists(st.floats(0, 60), min_size=2, max_size=8),
    st.floats(-1, 1),
)
def test_the_cumulative_hazard_never_falls_and_equal_ratios_scale_it(starts, ages, log_ratio):
    start = np.array([-np.inf, *sorted(starts)])
    cut = Stretches(np.zeros(len(start), int), start, np.zeros((len(start), 0)))
    age = np.sort(ages)[None, :, None]
    rng = np.random.default_rng(1)
    uneven = cumulative_along(common, age, 0.0, cut, rng.normal(size=(2, len(start))))
    assert (np.diff(uneven[:, 0, :, 0], axis=1) >= -1e-9).all()
    even = cumulative_along(common, age, 0.0, cut, np.full((2, len(start)), log_ratio))
    assert even[:, 0, :, 0] == pytest.approx(np.exp(log_ratio) * common(age)[:, 0, :, 0])
