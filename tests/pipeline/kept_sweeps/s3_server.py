"""A server that speaks S3 on this machine, for the tests of a shared storage."""

from __future__ import annotations

import http.client
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def s3_server(bucket: str) -> Iterator[str]:
    """Its address, with an empty bucket."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        _wait_for(port)
        address = f"http://127.0.0.1:{port}"
        asked = http.client.HTTPConnection("127.0.0.1", port)
        asked.request("PUT", f"/{bucket}")
        assert asked.getresponse().status == 200
        yield address
    finally:
        server.terminate()
        server.wait()


def _wait_for(port: int) -> None:
    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.2)
        else:
            return
    raise TimeoutError("the server does not answer")
