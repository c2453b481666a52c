import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.plans.settings import PlanSettings, declared
from pipeline.home import Home
from pipeline.intake.settings.settings_file import (
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


def test_a_line_that_cannot_be_read_is_named_and_the_others_hold(home):
    home.settings.write_text(
        "[costs]\npart_cost_if_unknown = 12,5\nlabour_cost_per_hour = = 3\ntest_hours = 0.7\n"
        "[stock\nreview_days = 14\nreview_days = 15\n"
    )
    found = read_settings(home)
    assert found.settings == PlanSettings(test_hours=0.7, review_days=14)
    assert found.problems == (
        "settings.toml, line 2: part_cost_if_unknown is 12,5, which cannot be read, expected a "
        "number from 0.01 to 1000000, with a point: 12.5; it stays at its assumed default.",
        "settings.toml, line 3: labour_cost_per_hour is = 3, which cannot be read, expected a "
        "number from 0 to 100000; it stays at its assumed default.",
        "settings.toml, line 5: [stock cannot be read; it is left out.",
        "settings.toml, line 7: review_days = 15 cannot be read; it is left out.",
    )


def test_a_file_in_which_no_one_line_is_at_fault_is_told_as_a_whole(home):
    home.settings.write_text('[costs]\ntest_hours = 0.7\ncurrency = """crowns\n')
    found = read_settings(home)
    assert found.settings == PlanSettings()
    assert "settings.toml: not readable" in found.problems[0]


@pytest.mark.parametrize(
    ("said", "days", "closed"),
    [
        ('working_days = "saturday, Mon"', "Monday, Saturday", ""),
        ('working_days = ["Tue", "Fr."]', "Tuesday, Friday", ""),
        ("closed_days = [2027-01-01, '2026-12-25']", None, "2026-12-25, 2027-01-01"),
        ("closed_days = 2026-12-25", None, "2026-12-25"),
        ('closed_days = "2026-12-25; 2026-12-25"', None, "2026-12-25"),
    ],
)
def test_working_and_closed_days_may_be_a_text_or_a_list(home, said, days, closed):
    home.settings.write_text(f"[checks]\n{said}\n")
    found = read_settings(home)
    assert not found.problems
    assert found.settings.working_days == (days or PlanSettings.working_days)
    assert found.settings.closed_days == closed
    write_settings(home, found.settings)
    assert read_settings(home).settings == found.settings


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ('working_days = "Monday, Funday"', "days of the week parted by commas"),
        ("working_days = []", "days of the week parted by commas"),
        ("working_days = 5", "days of the week parted by commas"),
        ('closed_days = "25.12.2026"', "dates as 2026-12-25 parted by commas, or none"),
        ("closed_days = [2026]", "dates as 2026-12-25 parted by commas, or none"),
        ('private_not_known = "never"', "one of ask in, wait"),
    ],
)
def test_days_that_are_none_are_named_with_their_line(home, said, expected):
    home.settings.write_text(f"[checks]\nweeks_ahead = 4\n{said}\n")
    found = read_settings(home)
    assert found.settings == PlanSettings(weeks_ahead=4)
    assert found.problems[0].startswith(f"settings.toml, line 3: {said.split()[0]} is ")
    assert f"expected {expected}" in found.problems[0]


def test_bytes_that_are_no_text_are_told(home):
    home.settings.write_bytes(b"\xff\xfe[costs]")
    assert "not readable" in read_settings(home).problems[0]


def test_a_transfer_needs_both_owners(home):
    home.settings.write_text(
        '[transfers]\nnorth = ["mill", "east"]\n[transfers_taken]\nmill = ["north"]\n'
    )
    found = read_settings(home)
    assert found.transfers == (("north", "mill"),)
    (told,) = found.problems
    assert "east takes them from north: none is proposed until both owners agree" in told


def test_what_stands_behind_a_pooled_figure_can_be_set(home):
    home.settings.write_text("[pooled]\npooled_least_shops = 1\npooled_least_sensors = 0\n")
    found = read_settings(home)
    assert (found.pooled.pooled_least_shops, found.pooled.pooled_least_sensors) == (1, 30)
    assert "pooled_least_sensors is 0" in found.problems[0]


@pytest.mark.parametrize("said", ['transfers = "all"', "[transfers]\nnorth = 5"])
def test_odd_transfers_are_told(home, said):
    home.settings.write_text(said + "\n")
    found = read_settings(home)
    assert found.transfers == ()
    assert "expected" in found.problems[0]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=20))
def test_any_currency_can_be_written(currency):
    text = settings_text(PlanSettings(currency=currency))
    assert tomllib.loads(text)["costs"]["currency"] == currency
