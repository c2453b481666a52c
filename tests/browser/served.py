"""Ports, and waiting for a server."""

from __future__ import annotations

import socket
import ssl
import subprocess
import time
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import pytest

HOST = "127.0.0.1"
START_WITHIN_S = 60


def free_port() -> int:
    """A port that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return probe.getsockname()[1]


def wait_until_up(
    address: str,
    process: subprocess.Popen,
    log: Path,
    authority: Path | None = None,
    path: str = "/_stcore/health",
) -> None:
    """Wait until a server answers, or fail with what it said."""
    trust = ssl.create_default_context(cafile=str(authority)) if authority else None
    until = time.monotonic() + START_WITHIN_S
    while time.monotonic() < until:
        if process.poll() is not None:
            break
        try:
            with urlopen(f"{address}{path}", timeout=2, context=trust):  # noqa: S310
                return
        except (URLError, OSError):
            time.sleep(0.2)
    pytest.fail(f"the server did not come up: {log.read_text()}")
