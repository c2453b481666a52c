from __future__ import annotations

from types import SimpleNamespace

import pytest

from dashboard.bench.answers import FAR_KM, odometer_words


def bench(odometer_km: float | None) -> SimpleNamespace:
    return SimpleNamespace(view=SimpleNamespace(odometer_km=odometer_km))


@pytest.mark.parametrize(
    ("before", "typed", "said"),
    [
        (23_041.0, "23040", "23,040 km is less than the 23,041 km read before"),
        (23_041.0, "230410", "230,410 km is 207,369 km more than was read before"),
        (0.0, "-1", "is less than the 0 km"),
    ],
)
def test_an_odd_odometer_is_asked_about(before, typed, said):
    assert said in odometer_words(bench(before), {"odometer_km": typed})


@pytest.mark.parametrize(
    ("before", "cells"),
    [
        (23_041.0, {"odometer_km": "23041"}),
        (23_041.0, {"odometer_km": str(23_041 + FAR_KM)}),
        (None, {"odometer_km": "900000"}),
        (23_041.0, {}),
    ],
)
def test_nothing_is_said_of_a_likely_one(before, cells):
    assert odometer_words(bench(before), cells) == ""
