from dataclasses import fields

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.plans.settings import PlanSettings, declared, settings_from


def test_every_setting_has_a_meaning_and_its_default_stands():
    for name, (bounds, default) in declared().items():
        assert bounds.meaning, name
        assert bounds.fault(default, default) == "", name
        if not isinstance(default, str):
            assert bounds.unit, name


def test_nothing_said_is_the_default():
    assert settings_from({}) == (PlanSettings(), {})


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("labour_cost_per_hour", -1, "expected a number from 0 to 100000"),
        ("labour_cost_per_hour", "dear", "expected a number from 0 to 100000"),
        ("labour_cost_per_hour", True, "expected a number from 0 to 100000"),
        ("labour_cost_per_hour", float("nan"), "expected a number from 0 to 100000"),
        ("review_days", 7.5, "expected a whole number from 1 to 90"),
        ("order_by", "feeling", "expected one of filled_share, costs"),
        ("currency", 5, "expected a text in quotes"),
        ("labor", 70, "a setting of this name does not exist"),
    ],
)
def test_a_value_that_cannot_stand_is_named_and_the_others_hold(name, value, expected):
    found, faults = settings_from({name: value, "test_hours": 0.75})
    assert faults == {name: expected}
    assert found == PlanSettings(test_hours=0.75)


def test_levels_that_contradict_one_another_fall_back_together():
    found, faults = settings_from({"test_above": 0.5, "replace_above": 0.4, "test_hours": 1.0})
    assert found == PlanSettings(test_hours=1.0)
    assert set(faults) == {"test_above", "replace_above"}


@pytest.mark.parametrize(("share", "drawn"), [(0.02, 0.02), (0.05, 0.05), (0.25, 0.05), (0.0, 0.0)])
def test_the_share_tested_by_lot_is_never_above_the_safety_floor(share, drawn):
    assert PlanSettings(random_test_share=share, test_above=0.05).lot_share == drawn


def test_settings_made_in_code_are_held_to_the_same_bounds():
    with pytest.raises(ValueError, match="review_days is 0, expected a whole number from 1 to 90"):
        PlanSettings(review_days=0)


ANYTHING = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just([1])
)


NAMES = st.sampled_from([f.name for f in fields(PlanSettings)])


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(NAMES, ANYTHING, max_size=6))
def test_any_values_leave_settings_that_stand(values):
    found, faults = settings_from(values)
    for name, value in values.items():
        if name not in faults:
            assert getattr(found, name) == value


def test_the_safety_floor_cannot_be_switched_off():
    _, faults = settings_from({"test_above": 1.0})
    assert faults == {"test_above": "expected a number from 0.001 to 0.5"}
