import os
import socket
import sys
import tomllib
from pathlib import Path

import pytest

from dashboard import start
from pipeline.home import Home
from tests.browser.network_shop import PEOPLE, certify, usual_keys, write_keys


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


def test_this_machines_own_names_are_the_only_ones_it_answers_to():
    told = tomllib.loads((Path(start.CHECKOUT) / ".streamlit" / "config.toml").read_text())
    assert told["server"]["allowedHosts"] == ["127.0.0.1", "localhost"]
    assert told["server"]["maxUploadSize"] == 200


@pytest.fixture
def network_home(tmp_path):
    """A home with both files as they have to be."""
    certify(tmp_path)
    home = Home(tmp_path / "own")
    home.root.mkdir()
    provider = "https://id.example/.well-known/openid-configuration"
    write_keys(home.network, usual_keys(tmp_path, 8777) | {"provider": provider})
    home.people.write_text(PEOPLE)
    return home


def _refused(home, capsys, *arguments):
    assert start.main(["--network", "--home", str(home.root), *arguments]) == 1
    said = capsys.readouterr().err
    assert said.startswith("Wear Atlas cannot start: ")
    assert "Traceback" not in said
    return said


def test_the_network_is_served_only_once_both_files_are_there(tmp_path, capsys):
    home = Home(tmp_path / "own")
    assert "network.toml was missing; it is there now: fill it in" in _refused(home, capsys)
    assert "people.toml was missing; it is there now: fill it in" in _refused(home, capsys)
    assert "network.toml: reached_at is ''" in _refused(home, capsys)
    assert home.network.read_text() == start.NETWORK_TEMPLATE


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda home: home.network.write_text("port = 1\n"), "network.toml: reached_at is missing"),
        (lambda home: home.people.write_text("[[person]\n"), "people.toml cannot be read"),
        (lambda home: home.people.write_text("\n"), "gives nobody a part"),
        (
            lambda home: (home.root.parent / "cert.pem").write_text("no certificate"),
            "cannot be used together",
        ),
    ],
)
def test_what_is_amiss_in_them_stops_the_start_before_anything_is_built(
    network_home, spoil, told, capsys, monkeypatch
):
    monkeypatch.setattr(start, "ensure_current", lambda *_, **__: pytest.fail("built"))
    spoil(network_home)
    assert told in _refused(network_home, capsys)


def test_the_port_stands_in_the_file_alone(network_home, capsys):
    assert "--port does not go with --network" in _refused(network_home, capsys, "--port", "9000")


def test_files_as_they_have_to_be_are_served(network_home, capsys, monkeypatch):
    served = []
    monkeypatch.setattr(start, "refuse_taken_port", lambda port, host: None)
    monkeypatch.setattr(start, "_make_ready", lambda home: None)
    monkeypatch.setattr(os, "chdir", lambda folder: None)
    monkeypatch.setenv("WEAR_ATLAS_HOME", "")
    monkeypatch.setattr("dashboard.network.serve.serve", lambda *asked: served.append(asked))
    assert start.main(["--network", "--home", str(network_home.root)]) == 0
    said = capsys.readouterr()
    assert "The provider has to know https://127.0.0.1:8777/oauth2callback" in said.out
    assert "told-to-nobody" not in said.out + said.err
    ((network, home),) = served
    assert (network.port, home) == (8777, network_home)


def test_it_serves_this_machine_alone_with_this_python_and_reports_nothing(tmp_path):
    command = start.command(8777)
    assert command[0] == sys.executable
    assert "--server.address=127.0.0.1" in command
    assert "--browser.gatherUsageStats=false" in command
    given = start.surroundings(Home(tmp_path))
    assert given["WEAR_ATLAS_HOME"] == str(tmp_path)
    assert given["PYTHONPATH"].split(os.pathsep)[0] == start.CHECKOUT
