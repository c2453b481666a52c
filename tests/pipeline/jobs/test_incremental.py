"""A day's files handed in: as a rebuild from nothing given the same fit, and no fit without need."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import models.risk.evidence_moved as rule
from models.simulate.shops import simulate_shops
from pipeline.home import Home
from pipeline.jobs.ingest import ingest, rebuild
from pipeline.jobs.seed import write_csv
from pipeline.warehouse.build import build
from tests.pipeline.damage_done import dump

AS_OF, NEXT_DAY = "2026-10-31", "2026-11-01"
#: What is remembered of sensors, apart from the fit and from what is worked out once with it.
REMEMBERED = ("spreads*", "explained*", "fits*", "wear_lives*", "wear_sweeps*")
#: Tables each row of which names the fit that it was made with.
FITTED = (
    *("defect_risk", "fleet_curve", "life_quantiles", "risk_ahead", "risk_explained", "advice"),
    *("risk_summary", "assumed_and_learned", "sensor_outlook", "defect_by_km", "defect_by_day"),
    *("new_life_curve", "plan_rates", "sensitivity_evidence", "worklist", "risk_fit"),
    *("advice_over_sensitivity", "backtest_about", "backtest_scores", "backtest_skill"),
    *("backtest_calibration",),
)


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> tuple[Path, Path]:
    """Files of some shops up to a day, and those of one day more."""
    folder = tmp_path_factory.mktemp("shops")
    first, later = folder / "first", folder / "later"
    first.mkdir(), later.mkdir()
    tables = simulate_shops(7, n_bikes=40, sweeps=False, mistakes=False).tables
    for name, table in tables.items():
        write_csv(table, first / f"{name}.csv")
    write_csv(_readings(tables), later / "odometer.csv")
    write_csv(_tests(tables), later / "test_sessions.csv")
    return first, later


def _readings(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    last = tables["odometer"].drop_duplicates("unit_id", keep="last").head(3)
    return last.assign(read_on=NEXT_DAY, odometer_km=last["odometer_km"].astype(int) + 2_000)


def _tests(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    there = tables["sensors"]
    there = there.loc[there["removed_on"].isna(), "sensor_id"]
    tests = tables["test_sessions"]
    last = tests[tests["sensor_id"].isin(there)].drop_duplicates("sensor_id", keep="last").head(2)
    return last.assign(
        session_id=["N-1", "N-2"],
        tested_at=f"{NEXT_DAY}T10:00:00+01:00",
        odometer_km=last["odometer_km"].astype(int) + 4_000,
        verdict="pass",
    )


@pytest.fixture
def home(files, tmp_path, monkeypatch) -> Home:
    """The first files built, by a rule that keeps the fit of so small a record too."""
    monkeypatch.setattr(rule, "FEW_LIVES", 5)
    monkeypatch.setattr(rule, "MOST_TESTS", 0.5)
    home = Home(tmp_path / "home").prepare("demo", as_of=date.fromisoformat(AS_OF))
    ingest(home, [files[0]])
    return home


def _next_day(home: Home) -> Home:
    card = home.root / "home.json"
    card.write_text(card.read_text().replace(AS_OF, NEXT_DAY))
    return Home(home.root)


@pytest.mark.long
def test_an_increment_equals_a_rebuild_from_nothing_given_the_same_fit(home, files):
    before = _fit(home)
    home = _next_day(home)
    ingest(home, [files[1]])
    assert _fit(home)["fit_version"] == before["fit_version"]
    assert before["why_fitted"]
    assert not _fit(home)["why_fitted"]
    increment = dump(home)
    _forget_all_but_the_fit(home)
    build(home, carry=False)
    _same(increment, dump(home))
    for name in FITTED:
        rows = _column(home, name)
        assert rows in ([], [before["fit_version"]]), name


@pytest.mark.long
def test_without_the_fit_all_is_fitted_anew_and_says_so(home, files):
    home = _next_day(home)
    ingest(home, [files[1]])
    stood = _fit(home)
    shutil.rmtree(home.kept_models)
    rebuild(home)
    anew = _fit(home)
    assert anew["fit_version"].startswith(NEXT_DAY)
    assert anew["fit_version"] != stood["fit_version"]
    assert anew["why_fitted"]


@pytest.mark.long
def test_a_defect_taken_back_leads_to_a_new_fit(home, files, tmp_path):
    before = _fit(home)
    repairs = pd.read_csv(files[0] / "repair_outcomes.csv", dtype=str)
    confirmed = repairs[repairs["fault_confirmed"].eq("yes")].tail(4)
    assert len(confirmed) == 4
    changed = tmp_path / "changed"
    changed.mkdir()
    confirmed.assign(fault_confirmed="no", on_road="no").to_csv(
        changed / "repair_outcomes.csv", index=False
    )
    ingest(home, [changed])
    after = _fit(home)
    assert after["fit_version"] != before["fit_version"]
    assert "taken back" in after["why_fitted"]


def _forget_all_but_the_fit(home: Home) -> None:
    for folder in (home.rows, home.measured):
        shutil.rmtree(folder)
        folder.mkdir()
    for pattern in REMEMBERED:
        for path in home.kept_models.glob(pattern):
            path.unlink()


def _fit(home: Home) -> dict:
    return _frame(home, "from marts.risk_fit").to_dict("records")[0]


def _column(home: Home, name: str) -> list[str]:
    found = _frame(home, f"select distinct fit_version from marts.{name}")
    if name == "worklist":  # a contactless sensor has no chance of wear, and no fit
        found = found.dropna()
    return found["fit_version"].tolist()


def _frame(home: Home, statement: str) -> pd.DataFrame:
    from pipeline.statements import connect
    from pipeline.warehouse.publish import newest

    connection = connect(newest(home).path, read_only=True)
    try:
        return connection.execute(statement).df()
    finally:
        connection.close()


def _same(one: dict[str, list[tuple]], other: dict[str, list[tuple]]) -> None:
    """All tables alike: numbers to twelve digits, all else to the letter."""
    assert one.keys() == other.keys()
    for name, rows in one.items():
        if name == "marts.check_events":  # counts its own changes from version to version
            continue
        assert len(rows) == len(other[name]), name
        for mine, theirs in zip(rows, other[name], strict=True):
            for a, b in zip(mine, theirs, strict=True):
                if isinstance(a, float) and isinstance(b, float):
                    assert np.isclose(a, b, rtol=1e-12, atol=1e-12, equal_nan=True), (name, a, b)
                else:
                    assert a == b, (name, mine, theirs)
