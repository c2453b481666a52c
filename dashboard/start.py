"""Serve the dashboard on this machine alone, after building the demo where there are no records."""

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
from pipeline.jobs.demo import ensure_demo
from pipeline.jobs.ingest import ensure_current

HOST = "127.0.0.1"
PORT = 8650


class StartError(Exception):
    """The dashboard cannot be served; the message is the one sentence to show."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Serve until stopped; the exit status."""
    asked = _parser().parse_args(arguments)
    try:
        refuse_taken_port(asked.port)
        home = own_home(asked.home)
        ensure_current(home, say=_say)
        if current_version(home) is None:
            ensure_demo(progress=True, say=_say)
    except (StartError, HomeError) as error:
        print(f"Wear Atlas cannot start: {error}", file=sys.stderr)
        return 1
    print(f"Wear Atlas: http://{HOST}:{asked.port}  (stop it with Ctrl+C)", flush=True)
    return _serve(home, asked.port)


def _say(text: str) -> None:
    print(f"{text} ...", flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python3 -m dashboard", description="Serve the dashboard on this machine alone."
    )
    parser.add_argument(
        "--home", metavar="FOLDER", help="the data home (else WEAR_ATLAS_HOME, else a default one)"
    )
    parser.add_argument("--port", type=_port, default=PORT, help=f"default {PORT}")
    return parser


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"a port is a number from 1 to 65535, not {text!r}")
    return int(text)


def refuse_taken_port(port: int) -> None:
    """Raise StartError unless the port can be listened on."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        if os.name != "nt":  # on Windows this option would let two programs share the port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise StartError(
                f"port {port} on {HOST} cannot be used ({error.strerror}); choose another with "
                "--port."
            ) from error


def command(port: int) -> list[str]:
    """The command that serves the pages."""
    return [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        os.path.join("dashboard", "app.py"),
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
