import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import words


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        (0.04, 0.02, 0.07, "about 4 in 100, likely 2 to 7"),
        (0.04, None, None, "about 4 in 100"),
        (0.001, 0.0, 0.02, "less than 1 in 100, likely up to 2"),
        (0.001, 0.0, 0.004, "less than 1 in 100"),
        (0.999, 0.98, 1.0, "more than 99 in 100, likely 98 to 100"),
        (0.3, 0.3, 0.3, "about 30 in 100, likely 30"),
        (float("nan"), None, None, "not known"),
    ],
)
def test_a_chance_is_said_out_of_100_with_its_likely_range(value, low, high, said):
    assert words.chance(value, low, high) == said


@given(st.floats(0, 1, exclude_min=True, exclude_max=True))
def test_a_chance_is_never_rounded_to_none_or_all(value):
    assert words.in_100(value) not in ("0", "100")


def test_a_day_is_the_same_everywhere_and_a_moment_keeps_its_own_offset():
    assert words.day(pd.Timestamp("2026-03-04")) == "2026-03-04"
    assert words.moment("2026-03-14T09:20:00+05:30") == "2026-03-14, 09:20 (UTC+05:30)"


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (4623.401, "ohm", "4,623 ohm"),
        (0.82591, "ohm", "0.8 ohm"),
        (0.82591, "", "0.826"),
        (4.9721, "V", "4.97 V"),
        (-0.6343, "%", "\u22120.6 %"),
        (0.0, "ohm", "0 ohm"),
    ],
)
def test_a_reading_is_shown_to_what_a_meter_shows(value, unit, said):
    assert words.figures(value, unit) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (4.75, 5.25, "4.75 to 5.25 V"),
        (4.75, None, "from 4.75 V"),
        (None, 5.25, "up to 5.25 V"),
        (None, None, "none"),
    ],
)
def test_a_range_may_have_one_limit_only(low, high, said):
    assert words.good_range({"low": low, "high": high, "unit": "V"}, "none") == said


def test_the_two_events_and_neither_are_told_apart():
    said = [
        words.repair_counts_as(event) for event in ("defect", "road_failure", None, float("nan"))
    ]
    assert said[0].startswith("defect:")
    assert said[1].startswith("road failure:")
    assert said[2] == said[3]
    assert said[2].startswith("neither:")


@pytest.mark.parametrize("blank", [None, float("nan"), pd.NA, pd.NaT, ""])
def test_a_blank_is_said_to_be_unknown_and_never_shown_as_nan(blank):
    shown = [
        words.plain(blank),
        words.km(blank),
        words.number(blank),
        words.figures(blank),
        words.travel(blank),
        words.day(blank),
        words.moment(blank),
        words.milliseconds(blank),
        words.chance(blank),
    ]
    assert set(shown) == {"not known"}


def test_no_word_list_calls_a_bike_safe_or_a_sensor_good():
    # Only the disclaimer may hold the word.
    lists = [
        v for v in vars(words).values() if isinstance(v, dict) and v is not words.ACTION_MEANINGS
    ]
    said = " ".join(str(text) for texts in lists for text in texts.values()).replace(
        "learned from good sensors", ""
    )
    assert "safe" not in said
    assert "good" not in said
    assert "no statement that the bike is safe" in words.ACTION_MEANINGS["leave"]


def test_short_times_keep_two_figures_however_short():
    said = [words.milliseconds(ms) for ms in (0.0208, 0.125, 5.0, 125.4)]
    assert said == ["0.021 ms", "0.12 ms", "5.0 ms", "125 ms"]
