"""A view is read once, by one of those who ask at the same time."""

from __future__ import annotations

import threading
import time
from contextlib import contextmanager

import pytest

from dashboard.kept_views import KeptViews


def test_a_view_is_read_once():
    kept, read = KeptViews(2), []
    for _ in range(3):
        assert kept.get("a", lambda: read.append(1) or "view") == "view"
    assert read == [1]


def test_the_one_asked_for_longest_ago_goes_first():
    kept = KeptViews(2)
    for key in "aba":
        kept.get(key, lambda key=key: key)
    kept.get("c", lambda: "c")
    assert kept.get("a", lambda: "anew") == "a"
    assert kept.get("b", lambda: "anew") == "anew"


def test_one_reads_while_others_wait_for_it():
    kept, read = KeptViews(2), []

    def slow():
        time.sleep(0.05)
        read.append(1)
        return "view"

    found: list[str] = []
    threads = [threading.Thread(target=lambda: found.append(kept.get("a", slow))) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert read == [1]
    assert found == ["view"] * 5
    assert not kept._being_read


def test_what_cannot_be_read_is_kept_by_nobody_and_tried_again():
    kept = KeptViews(2)
    with pytest.raises(LookupError):
        kept.get("a", lambda: {}["nothing"])
    assert kept.get("a", lambda: "view") == "view"


def test_waiting_stands_around_a_reading_alone():
    kept, stood = KeptViews(2), []

    @contextmanager
    def waiting():
        stood.append("begun")
        yield
        stood.append("over")

    for _ in range(2):
        kept.get("a", lambda: stood.append("read") or "view", waiting)
    assert stood == ["begun", "read", "over"]


def test_none_is_kept_after_clearing():
    kept = KeptViews(2)
    kept.get("a", lambda: "view")
    kept.clear()
    assert kept.get("a", lambda: "anew") == "anew"
