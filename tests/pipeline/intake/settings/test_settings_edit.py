"""Single settings are changed in place: what else stands in the file is the owner's own."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.plans.settings import PlanSettings, declared
from pipeline.home import Home, HomeError
from pipeline.intake.settings.settings_edit import keep_settings, set_in
from pipeline.intake.settings.settings_file import known_settings, read_settings, settings_text
from pipeline.intake.settings.shown_settings import ShownSettings

OWN = """\
# what Ida and I agreed on in spring
[costs]
labour_cost_per_hour = 82.5   # with the apprentice, "half" # each
test_hours = 0.7

fee = 3
[transfers]
test_hours = ["mill-lane"]
north = ["mill-lane"]
[transfers_taken]
mill-lane = ["test_hours", "north"]
"""


@pytest.fixture
def home(tmp_path):
    return Home(tmp_path)


def test_comments_unknown_lines_and_shops_stay(home):
    home.settings.write_text(OWN)
    assert keep_settings(home, {"labour_cost_per_hour": 90.0, "test_hours": 0.9}) == {}
    assert home.settings.read_text() == OWN.replace("82.5", "90.0").replace("0.7", "0.9")


def test_a_setting_that_is_not_there_goes_to_its_section_with_its_meaning(home):
    home.settings.write_text(OWN)
    keep_settings(home, {"currency": "crowns"})
    before, _, after = OWN.partition("fee = 3\n")
    text = home.settings.read_text()
    assert text.startswith(f"{before}fee = 3\n# name of the currency")
    assert text.endswith(f'default ""\ncurrency = "crowns"\n{after}')


def test_a_section_that_is_not_there_is_begun(home):
    home.settings.write_text(OWN)
    keep_settings(home, {"distances": "miles", "dates": "day month year"})
    found = read_settings(home)
    assert found.shown == ShownSettings(distances="miles", dates="day month year")
    assert home.settings.read_text().startswith(OWN.rstrip("\n"))
    assert home.settings.read_text().count("[shown]") == 1
    assert found.transfers == (("test_hours", "mill-lane"), ("north", "mill-lane"))


def test_what_cannot_stand_is_named_and_nothing_is_written(home):
    home.settings.write_text(OWN)
    faults = keep_settings(
        home, {"test_hours": -1, "distances": "ells", "review_days": 14, "wage": 1}
    )
    assert faults == {
        "test_hours": "expected a number from 0.01 to 24",
        "distances": "expected one of km, miles",
        "wage": "a setting of this name does not exist",
    }
    assert home.settings.read_text() == OWN


def test_levels_are_held_against_those_in_the_file(home):
    home.settings.write_text("[replace_or_test]\nreplace_above = 0.3\n")
    assert "test_above" in keep_settings(home, {"test_above": 0.4})


@pytest.mark.parametrize(
    "said",
    [
        "test_hours = 0,7  # decimal comma",
        "test_hours = = 1",
        "test_hours = 'often'",
        "test_hours = -4",
        '"test_hours" = 99',
    ],
)
def test_a_value_that_could_not_stand_is_mended_in_its_place(home, said):
    home.settings.write_text(f"[costs]\n{said}\nreplace_hours = 0.9\n")
    assert read_settings(home).problems
    assert keep_settings(home, {"test_hours": 0.5}) == {}
    found = read_settings(home)
    assert not found.problems
    assert found.settings == PlanSettings(test_hours=0.5, replace_hours=0.9)
    assert "# decimal comma" in home.settings.read_text() or "#" not in said


def test_a_list_over_several_lines_is_replaced_whole(home):
    home.settings.write_text(
        '[checks]\nclosed_days = [\n  2026-12-25,\n  "2027-01-01",\n]\nweeks_ahead = 4\n'
    )
    assert keep_settings(home, {"closed_days": "2026-12-24"}) == {}
    found = read_settings(home)
    assert found.settings == PlanSettings(closed_days="2026-12-24", weeks_ahead=4)
    assert not found.problems


def test_the_file_keeps_its_byte_order_mark_and_its_line_ends(home):
    home.settings.write_bytes(b"\xef\xbb\xbf" + OWN.replace("\n", "\r\n").encode())
    keep_settings(home, {"test_hours": 0.9})
    assert home.settings.read_bytes() == (
        b"\xef\xbb\xbf" + OWN.replace("0.7", "0.9").replace("\n", "\r\n").encode()
    )


def test_where_there_is_no_file_it_is_laid_out_whole(home):
    keep_settings(home, {"base_address": "http://shop:8650"})
    assert set(declared()) <= set(home.settings.read_text().replace("=", " ").split())
    assert read_settings(home).shown.base_address == "http://shop:8650"


def test_what_is_set_already_leaves_the_file_untouched(home):
    home.settings.write_text(OWN)
    stamp = home.settings.stat().st_mtime_ns
    assert keep_settings(home, {"test_hours": 0.7}) == {}
    assert home.settings.stat().st_mtime_ns == stamp


def test_a_file_that_cannot_be_read_is_not_written_over(home):
    home.settings.write_text('[costs]\ncurrency = """crowns\n')
    with pytest.raises(HomeError, match="nothing was changed"):
        keep_settings(home, {"test_hours": 0.9})
    assert home.settings.read_text() == '[costs]\ncurrency = """crowns\n'


def test_a_form_that_cannot_be_changed_here_is_said_and_put_back(home):
    text = "costs = { test_hours = 0.7 }\n"
    home.settings.write_text(text)
    with pytest.raises(HomeError, match="test_hours in a form"):
        keep_settings(home, {"test_hours": 0.9})
    assert home.settings.read_text() == text


@given(st.text(max_size=30), st.sampled_from([OWN, "", settings_text(PlanSettings())]))
def test_any_text_can_be_set_in_any_file(tmp_path_factory, currency, text):
    home = Home(tmp_path_factory.mktemp("edit"))
    home.settings.write_text(set_in(text, "currency", currency), encoding="utf-8", newline="")
    assert read_settings(home).settings.currency == currency


def test_every_setting_can_be_set(home):
    home.settings.write_text(OWN)
    values = {name: default for name, (_, default) in known_settings().items()}
    assert keep_settings(home, values) == {}
    assert read_settings(home).settings == PlanSettings()
