"""Looking back on the shop's own past: what is scored, what is counted, and what is said."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from pipeline.jobs import backtest as job
from pipeline.jobs.backtest import Backtest, backtest, to_light_chances
from tests.pipeline.shop_files import SHOP, hand_in, query


def _numerically(chances, run_km, rate):
    """The integral of the module's head by quadrature, the chance rising evenly between the km given."""
    km = np.array([0.0, 1e3, 5e3, 1e4])

    def defect(at):
        return np.interp(at, km, chances)

    return quad(
        lambda u: defect(u) * rate * np.exp(-rate * (run_km - u)),
        0,
        run_km,
        limit=200,
        points=[1e3, 5e3],
    )[0]


@pytest.mark.parametrize("run_km", [50.0, 900.0, 4_000.0, 9_500.0])
def test_the_chance_of_coming_to_light_is_the_stated_integral(run_km):
    chances = [0.05, 0.08, 0.2, 0.33]
    got = to_light_chances(np.array([chances]), np.array([run_km]), 1 / 3_000)
    assert got[0] == pytest.approx(_numerically(chances, run_km, 1 / 3_000), rel=1e-6)


def test_a_defect_that_comes_to_light_at_once_has_the_chance_of_the_defect():
    chances = np.array([[0.05, 0.08, 0.2, 0.33]])
    for km, expected in ((1_000.0, 0.08), (5_000.0, 0.2), (10_000.0, 0.33)):
        assert to_light_chances(chances, np.array([km]), 10.0)[0] == pytest.approx(
            expected, abs=1e-3
        )


def test_no_km_run_brings_nothing_to_light_and_more_km_more():
    chances = np.tile([0.3, 0.35, 0.4, 0.5], (6, 1))
    got = to_light_chances(chances, np.array([0, 500, 5e3, 1e4, 3e4, 9e4]), 1 / 4_000)
    assert got[0] == 0
    assert (np.diff(got) > 0).all()
    assert got[-1] < 1


@pytest.fixture
def defects(monkeypatch):
    """Days of defects, given as a list; no record is scored."""
    looked = []

    def record_of(connection, parts, span):
        looked.insert(0, span)  # the latest is looked at first

    def given(days: list[date]) -> tuple[Backtest, list]:
        connection = duckdb.connect()
        connection.execute("create schema marts")
        frame = pd.DataFrame({"found_on": pd.to_datetime(pd.Series(days, dtype=object))})
        connection.register("given", frame)
        connection.execute("create table marts.life_windows as from given")
        result = backtest(connection, date(2026, 6, 30))
        about = connection.execute("from marts.backtest_about").df().to_dict("records")[0]
        assert about["reason"] == (result.reasons[0] if result.reasons else None)
        return result, looked

    monkeypatch.setattr(job, "_record_of", record_of)
    monkeypatch.setattr(job, "_scores_or_why_not", lambda record: Backtest().scored)
    return given


def test_too_few_defects_are_not_looked_back_on_and_the_reason_says_how_many(defects):
    result, looked = defects([date(2024, 1, 1)] * 9)
    assert not looked
    assert result.reasons[0].startswith("9 confirmed defects are on record.")


def test_ten_defects_of_late_are_too_short_a_time(defects):
    result, looked = defects([date(2026, 5, 1)] * 10)
    assert not looked
    assert "2026-05-01, less than 180 days" in result.reasons[0]


def test_dates_begin_with_the_tenth_defect_meet_end_to_end_and_stop_with_the_records(defects):
    days = [date(2020, 1, 1)] * 9 + [date(2025, 1, 1)] + [date(2026, 1, 1)] * 5
    _, looked = defects(days)
    assert [at for at, _ in looked] == [date(2025, 1, 6), date(2025, 7, 5), date(2026, 1, 1)]
    assert [until for _, until in looked[:-1]] == [at for at, _ in looked[1:]]
    assert looked[-1][1] == date(2026, 6, 30)


def test_at_most_eight_dates_and_those_the_latest(defects):
    _, looked = defects([date(2015, 1, 1)] * 12)
    assert len(looked) == 8
    assert looked[-1][1] == date(2026, 6, 30)


def test_a_shop_with_too_few_defects_still_builds_and_says_why_nothing_was_scored(home, tmp_path):
    report = hand_in(home, tmp_path / "shop", SHOP)
    ((dates, reason),) = query(home, report, "select dates, reason from marts.backtest_about")
    assert dates == 0
    assert reason.startswith("1 confirmed defect")
    for table in ("scores", "skill", "calibration"):
        assert query(home, report, f"from marts.backtest_{table}") == []
