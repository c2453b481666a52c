import pandas as pd

from dashboard.charts.odometer import odometer_chart, odometer_reading
from dashboard.charts.readings import (
    IN_RANGE,
    NO_RANGE,
    OUT_OF_RANGE,
    placed,
    range_words,
    readings_chart,
    readings_reading,
)
from pipeline.access.frames import view_schemas as schemas
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_views import band_readings, rows

ODOMETER = rows(
    schemas.ODOMETER,
    3,
    read_on=pd.to_datetime(["2025-09-01", "2025-03-01", "2026-03-01"]),
    odometer_km=[5000.0, 1000.0, 8300.0],
    source=["test", "odometer", "repair"],
)


def of(reading: str) -> pd.DataFrame:
    return band_readings().query("reading == @reading")


def test_the_odometer_is_drawn_in_order_of_time_and_counted():
    spec = spec_of(odometer_chart(ODOMETER))
    assert [row["odometer_km"] for row in data_of(spec, spec["layer"][0])] == [1000, 5000, 8300]
    assert spec["title"] == {
        "anchor": "start",
        "text": "Odometer over time, km",
        "subtitle": "n = 3 readings",
    }


def test_where_a_reading_comes_from_is_told_by_shape_as_well_as_colour():
    (points,) = layers_with(spec_of(odometer_chart(ODOMETER)), "point")
    shapes = points["encoding"]["shape"]["scale"]
    assert len(set(shapes["range"])) == len(shapes["domain"])


def test_the_odometer_reading_gives_the_last_value_and_the_rate():
    assert odometer_reading(ODOMETER) == (
        "Last read 8,300 km on 2026-03-01, 20 km a day on average since 2025-03-01."
    )
    assert odometer_reading(ODOMETER.iloc[:1]).endswith("one day's reading tells no rate.")
    assert odometer_reading(schemas.ODOMETER.empty()) == "No odometer reading is on record."


def test_readings_are_placed_by_the_limits_each_was_judged_by():
    assert placed(band_readings())["place"].tolist() == [IN_RANGE, IN_RANGE, OUT_OF_RANGE, NO_RANGE]


def test_a_reading_on_its_limit_is_in_range_and_one_limit_is_enough():
    frame = of("track_ohm").assign(value=[3500.0, 4600.0, 4700.0], low=float("nan"))
    assert placed(frame)["place"].tolist() == [IN_RANGE, IN_RANGE, OUT_OF_RANGE]


def test_each_point_has_its_own_range_behind_it():
    spec = spec_of(readings_chart(of("track_ohm")))
    (bar,) = layers_with(spec, "rule")
    assert (bar["encoding"]["y"]["field"], bar["encoding"]["y2"]["field"]) == ("low", "high")
    assert {layer["encoding"]["y"]["field"] for layer in layers_with(spec, "tick")} == {
        "low",
        "high",
    }


def test_the_title_names_reading_unit_count_and_where_limits_come_from():
    title = spec_of(readings_chart(of("track_ohm")))["title"]
    assert title["text"] == "Track resistance against its good range, ohm"
    assert title["subtitle"] == "n = 3 readings; limits: learned from good sensors, 25 good sensors"
    assert range_words(of("supply_v")) == "n = 1 reading; no good range yet"


def test_the_reading_sentence_says_where_the_last_one_lies():
    assert readings_reading(of("track_ohm")) == (
        "Last track resistance: 5,200 ohm on 2026-03-01, out of range; 1 of 3 judged readings out of range."
    )
    assert "no good range to hold it against" in readings_reading(of("supply_v"))
