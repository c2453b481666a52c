"""A test just entered is measured by itself, as the build will measure it."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from pipeline.access.entered.pending_test import pending_session_view
from pipeline.access.reading import NotThereError
from pipeline.access.views import session_view
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs.ingest import rebuild
from tests.askers import HERE
from tests.pipeline.shop_files import sweep_csv

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
TEST = {
    "session_id": "N1",
    "sensor_id": "S1",
    "shop_id": "s1",
    "tested_at": "2026-05-30T09:00:00+02:00",
    "odometer_km": 29_000,
    "reason": "routine",
    "supply_v": 4.4,
    "closed_v": 0.5,
    "corrosion": "none",
    "sweep_channel": "volt",
    "verdict": "pass",
    "note": "<b>cold</b>",
}


def _worn_sweep() -> bytes:
    lines = sweep_csv("N1").splitlines()
    for at in (150, 151, 152, 1050, 1051, 1052):
        session, t_s, _ = lines[at].split(",")
        lines[at] = f"{session},{t_s},0.02"
    return ("\n".join(lines) + "\n").encode()


def test_it_shows_what_the_build_will_show(stocked_copy):
    save_entry(
        stocked_copy, {"test_sessions": [TEST]}, files={"sweeps.csv": _worn_sweep()}, now=NOW
    )
    at_once = pending_session_view(stocked_copy, HERE, "N1")
    assert not at_once.in_records
    rebuild(stocked_copy)
    built = session_view(stocked_copy, HERE, "N1")
    assert built.in_records
    assert at_once.measures["dropout_count"] == built.measures["dropout_count"] > 0
    for name in ("dropouts", "profile", "passes", "findings", "trace", "travel_band", "places"):
        pd.testing.assert_frame_equal(getattr(at_once, name), getattr(built, name))
    shown = ["check", "state", "value", "text"]
    pd.testing.assert_frame_equal(at_once.checks[shown], built.checks[shown])
    assert at_once.next_look == built.next_look
    same = [k for k in at_once.session if k != "tested_at"]
    for name in same:
        assert at_once.session[name] == built.session[name] or pd.isna(at_once.session[name]), name
    assert np.isclose(at_once.session["sensor_age_km"], 28_000)


def test_a_sensor_entered_in_the_same_minute_is_known(stocked_copy):
    sensor = {"sensor_id": "S9", "unit_id": "B2", "mount": "grip_a", "part_no": "P1"}
    save_entry(stocked_copy, {"sensors": [sensor | {"origin": "unknown"}]}, now=NOW)
    save_entry(stocked_copy, {"test_sessions": [TEST | {"sensor_id": "S9"}]}, now=NOW)
    view = pending_session_view(stocked_copy, HERE, "N1")
    assert (view.session["unit_id"], view.session["mount"]) == ("B2", "grip_a")
    assert view.measures is None
    assert pd.isna(view.session["sensor_age_km"])


def test_a_test_of_a_sensor_never_entered_is_said(stocked_copy):
    assert pending_session_view(stocked_copy, HERE, "N1") is None
    save_entry(stocked_copy, {"test_sessions": [TEST | {"sensor_id": "S404"}]}, now=NOW)
    with pytest.raises(NotThereError, match="no sensor S404"):
        pending_session_view(stocked_copy, HERE, "N1")
