"""What is made of a view is made once, and goes with it."""

from __future__ import annotations

import gc
import threading
from dataclasses import dataclass

import pandas as pd
import pytest

from dashboard import once as module
from dashboard.once import MOST, once
from pipeline.intake.settings.shown_settings import ShownSettings


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
    before = len(module._KEPT)
    one = view()
    once(one, "x", lambda: [1])
    assert len(module._KEPT) == before + 1
    del one
    gc.collect()
    assert len(module._KEPT) == before


def test_no_more_than_so_many_results_are_kept_of_one_view():
    one = view()
    once(one, -1, lambda: "first")
    for number in range(MOST):
        once(one, number, lambda number=number: number)
    assert once(one, MOST - 1, lambda: "anew") == MOST - 1
    assert once(one, -1, lambda: "anew") == "anew"


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
