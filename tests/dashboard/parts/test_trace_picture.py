"""The whole sweep as a still picture."""

from __future__ import annotations

import math
import re
from urllib.parse import unquote

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.parts.trace_picture import HIGH, WIDE, trace_picture
from tests.dashboard.fake_views import HOSTILE, dropouts, trace


def drawn(frame, marks=None, **values) -> str:
    marks = dropouts(0) if marks is None else marks
    known = {"channel": "volt", "reading": "One sentence."}
    return trace_picture(frame, marks, **(known | values))


def corners(picture: str) -> list[list[tuple[int, int]]]:
    """The corners of each unbroken line, on the picture's own grid."""
    lines = []
    for path in re.findall(r'<path d="([^"]*)"', unquote(picture)):
        for piece in path.split("M")[1:]:
            start, steps = piece.split("l", 1)
            x, y = map(int, start.split())
            line = [(x, y)]
            numbers = list(map(int, steps.split()))
            for dx, dy in zip(numbers[::2], numbers[1::2], strict=True):
                x, y = x + dx, y + dy
                line.append((x, y))
            lines.append(line)
    return lines


def test_the_line_runs_from_one_end_to_the_other_and_up_and_down_with_the_signal():
    (line,) = corners(drawn(trace(200)))
    assert (line[0][0], line[-1][0]) == (0, WIDE)
    tops = [y for _, y in line]
    assert tops.index(min(tops)) == pytest.approx(len(tops) / 2, abs=2)
    assert all(0 <= y <= HIGH for y in tops)


def test_each_drop_out_is_one_mark_at_its_place_with_its_words():
    marks = re.findall(
        r'<span class="wa-plot-mark" style="left:([\d.]+)%" title="([^"]*)"',
        drawn(trace(), dropouts(3)),
    )
    assert [float(place) for place, _ in marks] == [25.0, 50.0, 75.0]
    assert marks[0][1] == "Drop-out 1: 1 s, 22 % of travel"


def test_title_count_and_unit_stand_as_text_and_the_reading_is_read_aloud():
    picture = drawn(trace(50), dropouts(1), channel="ohm", reading=HOSTILE)
    assert "<strong>Sweep: signal over time, ohm</strong>" in picture
    assert "50 samples drawn; n = 1 drop-out" in picture
    assert "Time from the sweep's start, s" in picture.replace("&#x27;", "'")
    assert 'role="img" aria-label="&lt;script&gt;' in picture
    assert "<script>" not in picture
    assert "unit not recorded" in drawn(trace(50), channel="")


def test_places_along_the_axes_are_round_few_and_where_they_say():
    picture = drawn(trace(200))
    across = re.search(r'wa-plot-across">(.*?)</div>', picture).group(1)
    named = re.findall(r"left:([\d.]+)%\">([\d.]+)<", across)
    assert 3 <= len(named) <= 8
    assert all(float(place) == pytest.approx(25 * float(value)) for place, value in named)


def test_what_was_not_read_is_not_drawn():
    frame = trace(100)
    frame.loc[40:44, "signal"] = np.nan
    before, after = corners(drawn(frame))
    assert before[-1][0] < 0.41 * WIDE < 0.43 * WIDE < after[0][0]


def test_the_second_track_is_broken_and_said():
    both = drawn(trace().assign(signal_b=1.0))
    assert unquote(both).count("<path") == 2
    assert unquote(both).count("stroke-dasharray") == 1
    assert "broken: second track" in both
    assert "second track" not in drawn(trace())


@pytest.mark.parametrize(
    "frame", [trace(1), trace(2).assign(signal=3.0), trace(3).assign(signal=np.nan)]
)
def test_little_or_nothing_to_draw_is_drawn_all_the_same(frame):
    assert "wa-plot" in drawn(frame, dropouts(1))


@settings(max_examples=30)
@given(
    st.lists(st.floats(-1024, 1024, width=32) | st.just(math.nan), min_size=2, max_size=400),
    st.floats(1e-3, 1e4),
)
def test_whatever_was_read_stays_within_the_picture_and_keeps_its_extremes(signal, length_s):
    frame = trace(len(signal)).assign(signal=signal, t_s=np.linspace(0, length_s, len(signal)))
    lines = corners(drawn(frame))
    points = [point for line in lines for point in line]
    assert all(0 <= x <= WIDE and 0 <= y <= HIGH for x, y in points)
    finite = np.asarray(signal)[np.isfinite(signal)]
    if finite.size and np.ptp(finite) > 1e-3 * max(1.0, np.abs(finite).max()):
        heights = [y for _, y in points]
        assert max(heights) - min(heights) == pytest.approx(HIGH / 1.12, abs=2)
