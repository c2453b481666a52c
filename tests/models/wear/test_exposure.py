import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.wear.exposure import bin_middles, exposure, shown_share


def test_a_fine_clock_shows_all_and_a_coarse_one_few():
    assert shown_share(1.0) == 1.0
    # (mean length) / interval: (30 - 1) / ln 30 = 8.526 ms
    assert shown_share(200.0) == pytest.approx(8.526 / 200.0, rel=1e-3)


def test_share_is_the_mean_over_simulated_lengths():
    rng = np.random.default_rng(1)
    length = np.exp(rng.uniform(0.0, np.log(30.0), 400_000))
    for interval in (2.0, 5.0, 20.0):
        assert shown_share(interval) == pytest.approx(
            np.minimum(1.0, length / interval).mean(), abs=2e-3
        )


@given(st.floats(0.1, 500.0), st.floats(1.0, 300.0))
def test_slower_never_shows_less(interval, speed):
    assert 0.0 < shown_share(interval, speed) <= shown_share(interval, speed / 2.0) <= 1.0


def test_what_was_not_swept_has_no_exposure():
    seen = exposure(np.array([0.0, 4.0, 4.0, np.nan]), np.array([5.0, 5.0, np.nan, 5.0]))
    assert seen[[0, 2, 3]].tolist() == [0.0, 0.0, 0.0]
    assert seen[1] == pytest.approx(4.0 * shown_share(5.0))


def test_bins_lie_in_the_middle_of_two_per_cent():
    assert bin_middles()[[0, 25, 49]].tolist() == [1.0, 51.0, 99.0]
