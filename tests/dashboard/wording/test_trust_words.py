"""How far to trust the chances, in sentences."""

import pandas as pd
import pytest

from dashboard.wording.trust_words import (
    advice_reading,
    advice_table,
    answered_reading,
    calibration_reading,
    fit_in_words,
    group_names,
    life_in_words,
    looked_back,
    quantity_range,
    silence_reading,
    skill_in_words,
)
from pipeline.access.frames import view_schemas as schemas
from tests.dashboard.fake_trust import (
    calibration,
    fit,
    life_quantiles,
    over_sensitivity,
    silence,
    skill,
    trust_view,
)
from tests.dashboard.fake_views import rows


def test_chances_that_do_no_better_than_age_alone_are_said_to():
    worse = skill().assign(log_loss=[0.25, 0.24, None])
    assert "km alone did as well or better" in skill_in_words(worse)[-1]
    assert "they were the better ones" in skill_in_words(skill())[-1]


def test_without_a_single_defect_nothing_is_compared():
    none = skill().assign(top_tenth_share=None, n_found=0)
    assert skill_in_words(none) == [
        "No defect came to light after any date, so nothing can be compared."
    ]


def test_a_date_that_could_not_be_scored_is_named():
    view = trust_view()
    about = view.about | {"reason": "The record of 2023-01-01 could not be scored: odd."}
    assert looked_back(about, view.skill)[-1].startswith("The record of 2023-01-01")


@pytest.mark.parametrize(("found", "within"), [(1, True), (33, True), (60, False), (0, False)])
def test_a_group_is_outside_only_beyond_the_range_by_more_than_half_a_defect(found, within):
    row = rows(
        schemas.BACKTEST_CALIBRATION, 1, by="part", group="P-1", n=99, found=float(found),
        expected=33.0 if found > 1 else 5.0, sd=4.0 if found > 1 else 2.6,
    )  # fmt: skip
    if found == 0:
        row = row.assign(expected=6.0, sd=2.0)
    assert calibration_reading(row).startswith(f"In {1 if within else 0} of 1 group")


def test_tenths_are_named_by_their_chances_and_other_groups_by_themselves():
    assert group_names(calibration()).tolist()[:3] == [
        "0.1 to 0.6 in 100",
        "23.4 to 81 in 100",
        "P-1",
    ]


def test_a_life_is_given_to_three_figures_and_never_beyond_what_was_watched():
    b10, _, _, beyond = life_quantiles().to_dict("records")
    assert life_in_words(b10) == "about 16,700 km, likely 11,200 to 20,200 km"
    assert life_in_words(beyond) == "beyond 40,000 km, the oldest sensor watched"
    assert life_in_words(b10 | {"life_high_km": None}).endswith("to beyond the oldest watched")


def test_shares_and_distances_have_their_ranges():
    share, km = trust_view().learned.to_dict("records")
    assert quantity_range(share, "assumed") == "about 90 in 100, likely 77 to 98"
    assert quantity_range(km, "learned") == "about 4,900 km, likely 3,730 to 6,440 km"
    times = {"unit": "times", "learned": 1.8221, "learned_low": 1.112, "learned_high": 2.98}
    assert quantity_range(times, "learned") == "about 1.8 times, likely 1.1 to 3"


def test_advice_is_counted_over_all_actions():
    table = advice_table(over_sensitivity())
    assert table[["replace", "test", "not_enough_known", "leave"]].sum(axis=1).tolist() == [
        110,
        110,
    ]
    assert table["changed"].tolist() == [1, 0]
    assert "stays the same for all 110 sensors" in advice_reading(over_sensitivity(changed=0))
    assert advice_table(schemas.ADVICE_OVER_SENSITIVITY.empty()).equals(pd.DataFrame())


def test_what_silence_is_worth_is_said_in_defects_and_in_sensors():
    said = silence_reading(silence())
    assert "expect 11.2 with a defect now; if silence told nothing, 18.3" in said
    assert "the chance of 43 would differ" in said
    assert "No sensor has a chance" in silence_reading(schemas.SILENCE.empty())


def test_what_became_of_advice_that_was_not_followed_is_said():
    said = answered_reading(trust_view().answered)
    assert said.startswith("7 of 9 times the shop answered. Of 4 times")
    assert "1 ended in a road failure" in said


def test_a_curve_says_on_which_records_it_was_fitted_and_why_it_stands():
    said = fit_in_words(fit())
    assert said.startswith("The curve was fitted to the records as of 2026-10-31: 2,431 sensor")
    assert "1 defect is new, changed or taken back, and 6,000 km of running" in said
    assert "so it stands" in said
    assert "stands" not in fit_in_words(fit(why_fitted="the records have changed"))
    assert "stands" not in fit_in_words(fit(defects_since=0, km_since=0.0))
