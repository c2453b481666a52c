"""A chart is drawn once for the same rows, and anew for any others."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import altair as alt
import numpy as np
import pandas as pd
import pytest

from dashboard.charts.parts import readable, titled
from dashboard.parts import drawn as module
from dashboard.parts.drawn import MOST, drawn
from pipeline.intake.settings.shown_settings import ShownSettings

DRAWN: list[str] = []


@dataclass(frozen=True)
class Shown:
    name: str


def chart(rows, title="How many", *, shown=None, ink):
    DRAWN.append(ink)
    base = alt.Chart(rows).mark_point().encode(x="a:Q", y="b:Q")
    name = title if shown is None else shown.name
    return readable(alt.layer(base).properties(title=titled(name, "n = 2")), 100, ink)


def rows(a=(1.0, 2.0)):
    return pd.DataFrame({"a": list(a), "b": ["x", "ü"]})


@pytest.fixture(autouse=True)
def _none_drawn():
    DRAWN.clear()


def test_the_same_rows_are_drawn_once():
    first = drawn(partial(chart, rows(), "Once"), "#000")
    again = drawn(partial(chart, rows(), "Once"), "#000")
    assert again is first
    assert DRAWN == ["#000"]


@pytest.mark.parametrize(
    "other",
    [
        partial(chart, rows((1.0, 2.5)), "This"),
        partial(chart, rows((1, 2)), "This"),
        partial(chart, rows((1.0, np.nan)), "This"),
        partial(chart, rows().rename(columns={"a": "a", "b": "c"}), "This"),
        partial(chart, rows().iloc[::-1], "This"),
        partial(chart, rows(), "That"),
        partial(chart, rows(), "This", shown=Shown("p")),
    ],
)
def test_other_rows_or_words_are_drawn_anew(other):
    first = drawn(partial(chart, rows(), "This"), "#000")
    assert drawn(other, "#000") is not first


def test_another_ink_is_drawn_anew():
    first = drawn(partial(chart, rows(), "Ink"), "#000")
    assert drawn(partial(chart, rows(), "Ink"), "#fff").grammar != first.grammar


def test_another_way_of_showing_values_is_drawn_anew(monkeypatch):
    first = drawn(partial(chart, rows(), "Way"), "#000")
    monkeypatch.setattr(module, "shown_as", lambda: ShownSettings(distances="miles"))
    assert drawn(partial(chart, rows(), "Way"), "#000") is not first


def test_what_tells_not_what_it_was_given_is_drawn_each_time():
    for _ in range(2):
        drawn(lambda ink: chart(rows(), ink=ink), "#000")
    assert DRAWN == ["#000", "#000"]


def test_a_spec_holds_grammar_and_rows_and_is_the_callers_own():
    found = drawn(partial(chart, rows(), "Own"), "#000")
    spec = found.spec
    (name,) = spec["datasets"]
    pd.testing.assert_frame_equal(spec["datasets"][name], rows())
    assert name in found.grammar
    assert (found.title, found.under) == ("Own", ("n = 2",))
    assert "title" not in spec
    spec["datasets"].clear()
    spec.clear()
    assert found.spec["datasets"]


def test_the_grammar_is_that_of_altair():
    found = drawn(partial(chart, rows(), "Grammar"), "#000")
    whole = chart(rows(), "Grammar", ink="#000")
    whole.title = alt.Undefined
    with alt.theme.enable("none"), alt.data_transformers.enable("default"):
        held = whole.to_dict()
    spec = found.spec
    for one in (spec, held):
        one.pop("datasets")
    assert _without_data(spec) == _without_data(held)


def _without_data(value):
    if isinstance(value, dict):
        return {k: _without_data(v) for k, v in value.items() if k not in ("data", "name")}
    return [_without_data(v) for v in value] if isinstance(value, list) else value


def test_no_more_than_so_many_are_kept():
    first = drawn(partial(chart, rows(), "First of many"), "#000")
    for number in range(MOST):
        drawn(partial(chart, rows(), f"Further {number}"), "#000")
    assert drawn(partial(chart, rows(), "First of many"), "#000") is not first
