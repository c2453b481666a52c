"""A result is worked out once, by one of those who ask at the same time."""

from __future__ import annotations

import threading
import time
from contextlib import contextmanager
from functools import partial

import pytest

from pipeline.lately import Lately


def test_a_view_is_read_once():
    kept, read = Lately(2, 10_000), []
    for _ in range(3):
        assert kept.of("a", lambda: read.append(1) or "view") == "view"
    assert read == [1]


def test_the_one_asked_for_longest_ago_goes_first():
    kept = Lately(2, 10_000)
    for key in "aba":
        kept.of(key, lambda key=key: key)
    kept.of("c", lambda: "c")
    assert kept.of("a", lambda: "anew") == "a"
    assert kept.of("b", lambda: "anew") == "anew"


def test_one_reads_while_others_wait_for_it():
    kept, read = Lately(2, 10_000), []

    def slow():
        time.sleep(0.05)
        read.append(1)
        return "view"

    found: list[str] = []
    threads = [threading.Thread(target=lambda: found.append(kept.of("a", slow))) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert read == [1]
    assert found == ["view"] * 5
    assert not kept._under_way


def test_what_cannot_be_read_is_kept_by_nobody_and_tried_again():
    kept = Lately(2, 10_000)
    with pytest.raises(LookupError):
        kept.of("a", lambda: {}["nothing"])
    assert kept.of("a", lambda: "view") == "view"


def test_waiting_stands_around_a_reading_alone():
    kept, stood = Lately(2, 10_000), []

    @contextmanager
    def waiting():
        stood.append("begun")
        yield
        stood.append("over")

    for _ in range(2):
        kept.of("a", lambda: stood.append("read") or "view", waiting)
    assert stood == ["begun", "read", "over"]


def test_what_is_forgotten_is_worked_out_anew():
    kept = Lately(2, 10_000)
    kept.of("a", lambda: "view")
    kept.forget()
    assert kept.of("a", lambda: "anew") == "anew"


def test_some_can_be_forgotten_and_others_kept():
    kept = Lately(5, 10_000)
    for key in (1, 2, 3):
        kept.of(key, lambda key=key: key)
    kept.forget(lambda key: key < 3)
    assert [kept.of(key, lambda: "anew") for key in (1, 2, 3)] == ["anew", "anew", 3]


def test_what_was_worked_out_lately_is_not_worked_out_again():
    lately, asked = Lately(2, 10_000), []

    def work_out(key):
        asked.append(key)
        return key.upper()

    for key in ("a", "b", "a", "c", "a", "b"):
        assert lately.of(key, partial(work_out, key)) == key.upper()
    assert asked == ["a", "b", "c", "b"]  # b was the one asked for longest ago
    with pytest.raises(ZeroDivisionError):
        lately.of("d", lambda: 1 / 0)
    assert lately.of("d", lambda: "D") == "D"


def test_they_hold_no_more_bytes_together_than_asked_for():
    kept = Lately(100, 10_000)
    for key in range(20):
        kept.of(key, lambda: "x" * 3_000)
        assert kept.bytes_held <= 10_000
    assert [kept.of(key, lambda: "anew") for key in (19, 18, 17)] == ["x" * 3_000] * 3
    assert kept.of(16, lambda: "anew") == "anew"


def test_what_is_forgotten_counts_no_longer():
    kept = Lately(100, 10_000)
    kept.of("a", lambda: "x" * 3_000)
    assert kept.bytes_held > 3_000
    kept.forget()
    assert kept.bytes_held == 0


def test_one_that_holds_too_much_is_kept_by_itself():
    kept = Lately(100, 10_000)
    kept.of("small", lambda: "small")
    kept.of("large", lambda: "x" * 50_000)
    assert kept.of("large", lambda: "anew") != "anew"
    assert kept.of("small", lambda: "anew") == "anew"
    assert kept.of("large", lambda: "anew") == "anew"  # the last alone may be beyond the bound


def test_what_goes_with_a_result_may_ask_for_another():
    kept = Lately(1, 10_000)

    class AsksAtItsEnd:
        def __del__(self):
            asked.append(kept.of("c", lambda: "c"))

    asked = []
    kept.of("a", AsksAtItsEnd)
    kept.of("b", lambda: "b")
    kept.forget()
    assert asked == ["c"]
