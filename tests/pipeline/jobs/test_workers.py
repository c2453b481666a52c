"""Work shared out over processes: the same results, whoever does it and whoever dies meanwhile."""

from __future__ import annotations

import argparse
import os
import signal
import warnings

import numpy as np
import pytest

from pipeline.jobs import workers as workers_module
from pipeline.jobs.workers import (
    FRESH_STARTS,
    ONE,
    Workers,
    add_worker_flags,
    as_done,
    chosen_workers,
    in_order,
)
from pipeline.jobs.workers_error import WorkersError
from tests.pipeline.jobs import shared_work

TWO = Workers(2)
needs_signals = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal here")


@pytest.mark.parametrize("workers", [ONE, TWO], ids=["one", "two"])
def test_results_stand_in_the_order_of_the_tasks_and_each_is_told(workers):
    told = []
    assert in_order(shared_work.squared, range(7), workers, step=told.append) == [
        0, 1, 4, 9, 16, 25, 36,
    ]  # fmt: skip
    assert told == [1] * 7


@pytest.mark.parametrize("workers", [ONE, TWO], ids=["one", "two"])
def test_nothing_to_do_is_done(workers):
    assert in_order(shared_work.squared, [], workers) == []


def test_one_worker_is_this_process_and_two_are_others():
    assert set(in_order(shared_work.its_process, range(3), ONE)) == {os.getpid()}
    others = set(in_order(shared_work.its_process, range(40), TWO))
    assert len(others) == 2
    assert os.getpid() not in others


def test_results_are_the_same_bytes_whoever_works():
    alone = in_order(shared_work.least_squares, range(4), ONE)
    shared = in_order(shared_work.least_squares, range(4), TWO)
    assert [one.tobytes() for one in alone] == [one.tobytes() for one in shared]


@pytest.mark.long
def test_a_worker_that_has_come_to_hold_much_is_replaced_without_a_word():
    pytest.importorskip("psutil")  # by which it is told
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        did = in_order(shared_work.holds_more_and_more, range(8), TWO)
    assert len(set(did)) > 2
    assert said == []


def test_work_may_write_to_what_it_is_given():
    large = [np.zeros(300_000), np.ones(300_000)]
    assert in_order(shared_work.changes_what_it_is_given, large, TWO) == [3e5, 6e5]


def test_few_tasks_are_loaded_ahead():
    loaded, most_ahead, done = [], 0, 0
    for _ in as_done(shared_work.its_process, range(30), TWO, load=lambda n: loaded.append(n)):
        done += 1
        most_ahead = max(most_ahead, len(loaded) - done)
    assert done == 30
    assert most_ahead <= 8


@pytest.mark.parametrize("workers", [ONE, TWO], ids=["one", "two"])
def test_an_error_of_the_work_or_of_loading_comes_as_it_was(workers):
    with pytest.raises(ValueError, match="two is not liked"):
        in_order(shared_work.refuses, range(5), workers)
    with pytest.raises(ValueError, match="two is not liked"):
        in_order(shared_work.squared, range(9), workers, load=shared_work.refuses)


@needs_signals
def test_a_task_whose_process_was_killed_is_done_again(tmp_path):
    tasks = [(str(tmp_path / "killed"), number) for number in range(8)]
    assert in_order(shared_work.killed_once, tasks, TWO) == [n * n for n in range(8)]
    assert (tmp_path / "killed").exists()


@needs_signals
def test_a_task_that_is_killed_each_time_ends_the_work_with_a_message_and_keeps_the_rest():
    given: list[int] = []
    done = as_done(shared_work.always_killed, range(8), TWO)
    with pytest.raises(
        WorkersError, match=f"ended from outside {1 + FRESH_STARTS} times.*Run it again"
    ):
        given.extend(place for place, _ in done)
    assert 3 not in given
    assert {0, 1, 2} <= set(given)
    assert in_order(shared_work.squared, range(3), TWO) == [0, 1, 4]


def _chosen(*words: str) -> Workers:
    parser = argparse.ArgumentParser()
    add_worker_flags(parser)
    return chosen_workers(parser.parse_args(words))


def test_one_flag_says_who_works():
    assert _chosen() == ONE
    assert _chosen("--workers", "3") == Workers(3)
    assert _chosen("--cluster", "tcp://a:8786") == Workers(cluster="tcp://a:8786")


@pytest.mark.parametrize("words", [["--workers", "0"], ["--workers", "x"], ["--workers", "-1"]])
def test_a_number_of_workers_that_is_none_is_refused(words, capsys):
    with pytest.raises(SystemExit):
        _chosen(*words)
    assert f"{words[1]} is no number of processes; expected 1 or more" in capsys.readouterr().err


def test_both_flags_at_once_are_refused():
    with pytest.raises(SystemExit):
        _chosen("--workers", "2", "--cluster", "tcp://a:8786")


def test_without_dask_a_cluster_says_what_to_install(monkeypatch):
    monkeypatch.setattr(workers_module, "find_spec", lambda name: None)
    with pytest.raises(WorkersError, match="python3 -m pipeline install-cluster"):
        in_order(shared_work.squared, range(3), Workers(cluster="127.0.0.1:1"))
