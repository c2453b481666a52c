"""The wear map's marts on tiny hand-ins: what is counted, what is left out, what is said."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import models.wear.evidence_moved as rule
from models.wear.exposure import BINS
from pipeline.access.wear_profiles import profile_rows
from pipeline.jobs.ingest import rebuild
from pipeline.statements import connect, run
from pipeline.warehouse import wear, wear_bins
from tests.pipeline.shop_files import SHOP, hand_in, query, sweep_csv

#: Tables each row of which names the fit of the wear map.
FITTED = tuple(name for name in wear._KEPT if name not in wear._NAMES_NO_FIT)
PART = "part_no,description,kind,output\n"


def wear_table(home, report, name):
    connection = connect(report.manifest.path, read_only=True)
    try:
        return connection.execute(f"from marts.{name}").df()
    finally:
        connection.close()


@pytest.fixture
def swept(home, tmp_path):
    return hand_in(home, tmp_path / "a", {**SHOP, "sweeps": sweep_csv("T1", "T2")})


def test_each_test_with_a_sweep_is_mapped_once(home, swept):
    profiles = _profiles(swept)
    assert profiles.groupby("session_id").size().to_dict() == {"T1": BINS, "T2": BINS}
    bands = wear_table(home, swept, "wear_bands")
    first = bands[bands["band_no"].eq(1)]
    assert dict(zip(first["session_id"], first["sensor_age_km"], strict=True)) == {
        "T1": 8000.0,
        "T2": 16000.0,
    }


def test_two_tests_of_one_sensor_are_too_little_for_any_cell(home, swept):
    cells = wear_table(home, swept, "wear_map")
    assert cells["n_sensors"].max() == 1
    assert cells["intensity"].isna().all()
    answers = query(home, swept, "select distinct answer from marts.wear_gathered")
    assert answers == [("not enough known",)]


def test_a_shop_without_sweeps_gets_empty_tables_and_the_reason(home, tmp_path):
    report = hand_in(home, tmp_path / "a", SHOP)
    (about,) = wear_table(home, report, "wear_about").to_dict("records")
    assert about["reason"].startswith("no bench test with")
    for name in {*wear._KEPT} - {"wear_about"}:
        assert wear_table(home, report, name).empty, name


def test_a_contactless_sensor_has_no_track_to_wear(home, tmp_path):
    shop = SHOP | {"parts": PART + "P1,sensor,contactless,rising\n", "sweeps": sweep_csv("T1")}
    report = hand_in(home, tmp_path / "a", shop)
    assert _profiles(report).empty
    assert wear_table(home, report, "wear_stretches").empty


def test_a_coarse_logger_leaves_less_exposure_than_a_fine_one(home, tmp_path):
    fine, coarse = sweep_csv("T1", rate_hz=500.0), sweep_csv("T2", rate_hz=50.0)
    rows = coarse.split("\n", 1)[1]
    report = hand_in(home, tmp_path / "a", {**SHOP, "sweeps": fine + rows})
    profiles = _profiles(report)
    seen = profiles.groupby("session_id")["exposure"].sum()
    assert 0 < seen["T2"] < 0.75 * seen["T1"]


def test_every_sensor_in_service_is_told_where_to_sweep_slowest(home, swept):
    stretches = wear_table(home, swept, "wear_stretches")
    assert set(stretches["sensor_id"]) == {"S1", "S2"}
    # S1 begins a new life with its cleaning, so its own sweeps were of the life before
    assert not stretches["from_own_tests"].any()
    assert (stretches["to_pct"] > stretches["from_pct"]).all()
    shares = wear_table(home, swept, "wear_shares")
    assert shares.groupby("sensor_id")["share"].sum().to_numpy() == pytest.approx(1.0)
    passes = wear_table(home, swept, "wear_passes")
    assert passes["rate_hz"].unique().tolist() == [100.0]
    assert set(passes["width_pct"]) == set(wear.WIDTHS_PCT)


def test_a_ride_log_gives_dwell_and_sliding(home, tmp_path):
    t = np.arange(400)
    held = np.where(t < 300, 21.0, 61.0)
    log = "".join(f"B1,2026-01-05T10:00:00+01:00,{s},{p}\n" for s, p in zip(t, held, strict=True))
    shop = SHOP | {
        "sweeps": sweep_csv("T1"),
        "ride_log": "unit_id,started_at,t_s,travel_pct\n" + log,
    }
    report = hand_in(home, tmp_path / "a", shop)
    usage = wear_table(home, report, "wear_usage").set_index("bin_from_pct")
    assert usage.loc[20.0, "dwell"] == pytest.approx(299 / 399, abs=0.01)
    assert usage["dwell"].sum() == pytest.approx(1.0)
    assert usage["moved_pct"].iloc[0] == pytest.approx(40.0)
    assert query(home, report, "select use_answer, n_logged from marts.wear_about") == [
        ("not enough known", 1)
    ]


def test_a_confirmed_defect_ends_a_life_at_its_age(home, swept):
    connection = connect(swept.manifest.path, read_only=True)
    failures = run(connection, "warehouse/sql/marts/wear_failures").fetchall()
    connection.close()
    assert failures == [("S1", 16000.0)]


def test_a_build_with_a_kept_fit_equals_a_rebuild_given_that_fit_alone(home, tmp_path, monkeypatch):
    monkeypatch.setattr(rule, "FEW_TESTS", 1)
    monkeypatch.setattr(rule, "MOST_TESTS", 5.0)
    judged = _judged(monkeypatch)
    first = hand_in(home, tmp_path / "a", {**SHOP, "sweeps": sweep_csv("T1")})
    later = hand_in(home, tmp_path / "b", {"sweeps": sweep_csv("T2")})
    (then,), (now,) = (_fit_of(home, report) for report in (first, later))
    assert now["fit_version"] == then["fit_version"]
    assert then["why_fitted"]
    assert pd.isna(now["why_fitted"])
    assert (now["n_tests"], now["tests_since"]) == (1, 1)
    assert judged == [["T1"], ["T2"]]
    for pattern in ("wear_lives*", "wear_sweeps*"):
        for path in home.kept_models.glob(pattern):
            path.unlink()
    again = SimpleNamespace(manifest=rebuild(home))
    assert judged[2] == ["T1", "T2"]
    for name in (*wear._KEPT, "sweep_bands"):
        one, other = (wear_table(home, report, name) for report in (later, again))
        pd.testing.assert_frame_equal(one, other, check_exact=True)
        if name in FITTED:
            assert set(one["fit_version"]) <= {then["fit_version"]}, name
    assert len(wear_table(home, later, "wear_bands")["fit_version"]) >= 2


def test_however_many_sweeps_are_laid_out_at_a_time(home, swept, monkeypatch):
    """Judged and mapped one by one, from nothing, they come to the same."""
    names = (*wear._KEPT, "sweep_bands")
    whole = {name: wear_table(home, swept, name) for name in names}
    for path in home.kept_models.glob("wear_*"):
        path.unlink()
    monkeypatch.setattr(wear, "_SWEEPS_AT_ONCE", 1)
    monkeypatch.setattr(wear_bins, "_TESTS_LAID_OUT", 1)
    monkeypatch.setattr(wear_bins, "_KEPT_AT_ONCE", 1)
    calls = _judged(monkeypatch)
    singly = SimpleNamespace(manifest=rebuild(home))
    assert sorted(calls) == [["T1"], ["T2"]]
    for name, frame in whole.items():
        pd.testing.assert_frame_equal(wear_table(home, singly, name), frame)


def test_a_test_s_key_changes_with_its_age_and_with_what_it_was_measured_by(home, tmp_path, swept):
    """What a fit and a life's scores rest on: nothing that the map takes may change beside it."""
    before = _keys(home, swept)
    tests = SHOP["test_sessions"]
    older = tests.replace("17000,symptom", "16900,symptom")
    assert older != tests
    again = _keys(home, hand_in(home, tmp_path / "b", {"test_sessions": older}))
    assert again["T1"] == before["T1"]
    assert again["T2"] != before["T2"]
    other = sweep_csv("T1", rate_hz=50.0)
    last = _keys(home, hand_in(home, tmp_path / "c", {"sweeps": other}))
    assert last["T1"] != again["T1"]
    assert last["T2"] == again["T2"]


def _profiles(report) -> pd.DataFrame:
    """What is shown of the tests of each sensor by itself."""
    connection = connect(report.manifest.path, read_only=True)
    try:
        lives = ("S1", "S2")
        return pd.concat([profile_rows(connection, life_id) for life_id in lives])
    finally:
        connection.close()


def _keys(home, report) -> dict[str, str]:
    connection = connect(report.manifest.path, read_only=True)
    try:
        tests, keys, _ = wear_bins.mapped_tests(connection)
    finally:
        connection.close()
    return dict(zip(tests["session_id"], keys, strict=True))


def _judged(monkeypatch) -> list[list[str]]:
    """Sweeps judged by themselves from here on, build by build."""
    real, calls = wear.band_chance, []

    def counted(records):
        calls.append(records.tests["session_id"].tolist())
        return real(records)

    monkeypatch.setattr(wear, "band_chance", counted)
    return calls


def _fit_of(home, report) -> list[dict]:
    return wear_table(home, report, "wear_fit").to_dict("records")


def test_a_damaged_fit_of_the_wear_map_is_said_and_made_anew(home, swept, tmp_path):
    (home.kept_models / "wear_dropouts.skops").write_bytes(b"no model")
    said: list[str] = []
    again = SimpleNamespace(manifest=rebuild(home, say=said.append))
    assert any("wear_dropouts.skops" in line and "fitted anew" in line for line in said)
    (told,) = _fit_of(home, again)
    assert told["why_fitted"] == "no fit by this code had been kept"
