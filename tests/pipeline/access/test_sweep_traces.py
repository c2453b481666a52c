"""Parts of sweeps, read from the published records or from a hand-in that no build holds yet."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from pipeline.access import sweep_traces
from pipeline.access.entered import pending_sweep
from pipeline.access.entered.pending_test import pending_session_view
from pipeline.access.reading import NotThereError
from pipeline.access.views import session_view
from pipeline.home import Home
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs.ingest import rebuild
from tests.askers import HERE
from tests.pipeline.shop_files import hand_in, sweep_csv
from tests.pipeline.stocked_shop import DAY, FILES

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
SWEPT = FILES | {
    # S1 follows S0 on the same bike; another bike's and another channel's tests are no predecessors
    "sensors": FILES["sensors"].replace("S1,B1", "S0,B1,throttle,P1,original,2021-02-01,0\nS1,B1"),
    "test_sessions": FILES["test_sessions"]
    + (
        "T0,S0,s1,2021-06-10T09:00:00+00:00,400,routine,5.01,volt,pass\n"
        "T6,S1,s1,2025-01-10T09:00:00+00:00,25000,routine,5.01,ohm,pass\n"
        "T7,S2,s1,2025-01-11T09:00:00+00:00,19000,routine,5.01,volt,pass\n"
    ),
    "units": FILES["units"].replace("2022-01-10", "2021-01-10"),
    "sweeps": sweep_csv("T0", "T1", "T2", "T6", "T7"),
}


@pytest.fixture(scope="module")
def swept_home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("swept")
    home = Home(folder / "home").prepare(as_of=DAY)
    hand_in(home, folder / "a", SWEPT)
    return home


def test_a_part_of_a_sweep_holds_every_sample_where_they_are_few(swept_home):
    part = sweep_traces.sweep_window(swept_home, HERE, "T1", 2.0, 2.5)
    assert part.is_whole
    assert list(part.samples["sample_no"]) == list(range(200, 251))
    assert part.samples["t_s"].between(2.0, 2.5).all()


def test_a_longer_part_is_thinned_for_itself_and_keeps_its_extremes(swept_home, monkeypatch):
    samples = pd.DataFrame(
        {"sample_no": np.arange(60_000), "t_s": np.arange(60_000) / 1000.0, "signal": 2.0}
    ).assign(signal_b=np.nan, travel_pct=np.nan)
    samples.loc[31_234, "signal"] = 0.1
    samples.loc[7, "signal"] = np.nan
    part = sweep_traces.window_of(samples)
    assert part.sample_count == 59_999
    assert not part.is_whole
    assert len(part.samples) <= sweep_traces.TRACE_POINTS + 2
    assert part.samples["signal"].min() == 0.1


def test_a_part_beyond_the_sweep_is_empty(swept_home):
    part = sweep_traces.sweep_window(swept_home, HERE, "T1", 500.0, 501.0)
    assert (len(part.samples), part.sample_count) == (0, 0)


@pytest.mark.parametrize("session_id", ["T3", "no such test"])
def test_a_test_without_a_sweep_has_no_parts(swept_home, session_id):
    for ask in (
        lambda: sweep_traces.sweep_window(swept_home, HERE, session_id, 0.0, 1.0),
        lambda: sweep_traces.sweep_over_travel(swept_home, HERE, session_id),
    ):
        with pytest.raises(NotThereError, match="no sweep of test"):
            ask()


def test_the_passes_lie_over_the_travel_between_the_stops(swept_home):
    laid = sweep_traces.sweep_over_travel(swept_home, HERE, "T1")
    assert sorted(laid.passes["direction"].unique()) == ["closing", "opening"]
    assert laid.passes["travel_pct"].between(0, 100).all()
    assert laid.closed_pct == pytest.approx(10.0, abs=1.0)
    assert laid.open_pct == pytest.approx(90.0, abs=1.0)


def listed(home, session_id) -> list[tuple[str, bool]]:
    session = session_view(home, HERE, session_id).session
    rows = sweep_traces.overlay_tests(home, HERE, session)
    return list(zip(rows["session_id"], rows["same_sensor"], strict=True))


def test_only_earlier_sweeps_of_the_same_channel_and_mount_can_be_laid_over(swept_home):
    assert listed(swept_home, "T2") == [("T1", True), ("T0", False)]
    assert listed(swept_home, "T1") == [("T0", False)]
    assert listed(swept_home, "T0") == []
    assert listed(swept_home, "T6") == []
    assert listed(swept_home, "T3") == []


def test_a_test_just_entered_is_read_from_its_hand_in_as_the_build_will_read_it(
    swept_home, tmp_path
):
    import shutil

    shutil.copytree(swept_home.root, tmp_path / "copy")
    home = Home(tmp_path / "copy")
    row = {
        "session_id": "N1",
        "sensor_id": "S1",
        "shop_id": "s1",
        "tested_at": "2026-05-30T09:00:00+02:00",
        "odometer_km": 29_000,
        "supply_v": 5.0,
        "sweep_channel": "volt",
        "verdict": "pass",
    }
    sweep = sweep_csv("N1").encode()
    save_entry(home, {"test_sessions": [row]}, files={"sweeps.csv": sweep}, now=NOW)
    view = pending_session_view(home, HERE, "N1")
    part = pending_sweep.pending_sweep_window(home, HERE, "N1", 2.0, 2.5)
    laid = pending_sweep.pending_over_travel(home, HERE, view)
    earlier = sweep_traces.overlay_tests(home, HERE, view.session)
    assert list(earlier["session_id"]) == ["T2", "T1", "T0"]
    with pytest.raises(NotThereError):
        sweep_traces.sweep_window(home, HERE, "N1", 2.0, 2.5)

    rebuild(home)
    built = sweep_traces.sweep_window(home, HERE, "N1", 2.0, 2.5)
    pd.testing.assert_frame_equal(part.samples, built.samples)
    assert part.sample_count == built.sample_count
    built = sweep_traces.sweep_over_travel(home, HERE, "N1")
    for field in fields(built):
        ours, theirs = getattr(laid, field.name), getattr(built, field.name)
        if isinstance(theirs, pd.DataFrame):
            pd.testing.assert_frame_equal(ours, theirs)
        else:
            assert ours == pytest.approx(theirs) if isinstance(theirs, float) else ours == theirs
    with pytest.raises(NotThereError):
        pending_sweep.pending_sweep_window(home, HERE, "N1", 2.0, 2.5)
