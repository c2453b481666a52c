"""Serve the dashboard, after building the demo where there are no records.

On this machine alone unless ``--network`` asks for more: then `network.toml` and `people.toml` in
the data home say how it is reached and who is let in, and what they leave open stops the start.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
from collections.abc import Sequence

from pipeline.access.views import current_version
from pipeline.environment import CHECKOUT
from pipeline.home import Home, HomeError, own_home
from pipeline.intake.settings.network_file import TEMPLATE as NETWORK_TEMPLATE
from pipeline.intake.settings.network_file import (
    Network,
    NetworkFileError,
    read_network,
    write_template,
)
from pipeline.intake.settings.people_file import TEMPLATE as PEOPLE_TEMPLATE
from pipeline.intake.settings.people_file import PeopleFileError, read_people
from pipeline.jobs.demo import ensure_demo
from pipeline.jobs.ingest import ensure_current

HOST = "127.0.0.1"
PORT = 8650


class StartError(Exception):
    """The dashboard cannot be served; the message is the one sentence to show."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Serve until stopped; the exit status."""
    asked = _parser().parse_args(arguments)
    home = own_home(asked.home)
    try:
        if asked.network:
            return _serve_network(home, asked.port)
        port = asked.port or PORT
        refuse_taken_port(port)
        _make_ready(home)
    except (StartError, HomeError) as error:
        print(f"Wear Atlas cannot start: {error}", file=sys.stderr)
        return 1
    print(f"Wear Atlas: http://{HOST}:{port}  (stop it with Ctrl+C)", flush=True)
    return _serve(home, port)


def _make_ready(home: Home) -> None:
    """Bring records up to date, or have the demo to show."""
    ensure_current(home, say=_say)
    if current_version(home) is None:
        ensure_demo(progress=True, say=_say)


def _serve_network(home: Home, port: int | None) -> int:
    from dashboard.network.serve import serve  # needs what only --network installs

    if port is not None:
        raise StartError("--port does not go with --network: the port stands in network.toml.")
    network, told = ready_network(home)
    refuse_taken_port(network.port, network.listen_on)
    _make_ready(home)
    for sentence in told:
        print(f"Note: {sentence}", file=sys.stderr)
    print(f"The provider has to know {network.callback}")
    print(f"Wear Atlas: {network.origin}  (stop it with Ctrl+C)", flush=True)
    os.chdir(CHECKOUT)
    os.environ["WEAR_ATLAS_HOME"] = str(home.root)
    serve(network, home)
    return 0


def ready_network(home: Home) -> tuple[Network, list[str]]:
    """How the dashboard is to be reached, and what to be told before it is.

    Raises
    ------
    StartError
        One of the files is missing (it is written then, to be filled in), or leaves something
        open; or the certificate cannot be served.
    """
    from dashboard.network.certificate import CertificateError, look_at_certificate

    for path, template in ((home.network, NETWORK_TEMPLATE), (home.people, PEOPLE_TEMPLATE)):
        if write_template(path, template):
            raise StartError(f"{path} was missing; it is there now: fill it in and start again.")
    try:
        network, people = read_network(home), read_people(home)
        told = [*people.problems, *look_at_certificate(network)]
    except (NetworkFileError, PeopleFileError, CertificateError) as error:
        raise StartError(str(error)) from error
    if not people.persons:
        raise StartError(" ".join([f"{home.people} gives nobody a part.", *people.problems]))
    return network, told


def _say(text: str) -> None:
    print(f"{text} ...", flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python3 -m dashboard",
        description="Serve the dashboard on this machine alone, or with --network to others too.",
    )
    parser.add_argument(
        "--home", metavar="FOLDER", help="the data home (else WEAR_ATLAS_HOME, else a default one)"
    )
    parser.add_argument("--port", type=_port, help=f"default {PORT}")
    parser.add_argument(
        "--network",
        action="store_true",
        help="on the shop's network, as network.toml and people.toml in the data home say",
    )
    return parser


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"a port is a number from 1 to 65535, not {text!r}")
    return int(text)


def refuse_taken_port(port: int, host: str = HOST) -> None:
    """Raise StartError unless the port can be listened on."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if os.name != "nt":  # on Windows this option would let two programs share the port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            way = "with --port" if host == HOST else "or another address in network.toml"
            raise StartError(
                f"port {port} on {host} cannot be used ({error.strerror}); choose another {way}."
            ) from error


def command(port: int) -> list[str]:
    """The command that serves the pages."""
    return [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        os.path.join("dashboard", "served.py"),
        f"--server.port={port}",
        f"--server.address={HOST}",
        "--browser.gatherUsageStats=false",
    ]


def surroundings(home: Home) -> dict[str, str]:
    """The environment for it: where to import from, and which home to show."""
    before = os.environ.get("PYTHONPATH")
    path = CHECKOUT if not before else CHECKOUT + os.pathsep + before
    return os.environ | {"PYTHONPATH": path, "WEAR_ATLAS_HOME": str(home.root)}


def _serve(home: Home, port: int) -> int:
    if os.name != "nt":  # become the server, so that whoever stops this process stops it too
        os.chdir(CHECKOUT)
        os.execve(sys.executable, command(port), surroundings(home))  # noqa: S606
    served = subprocess.Popen(command(port), cwd=CHECKOUT, env=surroundings(home))  # noqa: S603
    try:
        return served.wait()
    except KeyboardInterrupt:  # Ctrl+C reaches the server too: let it end by itself
        return served.wait()
    finally:
        if served.poll() is None:
            served.terminate()
