"""The steps of a bench test: every reading of the contract is asked for, every check is answered."""

import pandas as pd

from dashboard.bench.steps import COLUMNS, STEPS, steps_for
from models.statics.checks import check_readings
from models.statics.schemas import BANDS, READINGS
from pipeline.intake.contract import TABLES

_ASKED_ELSEWHERE = {
    "session_id",
    "sensor_id",
    "shop_id",
    "tested_at",
    "sweep_channel",
    "meter_load_ohm",
}


def test_every_column_of_the_contract_is_asked_for_once():
    assert sorted(COLUMNS) == sorted(set(TABLES["test_sessions"].names) - _ASKED_ELSEWHERE)


def test_every_check_is_answered_at_one_step():
    row = {c.name: None if c.blank else "T" for c in READINGS.columns}
    row |= {"fault_codes": "P0122", "wiggle_test": "jumps", "corrosion": "heavy"}
    row |= dict.fromkeys((c.name for c in READINGS.columns if c.kind == "number"), 1.0)
    checks = check_readings(READINGS.check(pd.DataFrame([row]).astype(object)), BANDS.empty())
    answered = [name for step in STEPS for name in step.checks]
    assert set(checks["check"]) <= set(answered)
    assert len(answered) == len(set(answered))


def test_supply_comes_before_ground_before_the_plug_before_the_ends_before_the_sweep():
    order = [step.name for step in STEPS]
    wanted = ["codes", "supply", "ground", "connector", "ends_v", "ends_ohm", "sweep", "live"]
    assert [name for name in order if name in wanted] == wanted
    assert order[-2:] == ["refit", "verdict"]


def test_a_contactless_sensor_has_no_track_to_read():
    assert "ends_ohm" not in [step.name for step in steps_for("contactless")]
    assert steps_for(None) == STEPS
