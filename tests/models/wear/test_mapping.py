import numpy as np
import pandas as pd
import pytest

from models.wear import seen
from models.wear.map_cells import WearMap
from models.wear.mapping import fit_wear, map_wear
from models.wear.records import WearError, wear_records
from models.wear.schemas import FAILURES, WEAR_BINS, WEAR_MAP, WEAR_TESTS
from tests.models.wear.simulated_wear import Truth, frames_of, simulate_wear


@pytest.fixture(scope="module")
def mapped():
    fleet = simulate_wear(120, 73_000, Truth())
    records = fleet.records
    records.exposure[:, 45:], records.counts[:, 45:] = 0.0, 0.0  # never swept
    records.tests.loc[0, "duty"] = None
    return records, map_wear(records, FAILURES.empty())


def test_cells_without_evidence_stay_blank(mapped):
    _, results = mapped
    table = WEAR_MAP.check(results.wear_map)
    unseen = table["bin_from_pct"] >= 90.0
    assert table.loc[unseen, "intensity"].isna().all()
    assert (table.loc[unseen, "n_tests"] == 0).all()
    seen = (table["n_sensors"] >= 3) & (table["exposure"] >= 3.0)
    assert table.loc[seen, "intensity"].notna().all()
    assert (table.loc[seen, "intensity_low"] <= table.loc[seen, "intensity"]).all()


def test_the_map_holds_every_drop_out_once_a_selection(mapped):
    records, results = mapped
    sums = results.wear_map.groupby(["part_no", "duty"])["dropout_count"].sum()
    assert sums["all", "all"] == records.counts.sum()
    parts = [p for p in records.tests["part_no"].unique()]
    assert sum(sums[p, "all"] for p in parts) == records.counts.sum()


def test_wear_gathers_where_the_duty_holds_the_throttle(mapped):
    _, results = mapped
    table = results.wear_map
    old = table[(table["duty"] == "commute") & (table["part_no"] == "all")]
    profile = old.groupby("bin_from_pct")["intensity"].mean()
    assert 8.0 <= profile.idxmax() <= 38.0
    assert results.fitted.gathered["all", "all"].n_sensors > 8


def test_all_frames_speak_of_the_same_tests(mapped):
    records, results = mapped
    sessions = set(records.tests["session_id"])
    assert set(results.bands["session_id"]) == sessions
    assert set(results.progress["life_id"]) <= set(records.tests["life_id"])


def test_frames_lay_out_to_the_same_map():
    fleet = simulate_wear(40, 73_001, Truth())
    tests, bins = frames_of(fleet.records)
    WEAR_BINS.check(bins)
    records = wear_records(tests, bins)
    swept = records.exposure > 0
    assert np.array_equal(records.counts, np.where(swept, fleet.records.counts, 0.0))


def test_a_fleet_of_one_sensor_and_one_test_maps():
    fleet = simulate_wear(1, 73_002, Truth(tests=(1, 1)))
    results = map_wear(fleet.records.take(np.array([0])), FAILURES.empty())
    assert results.wear_map["intensity"].isna().all()
    assert results.fitted.gathered["all", "all"].answer == "not enough known"
    assert len(results.bands) >= 1


def test_many_tests_of_one_sensor_judge_no_cell_s_roughness():
    fleet = simulate_wear(60, 73_003, Truth(tests=(5, 7), spacing_km=500.0))
    tests = fleet.records.tests["sensor_id"]
    own = fleet.records.take((tests == tests.mode()[0]).to_numpy())
    results = map_wear(own, FAILURES.empty())
    assert len(own) >= 5
    assert results.wear_map["roughness"].isna().all()


def test_no_test_is_an_error():
    with pytest.raises(WearError, match="no bench test"):
        map_wear(wear_records(WEAR_TESTS.empty(), WEAR_BINS.empty()), FAILURES.empty())


def test_a_failure_frame_without_its_column_is_refused(mapped):
    records, _ = mapped
    with pytest.raises(ValueError, match="failed_age_km"):
        map_wear(records, pd.DataFrame({"life_id": ["x"]}))


def test_however_many_tests_are_counted_at_a_time(mapped):
    records, results = mapped
    counted, first = WearMap(records.tests, results.fitted.curves), 0
    for size in (1, 2, 40, 3, len(records)):
        rows = np.arange(first, min(first + size, len(records)))
        counted.count(records.take(rows))
        first += len(rows)
    pd.testing.assert_frame_equal(counted.frame(), results.wear_map, check_exact=True)
    assert counted.dropout_count == records.counts.sum()


def test_however_many_lives_are_gone_through_at_a_time(monkeypatch):
    fleet = simulate_wear(40, 73_002, Truth(near_defect=True, spacing_km=1500.0, tests=(3, 6)))
    ends = fleet.sensors.iloc[:20]
    failures = pd.DataFrame({"life_id": ends["sensor_id"], "failed_age_km": ends["failure_km"]})
    whole = fit_wear(fleet.records, FAILURES.check(failures))
    monkeypatch.setattr(seen, "LIVES_AT_ONCE", 7)
    monkeypatch.setattr(seen, "_PAIRS_AT_ONCE", 7)
    parts = fit_wear(fleet.records, FAILURES.check(failures))
    assert parts.worn.own_grain_ == pytest.approx(whole.worn.own_grain_, rel=1e-12)
    assert parts.progress.n_failures_ == whole.progress.n_failures_ > 8
    for name in ("growth_", "failing_", "off_"):
        own = getattr(parts.progress, name)
        assert own == pytest.approx(getattr(whole.progress, name), rel=1e-9), name
    assert parts.sensors.kept_ == pytest.approx(whole.sensors.kept_, rel=1e-9)
    for pair, answer in whole.gathered.items():
        other = parts.gathered[pair]
        assert (other.answer, other.n_sensors) == (answer.answer, answer.n_sensors)
