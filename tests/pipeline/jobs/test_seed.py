"""The committed extract is what the code writes, complete, and small."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from models.simulate.archive import sweeps as recorded_sweeps
from models.simulate.shops import play_history, simulate_shops
from models.simulate.world import DEFAULT_BIKES, DEFAULT_SEED, SHORTAGE
from pipeline.jobs.seed import RETRACT_FILE, SWEEP_TYPES, open_jobs, write_csv, write_seed

SEED_DATA = Path(__file__).resolve().parents[3] / "seed_data"
LARGEST_BYTES = 7_500_000


@pytest.fixture(scope="module")
def shops():
    return simulate_shops(DEFAULT_SEED, sweeps=False)


@pytest.fixture(scope="module")
def samples():
    files = sorted((SEED_DATA / "shops").glob("sweeps-*.parquet"))
    return pd.concat([pq.read_table(file).to_pandas() for file in files], ignore_index=True)


def test_the_extract_stays_small():
    total = sum(file.stat().st_size for file in SEED_DATA.rglob("*") if file.is_file())
    assert 1_000_000 < total < LARGEST_BYTES


def test_the_committed_tables_are_what_the_code_writes(shops, tmp_path):
    for name, frame in shops.tables.items():
        file = RETRACT_FILE if name == "retract" else f"{name}.csv"
        write_csv(frame, tmp_path / file)
        assert (tmp_path / file).read_bytes() == (SEED_DATA / "shops" / file).read_bytes(), file


@pytest.mark.parametrize("name", ["bikes", "spells", "sessions", "mistakes"])
def test_the_committed_truth_is_what_the_code_writes(shops, tmp_path, name):
    write_csv(shops.truth[name], tmp_path / "new.csv")
    committed = (SEED_DATA / "truth" / f"{name}.csv").read_bytes()
    assert (tmp_path / "new.csv").read_bytes() == committed


def test_some_committed_sweeps_are_made_anew(samples):
    history = play_history(DEFAULT_SEED, DEFAULT_BIKES)
    some = list(range(0, len(history.tests), 60))
    # Keys count all tests, so the chosen ones are made within the whole list.
    chosen = {history.tests[k].number for k in some}
    for test in history.tests:
        if test.number not in chosen:
            test.rate_hz = None
    made, _ = recorded_sweeps(DEFAULT_SEED, history.tests, history.tracks, history.readings)
    for key, rows in made.groupby("session_id"):
        committed = samples[samples["session_id"] == key]
        for name in ("t_s", "signal", "signal_b", "travel_pct"):
            np.testing.assert_allclose(committed[name], rows[name], rtol=1e-6, atol=1e-6)
    assert made["session_id"].nunique() >= 8


def test_every_sweep_belongs_to_a_test_and_every_sample_is_counted(shops, samples):
    truth = pd.read_csv(SEED_DATA / "truth" / "sweeps.csv").set_index("session_id")
    counted = samples.groupby("session_id").size()
    assert counted.sort_index().equals(truth["samples"].sort_index().rename(None))
    assert set(counted.index) <= set(shops.truth["sessions"]["session_id"])
    assert list(samples.columns) == list(SWEEP_TYPES)
    assert samples[["t_s", "signal"]].notna().all().all()
    ids = samples["session_id"].to_numpy()
    blocks = 1 + int((ids[1:] != ids[:-1]).sum())
    assert blocks == len(counted)  # samples of a test stand together


def test_volts_stand_on_the_loggers_steps(samples):
    truth = pd.read_csv(SEED_DATA / "truth" / "sweeps.csv").merge(
        pd.read_csv(SEED_DATA / "truth" / "sessions.csv")[["session_id", "shop_id"]]
    )
    brackenford = truth.query("channel == 'volt' and shop_id == 'brackenford'")["session_id"]
    volts = samples.loc[samples["session_id"].isin(brackenford), "signal"] / (5.12 / 2**12)
    assert np.abs(volts - volts.round()).max() < 0.05


def test_the_readme_says_plainly_that_nothing_is_measured(shops):
    text = (SEED_DATA / "README.md").read_text(encoding="utf-8")
    assert "Nothing here is\nmeasured" in text or "Nothing here is measured" in text
    for key in shops.truth["mistakes"]["key"]:
        assert key in text
    assert f"{len(shops.tables['test_sessions']):,}" in text


def test_some_jobs_are_open_for_want_of_the_part(shops):
    waiting = open_jobs(shops.tables)
    assert 4 <= len(waiting) <= 8
    assert waiting["tested_at"].min()[:10] >= SHORTAGE.first_day.isoformat()
    sensors = shops.tables["sensors"].set_index("sensor_id")
    units = sensors.loc[waiting["sensor_id"], "unit_id"]
    read = shops.tables["odometer"].drop_duplicates("unit_id", keep="last").set_index("unit_id")
    assert (read.loc[units, "odometer_km"].to_numpy() == waiting["odometer_km"].to_numpy()).all()
    worn = pd.read_csv(SEED_DATA / "truth" / "dropouts.csv").query("cause == 'worn' and visible")
    assert waiting["session_id"].isin(worn["session_id"]).sum() >= 4
    text = " ".join((SEED_DATA / "README.md").read_text(encoding="utf-8").split())
    assert f"({len(waiting)} of them on the last day)" in text


def test_short_shops_have_none_on_the_shelf_but_some_on_order(shops):
    stock = shops.tables["stock"]
    stock = stock[stock["part_no"].eq(SHORTAGE.part_no)].sort_values("counted_on")
    last = stock.drop_duplicates("shop_id", keep="last").set_index("shop_id")
    short = last.loc[list(SHORTAGE.shop_ids)]
    assert (short["on_hand"] == 0).all()
    assert (short["on_order"] > 0).all()
    assert (short["order_due_on"] == SHORTAGE.delivery_day).all()


def test_writing_twice_gives_the_same_bytes(tmp_path, monkeypatch):
    monkeypatch.setattr(
        "pipeline.jobs.seed.simulate_shops", lambda seed: simulate_shops(seed, n_bikes=6)
    )
    for folder in ("first", "again"):
        write_seed(tmp_path / folder, seed=4)
    first = sorted(file for file in (tmp_path / "first").rglob("*") if file.is_file())
    assert len(first) >= 18
    for file in first:
        twin = tmp_path / "again" / file.relative_to(tmp_path / "first")
        assert file.read_bytes() == twin.read_bytes(), file.name
