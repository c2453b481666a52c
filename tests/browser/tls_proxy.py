"""Proxies that end TLS: one in little that hands everything on as it is, and nginx."""

from __future__ import annotations

import asyncio
import re
import shutil
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.environment import CHECKOUT
from tests.browser.served import HOST

NGINX = shutil.which("nginx")
#: The settings that the README gives, in a whole of their own.
_WHOLE = """
pid {folder}/nginx.pid;
error_log {folder}/nginx.log;
events {{}}
http {{
    access_log off;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxied;
    fastcgi_temp_path {folder}/f;
    uwsgi_temp_path {folder}/u;
    scgi_temp_path {folder}/s;
{server}
}}
"""


def readme_settings() -> str:
    """The block of nginx settings in the README."""
    text = (Path(CHECKOUT) / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```nginx\n(.*?)```", text, re.DOTALL)
    return block


@contextmanager
def nginx_proxy(folder: Path, port: int, behind: int) -> Iterator[None]:
    """Serve ``port`` by nginx with the settings of the README, ``behind`` in place of its ports."""
    server = readme_settings()
    for known, ours in (
        ("listen 443", f"listen {HOST}:{port}"),
        ("/etc/ssl/workshop.pem", str(folder / "cert.pem")),
        ("/etc/ssl/workshop.key", str(folder / "key.pem")),
        ("http://127.0.0.1:8650", f"http://{HOST}:{behind}"),
    ):
        assert known in server
        server = server.replace(known, ours)
    settings = folder / "nginx.conf"
    settings.write_text(_WHOLE.format(folder=folder, server=server), encoding="utf-8")
    process = subprocess.Popen([str(NGINX), "-c", str(settings), "-g", "daemon off;"])
    try:
        yield
    finally:
        process.terminate()
        process.wait(timeout=20)


@contextmanager
def tls_proxy(folder: Path, port: int, behind: int) -> Iterator[None]:
    """Serve ``port`` over TLS with the folder's certificate, and ``behind`` without."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(folder / "cert.pem", folder / "key.pem")
    loop = asyncio.new_event_loop()

    async def pass_on(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            inner_reader, inner_writer = await asyncio.open_connection(HOST, behind)
            await asyncio.gather(_copy(reader, inner_writer), _copy(inner_reader, writer))

    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    serving = asyncio.start_server(pass_on, HOST, port, ssl=context)
    opened = asyncio.run_coroutine_threadsafe(serving, loop).result(timeout=10)
    try:
        yield
    finally:
        loop.call_soon_threadsafe(opened.close)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(timeout=5)


async def _copy(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    with suppress(OSError, ssl.SSLError):
        while part := await reader.read(65536):
            writer.write(part)
            await writer.drain()
    writer.close()
