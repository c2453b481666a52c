"""Distances, dates and clock times follow the settings of whoever reads, and nobody else's."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import shown_as, words
from dashboard.charts.odometer import odometer_chart, odometer_reading
from dashboard.charts.survival import survival_chart
from dashboard.forms import fields
from dashboard.wording import date_words
from pipeline.intake.settings.shown_settings import BY_DAY, LANGUAGES, ShownSettings

MILES = ShownSettings(distances="miles")


@pytest.fixture
def reader(monkeypatch):
    """A function that takes settings up as a page of one reader would."""
    monkeypatch.setattr(shown_as, "_by_session", {})
    monkeypatch.setattr(shown_as, "_session", lambda: "one")
    return shown_as.show_as


def test_outside_a_page_everything_is_at_its_default():
    shown_as.show_as(MILES)
    assert shown_as.shown_as() == ShownSettings()


def test_each_reader_has_settings_of_their_own(reader, monkeypatch):
    reader(MILES)
    monkeypatch.setattr(shown_as, "_session", lambda: "another")
    assert words.km(1609.344) == "1,609 km"
    monkeypatch.setattr(shown_as, "_session", lambda: "one")
    assert words.km(1609.344) == "1,000 miles"


def test_no_more_sessions_are_remembered_than_are_needed(reader, monkeypatch):
    for number in range(shown_as._MOST + 20):
        monkeypatch.setattr(shown_as, "_session", lambda number=number: str(number))
        reader(MILES)
    assert len(shown_as._by_session) == shown_as._MOST


def test_distances_in_miles(reader):
    reader(MILES)
    assert words.km(1.609344) == "1 mile"
    assert words.km(0) == "0 miles"
    assert words.km(None) == "not known"
    assert words.km_span(16_093.44, 32_186.88) == "10,000 to 20,000 miles"
    assert words.km_a_day(80.4672) == "50 miles a day"


def test_distances_in_km():
    assert words.km(12_345.4) == "12,345 km"
    assert words.km_span(1000, 2500) == "1,000 to 2,500 km"
    assert words.km_span(None, 2500) == "up to 2,500 km"
    assert words.km_a_day(34.4) == "34 km a day"


@given(st.floats(0, 1e7))
def test_a_distance_in_miles_is_right_to_half_a_mile_however_far(distance_km):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(words, "shown_as", lambda: MILES)
        said = words.km(distance_km).split()[0].replace(",", "")
    assert abs(int(said) - distance_km * 0.621371192237334) <= 0.5 + 1e-6


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("English", "1 March 2026"),
        ("German", "1. März 2026"),
        ("French", "1er mars 2026"),
        ("Spanish", "1 de marzo de 2026"),
        ("Italian", "1 marzo 2026"),
        ("Dutch", "1 maart 2026"),
        ("Portuguese", "1 de março de 2026"),
    ],
)
def test_a_day_with_its_month_named(reader, language, said):
    reader(ShownSettings(dates=BY_DAY, language_of_dates=language))
    assert words.day("2026-03-01") == said


def test_every_language_has_twelve_months_none_twice():
    for language in LANGUAGES:
        days = pd.date_range("2026-01-15", periods=12, freq="MS")
        assert len({date_words.day_with_month(at, language) for at in days}) == 12


def test_a_clock_time_is_shown_in_the_zone_that_is_set(reader):
    at = "2026-07-14T09:20:00+00:00"
    assert words.moment(at) == "2026-07-14, 09:20 (UTC+00:00)"
    reader(ShownSettings(time_zone="Europe/Berlin", dates=BY_DAY))
    assert words.moment(at) == "14 July 2026, 11:20 (UTC+02:00)"
    assert words.moment("2026-07-14T23:30:00+00:00").startswith("15 July")


def _odometer() -> pd.DataFrame:
    days = pd.to_datetime(["2026-01-01", "2026-01-11"])
    return pd.DataFrame({"read_on": days, "odometer_km": [1609.344, 3218.688], "source": "test"})


def test_the_odometer_chart_and_its_reading_are_in_the_shown_unit(reader):
    reader(MILES)
    spec = odometer_chart(_odometer()).to_dict()
    (rows,) = spec["datasets"].values()
    assert [row["odometer_shown"] for row in rows] == pytest.approx([1000, 2000])
    assert "Odometer, miles" in str(spec)
    assert "km" not in str(spec["title"])
    assert odometer_reading(_odometer()) == (
        "Last read 2,000 miles on 2026-01-11, 100 miles a day on average since 2026-01-01."
    )


def test_the_curve_is_drawn_over_the_shown_unit(reader):
    reader(MILES)
    curve = pd.DataFrame(
        {
            "age_km": [0.0, 16_093.44],
            "survival": [1.0, 0.9],
            "survival_low": [1.0, 0.8],
            "survival_high": [1.0, 0.95],
            "sensor_count": [4, 2],
            "defect_count": [1, 1],
        }
    )
    spec = survival_chart(curve).to_dict()
    assert "Run by the sensor, miles" in str(spec)
    assert max(row["age_shown"] for rows in spec["datasets"].values() for row in rows) == (
        pytest.approx(10_000)
    )


def test_miles_typed_are_kept_as_km(reader):
    reader(MILES)
    assert fields.as_cell("odometer", "odometer_km", 10_000.0) == "16093.4"
    assert fields.as_cell("test_sessions", "closed_v", 0.52) == "0.52"
    assert fields.as_cell("odometer", "odometer_km", None) is None
    # what is read back is what was typed
    assert words.km(16093.4) == "10,000 miles"
