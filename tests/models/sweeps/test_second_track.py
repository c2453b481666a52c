import numpy as np
import pytest

from models.sweeps.measure import measure_one
from tests.models.sweeps.synthetic import healthy, worn


def test_tracks_that_follow_one_another_agree():
    t, y, _ = healthy()
    row = measure_one(t, y, supply_v=5.0, signal_b=0.5 * y).measures.iloc[0]
    assert row["track_agreement"] == pytest.approx(1.0, abs=1e-3)
    assert row["dropout_count"] == 0


def test_a_drop_out_on_both_at_once_is_the_leads_and_not_the_tracks():
    t, y, _ = worn()
    results = measure_one(t, y, supply_v=5.0, signal_b=0.5 * y)
    assert set(results.dropouts["track"]) == {"both"}
    assert results.measures.iloc[0]["fault_nature"] == "wandering"
    assert "both_tracks_at_once" in set(results.findings["finding"])


def test_drop_outs_on_the_second_track_alone_are_reported_as_such():
    t, y, at = worn()
    results = measure_one(t, healthy()[1], supply_v=5.0, signal_b=y)
    assert results.dropouts["track"].tolist() == ["b"] * at.size
    assert results.measures.iloc[0]["conclusion"] == "dropouts_seen"


def test_tracks_that_disagree_are_named():
    t, y, travel = healthy()
    other = 0.6 + 0.038 * np.abs(travel - 50.0)
    results = measure_one(t, y, supply_v=5.0, signal_b=other)
    assert "tracks_disagree" in set(results.findings["finding"])
