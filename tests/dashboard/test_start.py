import os
import socket
import sys

import pytest

from dashboard import start
from pipeline.home import Home


@pytest.fixture
def taken_port():
    with socket.socket() as holder:
        holder.bind((start.HOST, 0))
        holder.listen()
        yield holder.getsockname()[1]


def test_a_taken_port_is_refused_in_one_sentence_before_anything_is_built(
    taken_port, monkeypatch, capsys, tmp_path
):
    monkeypatch.setattr(
        start, "ensure_demo", lambda **_: pytest.fail("built before the port was tried")
    )
    assert start.main(["--home", str(tmp_path), "--port", str(taken_port)]) == 1
    said = capsys.readouterr().err.strip()
    assert said.startswith(f"Wear Atlas cannot start: port {taken_port}")
    assert "\n" not in said
    assert "Traceback" not in said


@pytest.mark.parametrize("port", ["0", "70000", "eighty", "-1"])
def test_a_port_that_is_none_is_refused(port, capsys):
    with pytest.raises(SystemExit):
        start.main(["--port", port])
    assert "1 to 65535" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("version", "made"), [(None, ["own records", "demo"]), (3, ["own records"])]
)
def test_the_demo_is_made_only_where_a_shop_has_no_records_of_its_own(
    version, made, monkeypatch, tmp_path, capsys
):
    calls = []
    monkeypatch.setattr(start, "refuse_taken_port", lambda port: None)
    monkeypatch.setattr(start, "current_version", lambda home: version)
    monkeypatch.setattr(start, "ensure_demo", lambda **_: calls.append("demo"))
    monkeypatch.setattr(start, "ensure_current", lambda home, say: calls.append("own records"))
    monkeypatch.setattr(start, "_serve", lambda home, port: 0)
    assert start.main(["--home", str(tmp_path), "--port", "8777"]) == 0
    assert calls == made  # own records are brought up to date first
    assert "http://127.0.0.1:8777" in capsys.readouterr().out


def test_it_serves_this_machine_alone_with_this_python_and_reports_nothing(tmp_path):
    command = start.command(8777)
    assert command[0] == sys.executable
    assert "--server.address=127.0.0.1" in command
    assert "--browser.gatherUsageStats=false" in command
    given = start.surroundings(Home(tmp_path))
    assert given["WEAR_ATLAS_HOME"] == str(tmp_path)
    assert given["PYTHONPATH"].split(os.pathsep)[0] == start.CHECKOUT
