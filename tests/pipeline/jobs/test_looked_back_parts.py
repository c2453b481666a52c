"""Looking back that is broken off goes on with the dates that are missing."""

from __future__ import annotations

from contextlib import contextmanager
from datetime import date
from types import SimpleNamespace

import duckdb
import numpy as np
import pandas as pd
import pytest

from pipeline.jobs import backtest as job
from pipeline.jobs.backtest import backtest_once
from pipeline.jobs.cancel import CancelledError
from pipeline.jobs.progress import LongWork
from pipeline.warehouse.lives import RiskFrames

DAY = date(2026, 6, 30)


class Past:
    """A record of one number by date; scoring it is counted, and may be broken off."""

    def __init__(self, monkeypatch) -> None:
        self.value, self.scored, self.broken_off_at = 1.0, 0, 0
        monkeypatch.setattr(job, "earlier_record", self._earlier)
        monkeypatch.setattr(job, "came_to_light", lambda earlier, until: pd.DataFrame())
        monkeypatch.setattr(job, "_scores", self._scores)

    @contextmanager
    def _earlier(self, connection, at):
        frame = pd.DataFrame({"value": [self.value], "at": [pd.Timestamp(at)]})
        yield SimpleNamespace(frames=RiskFrames(*[frame] * 5))

    def _scores(self, frames, seen) -> pd.DataFrame:
        self.scored += 1
        if self.scored == self.broken_off_at:
            raise CancelledError(15)
        row = {
            "sensor_id": "S1", "part_no": "P1", "duty": None, "age_km": 100.5, "run_km": 1 / 3,
            "found": True, "chance": 0.1 * float(frames.windows["value"].iloc[0]),
            "mileage_chance": 0.3,
        }  # fmt: skip
        return pd.DataFrame([row]).assign(more=np.nan)


@pytest.fixture
def past(monkeypatch) -> Past:
    return Past(monkeypatch)


def _looked_back(folder, version="2026-06-30.a") -> pd.DataFrame:
    connection = duckdb.connect()
    connection.execute("create schema marts")
    days = [date(2015, 1, 1)] * 12
    connection.register("given", pd.DataFrame({"found_on": pd.to_datetime(pd.Series(days))}))
    connection.execute("create table marts.life_windows as from given")
    backtest_once(connection, DAY, folder, version, LongWork())
    return connection.execute("from marts.backtest_scores order by all").df()


def _broken_off(past: Past, folder, at: int) -> None:
    past.scored, past.broken_off_at = 0, at
    with pytest.raises(CancelledError):
        _looked_back(folder)
    past.scored = past.broken_off_at = 0


def test_dates_done_before_it_was_broken_off_are_not_done_again(past, tmp_path):
    _broken_off(past, tmp_path / "kept", at=4)
    resumed = _looked_back(tmp_path / "kept")
    assert past.scored == 8 - 3
    whole = _looked_back(tmp_path / "other")
    assert resumed.to_csv() == whole.to_csv()
    assert len(whole) == 8


def test_the_parts_go_once_the_whole_is_kept(past, tmp_path):
    _broken_off(past, tmp_path, at=4)
    assert len(list(tmp_path.glob("looked_back_2*.json"))) == 3
    _looked_back(tmp_path)
    assert not list(tmp_path.glob("looked_back_2*"))
    past.scored = 0
    _looked_back(tmp_path)
    assert past.scored == 0


def test_parts_of_other_records_or_another_fit_are_done_again(past, tmp_path):
    _broken_off(past, tmp_path / "a", at=4)
    past.value = 2.0
    assert (_looked_back(tmp_path / "a")["chance"] == 0.2).all()
    assert past.scored == 8
    past.value = 1.0
    _broken_off(past, tmp_path / "b", at=4)
    _looked_back(tmp_path / "b", version="2026-06-30.b")
    assert past.scored == 8
