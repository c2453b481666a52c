"""Fitted models kept between builds: used where nothing changed, refused and fitted anew otherwise."""

import numpy as np
import pytest

from models.risk.assumed import TEST_SENSITIVITY
from models.risk.schemas import (
    CONTACT_GAPS,
    FOLLOWED_UP,
    LIFE_WINDOWS,
    SENSORS_NOW,
    WEAR_READINGS,
)
from pipeline.warehouse.fitted import fitted_risk
from pipeline.warehouse.lives import RiskFrames
from tests.models.risk.wearing_fleet import simulate_wearing_fleet


@pytest.fixture(scope="module")
def frames():
    fleet = simulate_wearing_fleet(120, 5)
    return RiskFrames(
        LIFE_WINDOWS.check(fleet.windows),
        SENSORS_NOW.check(fleet.sensors_now),
        FOLLOWED_UP.empty(),
        CONTACT_GAPS.check(fleet.contact_gaps),
        WEAR_READINGS.check(fleet.wear_readings),
    )


@pytest.fixture(scope="module")
def kept(frames, tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept")
    return folder, fitted_risk(folder, frames, TEST_SENSITIVITY, print)


def fits(monkeypatch):
    """Counts the fits from here on."""
    import pipeline.warehouse.fitted as module

    real, calls = module.fit_risk, []

    def counted(**records):
        calls.append(records)
        return real(**records)

    monkeypatch.setattr(module, "fit_risk", counted)
    return calls


def test_unchanged_records_need_no_new_fit(frames, kept, monkeypatch):
    folder, first = kept
    calls = fits(monkeypatch)
    again = fitted_risk(folder, frames, TEST_SENSITIVITY, print)
    assert not calls
    assert np.array_equal(again.model.coef_, first.model.coef_)
    assert np.array_equal(again.silent_model.coef_, first.silent_model.coef_)
    assert again.growth.course_.base == first.growth.course_.base


@pytest.mark.long
def test_changed_records_and_another_sensitivity_are_fitted_anew(frames, kept, monkeypatch):
    folder, _ = kept
    calls = fits(monkeypatch)
    fewer = RiskFrames(
        frames.windows.iloc[1:],
        frames.sensors_now,
        frames.followed_up,
        frames.contact_gaps,
        frames.wear_readings,
    )
    said = []
    fitted_risk(folder, fewer, TEST_SENSITIVITY, said.append)
    fitted_risk(folder, fewer, TEST_SENSITIVITY.after(50, 0), said.append)
    assert len(calls) == 2
    assert not said  # that records change is no news


def test_a_damaged_file_is_named_and_fitted_anew(frames, kept, monkeypatch):
    folder, _ = kept
    fitted_risk(folder, frames, TEST_SENSITIVITY, print)
    (folder / "hazard.skops").write_bytes(b"not a model")
    calls, said = fits(monkeypatch), []
    fitted_risk(folder, frames, TEST_SENSITIVITY, said.append)
    assert len(calls) == 1
    assert "hazard" in said[0]
