import numpy as np
import pytest

from models.wear.measures import wear_measures
from models.wear.schemas import WEAR_MEASURES


def test_each_test_has_its_measures_and_worn_sensors_stand_out(followed):
    out = wear_measures(
        followed.found, followed.records, followed.pooled, followed.surface.strays_.rate
    )
    WEAR_MEASURES.check(out)
    assert out["session_id"].tolist() == followed.records.tests["session_id"].tolist()
    worn = followed.fleet.spots > 0
    assert out["band_level"][worn].median() > 5 * out["band_level"][~worn].median() + 0.05
    assert out["band_width_pct"].between(0.5, 6.0).all()


def test_growth_is_that_since_the_test_before(followed):
    out = wear_measures(followed.found, followed.records, followed.pooled, 2e-4)
    own = out[out["life_id"] == out["life_id"].value_counts().index[0]].sort_values("sensor_age_km")
    assert np.isnan(own["band_level_per_1000km"].iloc[0])
    km = np.diff(own["sensor_age_km"])
    step = 1000 * np.diff(own["band_level"]) / km
    assert own["band_level_per_1000km"].iloc[1:].to_numpy()[km >= 200] == pytest.approx(
        step[km >= 200]
    )
