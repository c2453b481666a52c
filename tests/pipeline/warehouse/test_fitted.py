"""Fitted models kept between builds: used where nothing changed, refused and fitted anew otherwise."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from models.risk.schemas import (
    CONTACT_GAPS,
    FOLLOWED_UP,
    LIFE_WINDOWS,
    SENSORS_NOW,
    WEAR_READINGS,
)
from models.risk.sensitivity import TEST_HISTORY
from pipeline.warehouse.fitted import standing_fit
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
    return folder, fit(folder, frames)


DAY = date(2026, 6, 1)


def fit(folder, frames, say=print, day=DAY):
    return standing_fit(folder, frames, TEST_HISTORY.empty, day, say)


def fits(monkeypatch):
    """Counts the fits from here on; there are two to a record."""
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
    again = fit(folder, frames, day=date(2026, 9, 1))
    assert not calls
    assert np.array_equal(again.models.model.coef_, first.models.model.coef_)
    assert np.array_equal(again.models.silent_model.coef_, first.models.silent_model.coef_)
    assert again.models.growth.course_.base == first.models.growth.course_.base
    assert again.believed.posterior == first.believed.posterior
    assert again.believed.evidence.equals(first.believed.evidence)
    assert (again.version, again.why) == (first.version, "")
    assert again.version.startswith("2026-06-01.")
    assert first.why


def test_a_fit_stands_until_the_evidence_has_moved_far_enough(frames, kept, monkeypatch):
    """The rule is ``models.risk.evidence_moved``; here it is held to be asked, and obeyed."""
    import models.risk.evidence_moved as rule

    folder, first = kept
    monkeypatch.setattr(rule, "FEW_LIVES", 10)
    calls, said = fits(monkeypatch), []
    one_more = frames.windows.copy()
    one_more.loc[one_more["bad_km"].isna().idxmax(), "good_km"] += 1.0
    stands = fit(folder, replace(frames, windows=one_more), said.append)
    assert not calls
    assert (stands.version, stands.why) == (first.version, "")
    without = frames.windows[frames.windows["bad_km"].isna()]
    moved = fit(folder, replace(frames, windows=without), said.append)
    assert len(calls) == 2
    assert "defects are new, changed or taken back" in moved.why
    assert moved.version != first.version
    assert not said  # that records change is no news


def test_few_lives_and_other_code_are_fitted_anew(frames, tmp_path, monkeypatch):
    import pipeline.warehouse.fitted as module

    calls = fits(monkeypatch)
    small = replace(frames, windows=frames.windows.iloc[:40])
    fit(tmp_path, small)
    fit(tmp_path, replace(frames, windows=frames.windows.iloc[1:40]))
    assert len(calls) == 4
    monkeypatch.setattr(module, "code_version", lambda: "other code")
    anew = fit(tmp_path, replace(frames, windows=frames.windows.iloc[1:40]))
    assert len(calls) == 6
    assert "by this code" in anew.why


@pytest.mark.parametrize("name", ["hazard.skops", "fit_rested_on.parquet", "fit.json"])
def test_a_damaged_file_is_named_and_fitted_anew(name, frames, tmp_path, monkeypatch):
    small = replace(frames, windows=frames.windows.iloc[:40])
    fit(tmp_path, small)
    (tmp_path / name).write_bytes(b"not a model")
    calls, said = fits(monkeypatch), []
    fit(tmp_path, small, said.append)
    assert len(calls) == 2
    assert name in said[0]
