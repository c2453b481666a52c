import pytest

from dashboard.charts.dropout import dropout_chart, dropout_reading, window_around
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_views import dropouts, trace


def around() -> tuple:
    """Samples 40 to 60, drop-outs at 48 to 50 and at 55; the first is looked at."""
    samples = trace(200).iloc[40:61].reset_index(drop=True)
    both = dropouts(2).assign(first_sample_no=[48, 55], last_sample_no=[50, 55])
    return samples, both.iloc[0].to_dict(), both


def test_the_window_around_a_drop_out_holds_it_and_starts_no_earlier_than_the_sweep():
    assert window_around({"start_s": 0.05, "length_s": 0.01}) == (0.0, pytest.approx(0.26))
    assert window_around({"start_s": 1.0, "length_s": 0.5}) == pytest.approx((0.8, 1.7))


def test_every_sample_is_a_point_of_its_own_and_none_are_joined():
    samples, one, both = around()
    spec = spec_of(dropout_chart(samples, one, both, channel="volt"))
    (points,) = layers_with(spec, "point")
    assert len(data_of(spec, points)) == 21
    assert layers_with(spec, "line") == []


def test_what_lies_within_this_and_within_another_drop_out_has_a_shape_of_its_own():
    samples, one, both = around()
    spec = spec_of(dropout_chart(samples, one, both, channel="volt"))
    (points,) = layers_with(spec, "point")
    by_kind = {}
    for row in data_of(spec, points):
        by_kind.setdefault(row["sample"], []).append(row["sample_no"])
    assert by_kind["within the drop-out"] == [48, 49, 50]
    assert by_kind["within another drop-out"] == [55]
    shape = points["encoding"]["shape"]["scale"]
    assert len(set(shape["range"])) == len(shape["domain"]) == 3
    assert spec["title"]["subtitle"] == "n = 21 samples, 3 of them within the drop-out"


def test_the_legend_names_only_what_is_there():
    samples, one, both = around()
    spec = spec_of(dropout_chart(samples.iloc[:13], one, both, channel=None))
    (points,) = layers_with(spec, "point")
    assert points["encoding"]["shape"]["scale"]["domain"] == ["sample", "within the drop-out"]
    assert "unit not recorded" in spec["title"]["text"]


def test_the_reading_counts_before_within_and_after():
    samples, one, _ = around()
    assert dropout_reading(samples, one) == (
        "3 samples within the drop-out, 8 in the 200 ms before it and 10 in the 200 ms after it."
    )
    assert dropout_reading(samples.iloc[:0], one).startswith("0 samples within")
