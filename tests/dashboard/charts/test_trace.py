import pytest

from dashboard.charts.trace import WINDOW, in_window, trace_chart, trace_reading
from models.sweeps.schemas import DROPOUTS
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_views import dropouts, trace


def test_each_dropout_is_one_wedge_at_its_start():
    spec = spec_of(trace_chart(trace(), dropouts(7), channel="volt"))
    (wedges,) = layers_with(spec, "point")
    assert [row["t_s"] for row in data_of(spec, wedges)] == [1.0 + n for n in range(7)]
    assert wedges["mark"]["shape"] == "triangle-down"


def test_its_span_lies_over_its_own_time():
    spec = spec_of(trace_chart(trace(), dropouts(1), channel="volt"))
    (span,) = layers_with(spec, "rect")
    (row,) = data_of(spec, span)
    assert (row["t_s"], row["end_s"]) == (1.0, pytest.approx(1.01))


def test_the_title_says_what_in_which_unit_and_how_many():
    title = spec_of(trace_chart(trace(50), dropouts(1), channel="ohm"))["title"]
    assert title["text"] == "Sweep: signal over time, ohm"
    assert title["subtitle"] == "50 samples drawn; n = 1 drop-out"


def test_unreadable_samples_break_the_line_and_are_not_joined_over():
    frame = trace(10)
    frame.loc[4, "signal"] = None
    spec = spec_of(trace_chart(frame, dropouts(0), channel="volt"))
    (line,) = layers_with(spec, "line")
    assert [row["reading"] for row in data_of(spec, line)][4] is None
    assert "9 samples" in spec["title"]["subtitle"]


def test_the_second_track_is_dashed_and_only_there_where_recorded():
    one = spec_of(trace_chart(trace(), dropouts(), channel="volt"))
    two = spec_of(trace_chart(trace().assign(signal_b=1.0), dropouts(), channel="volt"))
    assert "track" not in data_of(one, layers_with(one, "line")[0])[0]
    assert "strokeDash" not in layers_with(one, "line")[0]["encoding"]
    tracks = {row["track"] for row in data_of(two, layers_with(two, "line")[0])}
    assert tracks == {"signal", "second track"}
    dash = layers_with(two, "line")[0]["encoding"]["strokeDash"]["scale"]
    assert dict(zip(dash["domain"], dash["range"], strict=True))["second track"] == [5, 3]


def test_a_window_shows_a_part_and_leaves_the_wheel_to_the_page():
    spec = spec_of(
        trace_chart(trace(), dropouts(), channel="volt", window_s=(0.8, 1.21), can_choose=True)
    )
    assert layers_with(spec, "line")[0]["encoding"]["x"]["scale"]["domain"] == [0.8, 1.21]
    (drawn,) = spec["params"]
    assert (drawn["name"], drawn["select"]["encodings"]) == (WINDOW, ["x"])
    assert drawn["select"]["zoom"] is False
    assert "params" not in spec_of(trace_chart(trace(), dropouts(), channel="volt"))


def test_a_part_marks_its_own_dropouts_alone_those_that_reach_into_it_among_them():
    window = (1.005, 2.5)
    spec = spec_of(trace_chart(trace(), dropouts(4), channel="volt", window_s=window))
    (wedges,) = layers_with(spec, "point")
    assert [row["dropout_no"] for row in data_of(spec, wedges)] == [1, 2]
    assert list(in_window(dropouts(4), (1.02, 1.9))["dropout_no"]) == []
    assert trace_reading(trace(), dropouts(4), window).endswith("2 drop-outs (number 1, 2).")
    assert "no drop-out was seen in this part" in trace_reading(trace(), dropouts(4), (1.02, 1.9))


def test_of_many_dropouts_in_a_part_the_first_are_numbered_and_the_rest_counted():
    said = trace_reading(trace(), dropouts(11), (0.0, 20.0))
    assert said.endswith("11 drop-outs (number 1, 2, 3, 4, 5, 6, 7, 8 and 3 more).")


@pytest.mark.parametrize("channel", [None, "volt"])
def test_an_empty_sweep_can_be_drawn_and_is_said_to_be_empty(channel):
    empty = trace(1).iloc[:0]
    spec_of(trace_chart(empty, DROPOUTS.empty(), channel=channel))
    assert trace_reading(empty, DROPOUTS.empty()) == "No sample of this sweep can be drawn."


def test_the_reading_names_the_deepest_and_never_takes_none_seen_for_none():
    assert "the deepest departs by 21 % of the applied at 2 s" in trace_reading(
        trace(), dropouts(2)
    )
    assert "does not show that there is none" in trace_reading(trace(), DROPOUTS.empty())


def test_letters_take_the_ink_of_the_theme():
    spec = spec_of(trace_chart(trace(), dropouts(), channel="volt", ink="#ECE9E1"))
    assert spec["config"]["axis"]["labelColor"] == "#ECE9E1"
    assert spec["config"]["title"]["color"] == "#ECE9E1"
