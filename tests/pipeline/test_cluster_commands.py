"""The commands of a cluster: what cannot stand in their words is named before anything starts."""

from __future__ import annotations

import pytest

from pipeline import cluster_commands
from pipeline.commands import main


@pytest.fixture
def started(monkeypatch) -> list[tuple[str, ...]]:
    """What Dask would have been started with."""
    calls: list[tuple[str, ...]] = []
    monkeypatch.setattr(cluster_commands, "_dask", lambda *words: calls.append(words))
    return calls


@pytest.mark.parametrize("listen", ["8786", ":8786", "here:", "here:port", "here:70000", ""])
def test_a_scheduler_listens_nowhere_but_where_it_was_told(started, capsys, listen):
    with pytest.raises(SystemExit):
        main(["cluster-scheduler", "--listen", listen])
    assert "expected one like 127.0.0.1:8786" in capsys.readouterr().err
    assert not started


def test_a_scheduler_listens_to_this_machine_unless_told_otherwise(started):
    assert main(["cluster-scheduler"]) == 0
    assert main(["cluster-scheduler", "--listen", "10.0.0.5:9000"]) == 0
    assert started == [
        ("scheduler", "--host", "127.0.0.1", "--port", "8786"),
        ("scheduler", "--host", "10.0.0.5", "--port", "9000"),
    ]


@pytest.mark.parametrize("count", ["0", "-1", "two", "1.5"])
def test_workers_are_a_whole_number(started, capsys, count):
    with pytest.raises(SystemExit):
        main(["cluster-worker", "10.0.0.5:8786", "--count", count])
    assert "expected 1 or more" in capsys.readouterr().err
    assert not started
