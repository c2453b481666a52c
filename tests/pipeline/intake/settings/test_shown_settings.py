"""How values are shown: read from the owner's file, each wrong value named by its line."""

import pytest

from models.plans.settings import PlanSettings
from pipeline.home import Home
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.settings.settings_file import read_settings, settings_text
from pipeline.intake.settings.shown_settings import (
    BY_DAY,
    MILES,
    ShownSettings,
    declared_shown,
    is_base_address,
    is_time_zone,
)


@pytest.fixture
def home(tmp_path):
    return Home(tmp_path)


def test_without_a_file_everything_is_at_its_default(home):
    assert read_settings(home).shown == ShownSettings()


def test_what_is_written_comes_back(home):
    shown = ShownSettings(MILES, BY_DAY, "German", "Europe/Berlin", "https://bikes.example:8650/a")
    home.settings.write_text(settings_text(PlanSettings(), shown=shown), encoding="utf-8")
    found = read_settings(home)
    assert found.shown == shown
    assert found.settings == PlanSettings()
    assert not found.problems


def test_keeping_costs_leaves_how_values_are_shown(home):
    home.settings.write_text('[shown]\nbase_address = "http://shop:8650"\n')
    assert keep_settings(home, {"test_hours": 0.7}) == {}
    assert read_settings(home).shown.base_address == "http://shop:8650"


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ('distances = "furlongs"', "expected one of km, miles"),
        ("dates = 2026-03-14", "expected one of year-month-day, day month year"),
        ('time_zone = "Europe/Nowhere"', "expected a time zone such as Europe/Berlin, or nothing"),
        ('base_address = "shop"', "expected an address such as http://192.168.1.20:8650, or noth"),
        ("base_address = 8650", "expected a text in quotes"),
    ],
)
def test_what_cannot_stand_is_named_with_its_line(home, said, expected):
    home.settings.write_text(f"[costs]\ntest_hours = 0.7\n[shown]\n{said}\n")
    found = read_settings(home)
    assert found.shown == ShownSettings()
    assert found.settings == PlanSettings(test_hours=0.7)
    (problem,) = found.problems
    assert problem.startswith(f"settings.toml, line 4: {said.split()[0]} is ")
    assert expected in problem


@pytest.mark.parametrize(
    ("text", "stands"),
    [
        ("", True),
        ("http://192.168.1.20:8650", True),
        ("https://bikes.example/shop/", True),
        ("192.168.1.20:8650", False),
        ("http://", False),
        ("http://shop:port", False),
        ("http://shop/?a=1", False),
        ("http://shop/#a", False),
        ("http://a shop", False),
        ("javascript:alert(1)", False),
        ("http://" + "a" * 200, False),
    ],
)
def test_a_base_address_is_one_that_pages_can_stand_below(text, stands):
    assert is_base_address(text) is stands


@pytest.mark.parametrize(
    ("text", "stands"), [("", True), ("UTC", True), ("../UTC", False), ("\0", False), ("x", False)]
)
def test_a_time_zone_is_one_that_is_known(text, stands):
    assert is_time_zone(text) is stands


def test_a_value_that_cannot_stand_is_refused():
    with pytest.raises(ValueError, match="distances"):
        ShownSettings(distances="ells")


def test_every_default_stands():
    assert all(not bounds.fault(value, value) for bounds, value in declared_shown().values())
