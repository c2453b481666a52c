import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.plans.settings import PlanSettings, declared
from pipeline.home import Home
from pipeline.intake.settings_file import (
    changed_settings,
    read_settings,
    settings_text,
    write_settings,
)


@pytest.fixture
def home(tmp_path):
    return Home(tmp_path)


def test_no_file_is_all_assumed(home):
    found = read_settings(home)
    assert found.settings == PlanSettings()
    assert not found.problems
    assert changed_settings(found.settings) == []


def test_the_file_says_what_each_setting_means_and_that_it_is_assumed(home):
    write_settings(home, PlanSettings())
    text = home.settings.read_text(encoding="utf-8")
    for name, (bounds, _) in declared().items():
        line = text.splitlines().index(next(x for x in text.splitlines() if x.startswith(name)))
        above = text.splitlines()[line - 1]
        assert above.startswith(f"# {bounds.meaning}")
        assert "assumed default" in above


def test_what_is_written_comes_back(home):
    given_settings = PlanSettings(currency='cr"own\\s', road_failure_cost=900.0, review_days=14)
    pairs = (("mill lane", "harbour"), ("north", "harbour"), ("north", "mill lane"))
    write_settings(home, given_settings, pairs)
    found = read_settings(home)
    assert found.settings == given_settings
    assert found.transfers == pairs
    assert not found.problems
    assert changed_settings(found.settings) == ["currency", "road_failure_cost", "review_days"]


def test_a_bad_value_is_named_with_its_line_and_the_others_hold(home):
    home.settings.write_text("[costs]\n\nlabour_cost_per_hour = -3\ntest_hours = 0.7\nfee = 1\n")
    found = read_settings(home)
    assert found.settings == PlanSettings(test_hours=0.7)
    assert found.problems == (
        "settings.toml, line 3: labour_cost_per_hour is -3, expected a number from 0 to 100000; "
        "it stays at its assumed default.",
        "settings.toml, line 5: fee: a setting of this name does not exist; it is left out.",
    )


def test_a_file_that_cannot_be_read_says_where(home):
    home.settings.write_text("[costs]\nlabour_cost_per_hour = = 3\n")
    found = read_settings(home)
    assert found.settings == PlanSettings()
    assert "settings.toml: not readable" in found.problems[0]
    assert "line 2" in found.problems[0]


def test_bytes_that_are_no_text_are_told(home):
    home.settings.write_bytes(b"\xff\xfe[costs]")
    assert "not readable" in read_settings(home).problems[0]


@pytest.mark.parametrize("said", ['transfers = "all"', "[transfers]\nnorth = 5"])
def test_odd_transfers_are_told(home, said):
    home.settings.write_text(said + "\n")
    found = read_settings(home)
    assert found.transfers == ()
    assert "expected" in found.problems[0]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.text(max_size=20))
def test_any_currency_can_be_written(currency):
    text = settings_text(PlanSettings(currency=currency))
    assert tomllib.loads(text)["costs"]["currency"] == currency
