import numpy as np
import pandas as pd
import pytest

from models.wear.progress import BandProgress
from models.wear.schemas import FAILURES


def progress(case, share=0.5):
    lives = case.fleet.sensors
    known = lives.iloc[: int(share * len(lives))]
    failures = pd.DataFrame({"life_id": known["sensor_id"], "failed_age_km": known["failure_km"]})
    model = BandProgress(case.bands)
    model.fit(case.records, failures, pooled=case.pooled, found=case.found)
    return model, model.predict(case.records, case.pooled, case.found).set_index("life_id")


def test_bands_that_stay_are_not_said_to_move(followed):
    _, out = progress(followed)
    often = out[out["tests_with_signs"] >= 3]
    assert (often["moved_pct_per_1000km"].abs().median()) < 0.25
    said = (often["moved_low"] > 0) | (often["moved_high"] < 0)
    assert said.mean() < 0.15


def test_bands_that_move_are_seen_to(moving):
    _, out = progress(moving)
    often = out[out["tests_with_signs"] >= 4]
    assert often["moved_pct_per_1000km"].abs().median() == pytest.approx(0.8, abs=0.25)


def test_the_failure_of_lives_not_learnt_from_is_foretold(followed):
    model, out = progress(followed)
    assert model.failing_[0] > 1.0
    ahead = out[(out["answer"] == "km expected")]
    true = followed.fleet.sensors.set_index("sensor_id")["failure_km"]
    rest = ahead[~ahead.index.isin(followed.fleet.sensors["sensor_id"].iloc[:75])]
    assert len(rest) > 15
    held = (rest["fails_low_km"] <= true[rest.index]) & (true[rest.index] <= rest["fails_high_km"])
    assert held.mean() > 0.55
    assert (rest["fails_low_km"] <= rest["fails_at_km"]).all()


def test_without_failures_the_level_is_not_known(followed):
    model = BandProgress(followed.bands).fit(
        followed.records, FAILURES.empty(), pooled=followed.pooled, found=followed.found
    )
    out = model.predict(followed.records, followed.pooled, followed.found)
    assert model.failing_ is None
    assert set(out["answer"]) == {"not enough known"}
    assert out["fails_at_km"].isna().all()


def test_sound_sensors_have_no_progress(sound):
    _, out = progress(sound)
    assert len(out) < 0.1 * len(sound.fleet.sensors)
    assert np.isfinite(out["tests_with_signs"]).all()
