"""What is made of a view is made once, and goes with it."""

from __future__ import annotations

import gc
import threading
import weakref
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from dashboard import once as module
from dashboard.once import MOST, MOST_BYTES, let_go_of_gone, once
from pipeline.intake.settings.shown_settings import ShownSettings
from pipeline.lately import Lately


@dataclass(frozen=True)
class View:
    rows: pd.DataFrame


def view():
    return View(pd.DataFrame({"a": [1]}))


def test_it_is_made_once_for_one_view_and_name():
    made, one = [], view()
    for _ in range(2):
        once(one, "sum", lambda: made.append(1) or len(made))
    assert once(one, "sum", lambda: 7) == 1
    assert once(one, "other", lambda: 8) == 8


def test_an_equal_view_is_another_one():
    one, other = view(), view()
    assert once(one, "x", lambda: 1) == 1
    assert once(other, "x", lambda: 2) == 2


def test_it_goes_with_the_view():
    one = view()
    gone = weakref.ref(once(one, "x", view))
    assert gone() is not None
    del one
    gc.collect()
    let_go_of_gone()
    assert gone() is None


def test_a_view_in_the_place_of_one_that_is_gone_finds_nothing_of_it():
    for number in range(200):
        assert once(view(), "x", lambda number=number: number) == number


def test_the_end_of_a_view_is_noted_once_however_often_it_is_asked_for():
    one = view()
    for number in range(50):
        once(one, number, lambda: 1)
    before = len(module._GONE)
    del one
    gc.collect()
    assert len(module._GONE) == before + 1


def test_no_more_than_so_many_results_are_kept(monkeypatch):
    monkeypatch.setattr(module, "_KEPT", Lately(MOST, MOST_BYTES))
    one = view()
    once(one, -1, lambda: "first")
    for number in range(MOST):
        once(one, number, lambda number=number: number)
    assert once(one, MOST - 1, lambda: "anew") == MOST - 1
    assert once(one, -1, lambda: "anew") == "anew"


def test_no_more_than_so_many_bytes_are_kept_of_all_views_together(monkeypatch):
    monkeypatch.setattr(module, "_KEPT", Lately(MOST, MOST_BYTES))
    views = [view() for _ in range(40)]
    for one in views:
        once(one, "many", lambda: np.zeros(MOST_BYTES // 80))
    assert MOST_BYTES / 2 < module._KEPT.bytes_held <= MOST_BYTES


def test_a_class_that_each_run_of_a_page_makes_anew_cannot_name_a_result():
    # as Streamlit runs a page: in a module of its own each time, called __main__
    asked = type("Asked", (), {"__module__": "__main__"})()
    for name in (asked, ("chosen", asked)):
        with pytest.raises(TypeError, match="Asked is made anew by each run"):
            once(view(), name, lambda: 1)


def test_what_failed_is_tried_again():
    one = view()
    with pytest.raises(ZeroDivisionError):
        once(one, "x", lambda: 1 / 0)
    assert once(one, "x", lambda: 3) == 3


def test_threads_may_ask_at_once():
    one, seen = view(), []

    def ask():
        for number in range(200):
            seen.append(once(one, number % 7, lambda number=number: number % 7) == number % 7)

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(seen)
    assert len(seen) == 800


def test_words_are_made_anew_for_another_way_of_showing_values(monkeypatch):
    one, said = view(), []
    for way in (ShownSettings(), ShownSettings(distances="miles"), ShownSettings()):
        monkeypatch.setattr(module, "shown_as", lambda way=way: way)
        said.append(once(one, "words", lambda way=way: f"so many {way.distances}"))
    assert said == ["so many km", "so many miles", "so many km"]
