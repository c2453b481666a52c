"""Needs under other settings, held to those that the build hands to the stock plan."""

import numpy as np
import pytest

from models.plans.need import needs_by_part
from models.stock.needs import needs_laid_out
from pipeline.access.what_if_records import needs_ahead, needs_of
from tests.models.plans.outlooks import outlook
from tests.models.plans.test_need import work


@pytest.mark.parametrize("fits", [1, 4])
def test_they_are_the_needs_of_the_build(fits):
    view = outlook(np.linspace(0, 60_000, 8), belief=0.2, fits=fits)
    view.heard[:] *= np.linspace(0.8, 1.0, fits)[:, None]
    view.heard[[1, 5, 6]] = view.defect[[1, 5, 6]] = np.nan  # not known
    kinds = [None, "replace", "test", "replace", "test", "replace", None, None]
    planned = work(view, kinds, [np.nan, 0.0, 0.0, 20.0, 50.0, 28.0, np.nan, np.nan])
    before = view.heard.copy()
    chances, known = needs_ahead(view, planned)
    found = needs_of(view, chances, known)
    days = view.days[view.days > 0]
    parts = (need[..., view.days > 0] for _, need in needs_by_part(view, planned))
    expected = needs_laid_out(view.sensors, days, parts)
    assert np.array_equal(found.chances, expected.chances)
    assert np.array_equal(found.days, expected.days)
    for name in ("sensors", "left_out"):
        assert getattr(found, name).equals(getattr(expected, name))
    # one not known is left out, unless it is replaced
    assert np.flatnonzero(~known).tolist() == [6]
    assert np.array_equal(view.heard, before, equal_nan=True)
