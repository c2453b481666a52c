"""The wear map's marts on tiny hand-ins: what is counted, what is left out, what is said."""

import numpy as np
import pytest

from models.wear.exposure import BINS
from pipeline.statements import connect, run
from pipeline.warehouse import wear
from tests.pipeline.shop_files import SHOP, hand_in, query, sweep_csv

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
    profiles = wear_table(home, swept, "wear_profiles")
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
    for name in set(wear._KEPT) - {"wear_about"}:
        assert wear_table(home, report, name).empty, name


def test_a_contactless_sensor_has_no_track_to_wear(home, tmp_path):
    shop = SHOP | {"parts": PART + "P1,sensor,contactless,rising\n", "sweeps": sweep_csv("T1")}
    report = hand_in(home, tmp_path / "a", shop)
    assert wear_table(home, report, "wear_profiles").empty
    assert wear_table(home, report, "wear_stretches").empty


def test_a_coarse_logger_leaves_less_exposure_than_a_fine_one(home, tmp_path):
    fine, coarse = sweep_csv("T1", rate_hz=500.0), sweep_csv("T2", rate_hz=50.0)
    rows = coarse.split("\n", 1)[1]
    report = hand_in(home, tmp_path / "a", {**SHOP, "sweeps": fine + rows})
    profiles = wear_table(home, report, "wear_profiles")
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
