"""A proxy that ends TLS and hands everything on as it is: what a shop puts in front, in little."""

from __future__ import annotations

import asyncio
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.browser.served import HOST


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
