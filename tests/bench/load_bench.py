"""Many people at once: page times, errors and memory under load, on this machine alone.

``.venv/bin/python -m tests.bench.load_bench --home FOLDER [--people 30] [--minutes 15]``

Each visitor keeps a websocket to the dashboard as a browser does, asks for a page, waits until its
script has ended, reads for 5 to 15 seconds (the page's own look for newer records every 15 seconds
goes on meanwhile) and goes to the next; one page in five is opened afresh. Beside them some people
save an odometer reading a minute through the intake, whose build the dashboard begins in the
background. The home is copied first. Printed: page times, errors and memory of the server, by tenth of
the time too; how memory goes over the second half; and what is left of it once everybody has gone.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlparse

import pandas as pd
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

from pipeline.access.views import current_version
from pipeline.access.worklist_view import WorklistAsked, worklist_found, worklist_view
from pipeline.asker import whoever_is_here
from pipeline.home import Home
from pipeline.intake.typed.entries import save_entry
from tests.bench.load_report import Log, Moment, say
from tests.bench.pages_bench import serving

#: Seconds since the load began.
Clock = Callable[[], float]

READS_S = (5.0, 15.0)
AFRESH = 0.2
PAGE_WITHIN_S = 60.0
LOOK_EVERY_S = 15.0
SAVE_EVERY_S = 60.0
MEMORY_EVERY_S = 10.0
#: Streamlit keeps the session of a connection that is gone for two minutes.
IDLE_S = 180.0
IDLE_LOOKS = 3
#: Pages and how often each is asked for, of 20.
PAGES = {
    "": 4,
    "bike": 5,
    "session": 4,
    "bench": 2,
    "fleet": 1,
    "checks": 1,
    "parts": 1,
    "wear": 1,
    "trust": 1,
}


@dataclass(frozen=True)
class Keys:
    """Bikes and tests to ask for, and readings to hand in."""

    units: list[str]
    sessions: list[str]
    odometer: pd.DataFrame


class Visitor:
    """One person's browser: a websocket, the page shown, and what it does by itself."""

    def __init__(self, address: str, keys: Keys, log: Log, clock: Clock, seed: int) -> None:
        self._address, self._keys, self._log, self._clock = address, keys, log, clock
        self._chance = random.Random(seed)  # noqa: S311 - no secret
        self._socket: ClientConnection | None = None
        self._fragments: set[str] = set()
        self._page, self._query = "", ""

    async def browse(self, until: float) -> None:
        """Ask for pages and read them until the time is over."""
        await asyncio.sleep(self._chance.uniform(0, READS_S[1]))
        while time.monotonic() < until:
            self._page, self._query = self._next()
            begun = time.perf_counter()
            try:
                if self._socket is None or self._chance.random() < AFRESH:
                    await self._open()
                self._fragments.clear()
                await self._ask()
                await asyncio.wait_for(self._until_ended(), PAGE_WITHIN_S)
                name = self._page or "worklist"
                took = time.perf_counter() - begun
                self._log.pages.setdefault(name, []).append((self._clock(), took))
                await self._read()
            except Exception as error:  # whatever a visitor meets is counted, and they try again
                self._count_error(type(error).__name__)
                self._socket = None
        if self._socket is not None:
            await self._socket.close()

    def _count_error(self, words: str) -> None:
        self._log.errors.append((self._clock(), f"{self._page or 'worklist'}: {words}"))

    def _next(self) -> tuple[str, str]:
        page = self._chance.choices(list(PAGES), weights=list(PAGES.values()))[0]
        if page in ("bike", "bench"):
            return page, f"unit={self._chance.choice(self._keys.units)}"
        if page == "session":
            return page, f"session={self._chance.choice(self._keys.sessions)}"
        return page, ""

    async def _open(self) -> None:
        if self._socket is not None:
            await self._socket.close()
        address = f"{self._address.replace('http', 'ws', 1)}/_stcore/stream"
        self._socket = await connect(
            address, origin=self._address, subprotocols=["streamlit"], max_size=None
        )

    async def _ask(self, fragment: str = "") -> None:
        message = BackMsg()
        message.rerun_script.query_string = self._query
        message.rerun_script.page_name = self._page
        if fragment:
            message.rerun_script.fragment_id = fragment
            message.rerun_script.is_auto_rerun = True
        await self._socket.send(message.SerializeToString())

    async def _until_ended(self) -> None:
        """Take messages until the script has ended; errors drawn on the page are counted."""
        while True:
            message = ForwardMsg()
            message.ParseFromString(await self._socket.recv())
            kind = message.WhichOneof("type")
            if kind == "auto_rerun":
                self._fragments.add(message.auto_rerun.fragment_id)
            elif kind == "delta" and message.delta.new_element.WhichOneof("type") == "exception":
                self._count_error("shown")
            early = message.script_finished == ForwardMsg.FINISHED_EARLY_FOR_RERUN
            if kind == "script_finished" and not early:
                return

    async def _read(self) -> None:
        left = self._chance.uniform(*READS_S)
        if left > LOOK_EVERY_S / 2 and self._fragments:  # as often as a page left open looks
            await asyncio.sleep(left / 2)
            await self._ask(next(iter(self._fragments)))
            await asyncio.wait_for(self._until_ended(), PAGE_WITHIN_S)
            left /= 2
        await asyncio.sleep(left)


async def hand_in(
    home: Home, keys: Keys, log: Log, clock: Clock, number: int, until: float
) -> None:
    """Save a reading each minute, as a form does."""
    rows = keys.odometer.iloc[number::3]
    for day, row in enumerate(rows.to_dict("records"), start=1):
        await asyncio.sleep(SAVE_EVERY_S / 3 * (number + 1) if day == 1 else SAVE_EVERY_S)
        if time.monotonic() >= until:
            return
        begun = time.perf_counter()
        try:
            await asyncio.to_thread(save_entry, home, {"odometer": [row]})
            log.saves.append(time.perf_counter() - begun)
        except Exception as error:
            log.errors.append((clock(), f"save: {type(error).__name__}"))


async def watch(port: int, home: Home, log: Log, clock: Clock, until: float) -> None:
    """The server's memory and the versions published, now and then."""
    process = _listening(port)
    version = current_version(home)
    while time.monotonic() < until and process is not None:
        log.server.append(_moment(process, clock))
        if current_version(home) != version:
            version = current_version(home)
            log.published.append(clock())
        await asyncio.sleep(MEMORY_EVERY_S)


async def watch_idle(port: int, log: Log, clock: Clock) -> None:
    """The server's memory once everybody has gone, and after their sessions are let go."""
    process = _listening(port)
    for _ in range(IDLE_LOOKS if process is not None else 0):
        await asyncio.sleep(IDLE_S / IDLE_LOOKS)
        log.idle.append(_moment(process, clock))


def _moment(process: Path, clock: Clock) -> Moment:
    known = dict(
        line.split(":", 1)
        for line in (process / "status").read_text(encoding="utf-8").splitlines()
        if line.startswith(("VmRSS", "RssAnon"))
    )
    whole_mb, own_mb = (int(known[name].split()[0]) / 1024 for name in ("VmRSS", "RssAnon"))
    ticks = sum(map(int, (process / "stat").read_text().rsplit(")", 1)[1].split()[11:13]))
    return Moment(clock(), whole_mb, own_mb, ticks / os.sysconf("SC_CLK_TCK"))


def _listening(port: int) -> Path | None:
    """The folder in /proc of the server with this port in its command; None elsewhere."""
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        if f"--server.port={port}".encode() in words:
            return folder
    return None


def keys_of(home: Home) -> Keys:
    """What to ask for, and next readings of bikes in service."""
    view = worklist_view(home, whoever_is_here())
    rows = worklist_found(home, whoever_is_here(), WorklistAsked())
    day = view.edition.as_of + timedelta(days=1)
    readings = pd.DataFrame(
        {
            "unit_id": rows["unit_id"],
            "read_on": day.isoformat(),
            "odometer_km": (rows["odometer_now_km"].astype(float) + 50).round(),
        }
    ).dropna()
    return Keys(
        rows["unit_id"].drop_duplicates().sample(500, random_state=1, replace=True).tolist(),
        rows["last_session_id"].dropna().sample(500, random_state=1, replace=True).tolist(),
        readings.drop_duplicates("unit_id").sample(frac=1, random_state=1),
    )


async def load(address: str, home: Home, people: int, minutes: float, *, idle: bool = True) -> Log:
    """All of them at once, and then nobody for a while."""
    log, keys = Log(), keys_of(home)
    begun = time.monotonic()
    until = begun + 60 * minutes

    def clock() -> float:
        return time.monotonic() - begun

    visitors = [Visitor(address, keys, log, clock, seed) for seed in range(people)]
    port = urlparse(address).port
    await asyncio.gather(
        *(visitor.browse(until) for visitor in visitors),
        *(hand_in(home, keys, log, clock, number, until) for number in range(3)),
        watch(port, home, log, clock, until),
    )
    if idle:
        await watch_idle(port, log, clock)
    return log


def main(arguments: list[str] | None = None) -> int:
    """Serve a copy of the home and print what came of it."""
    parser = argparse.ArgumentParser(prog="load_bench", description=__doc__.splitlines()[0])
    parser.add_argument("--home", type=Path, required=True, help="such as large_home's")
    parser.add_argument("--people", type=int, default=30)
    parser.add_argument("--minutes", type=float, default=15)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "home"
        shutil.copytree(asked.home, copy)
        with serving(None, copy) as address:
            log = asyncio.run(load(address, Home(copy), asked.people, asked.minutes))
    say(log, 60 * asked.minutes)
    return 0


if __name__ == "__main__":
    sys.exit(main())
