"""Channels with times of their own are laid beside the signal, and no value is made up."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.loggers.recording import LogError
from pipeline.intake.loggers.side_by_side import beside, sweep_frame


def test_the_same_times_are_the_same_rows():
    t = np.array([1.0, 2.0, 3.0])
    frame, said = sweep_frame({"signal": (t, t * 10), "signal_b": (t, t * 20)})
    assert frame["t_s"].tolist() == [0.0, 1.0, 2.0]
    assert frame["signal_b"].tolist() == [20.0, 40.0, 60.0]
    assert said == ()


def test_a_slower_channel_stands_at_its_nearest_samples_alone():
    t = np.arange(10) / 10
    values, shift_s, left = beside(t, np.array([0.02, 0.5]), np.array([7.0, 8.0]))
    assert np.flatnonzero(np.isfinite(values)).tolist() == [0, 5]
    assert shift_s == pytest.approx(0.02)
    assert left == 0


def test_of_several_at_one_sample_the_nearest_stands_and_what_is_far_off_is_left_out():
    t = np.array([0.0, 1.0, 2.0])
    values, _, left = beside(t, np.array([0.9, 1.05, 1.2, 9.0]), np.array([1.0, 2.0, 3.0, 4.0]))
    assert values[1] == 2.0
    assert left == 3


def test_a_signal_without_samples_is_refused():
    with pytest.raises(LogError, match="no sample"):
        sweep_frame({"signal": (np.array([]), np.array([]))})


_TIMES = st.lists(st.floats(0, 100), min_size=2, max_size=30)


@given(_TIMES, _TIMES)
def test_each_value_stands_once_or_is_counted_as_left_out(t, others):
    other = np.arange(len(others), dtype=float)
    values, _, left = beside(np.array(t), np.array(others), other)
    placed = values[np.isfinite(values)]
    assert len(np.unique(placed)) == len(placed) == len(others) - left
