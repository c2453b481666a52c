"""Many people at once: page times, errors and memory under load, on this machine alone.

``.venv/bin/python -m tests.bench.load_bench --home FOLDER [--people 30] [--minutes 15]``

Each visitor keeps a websocket to the dashboard as a browser does, asks for a page, waits until its
script has ended, reads for 5 to 15 seconds (the page's own look for newer records every 15 seconds
goes on meanwhile) and goes to the next; one page in five is opened afresh. Beside them some people
save an odometer reading a minute through the intake, whose build the dashboard begins in the
background. The home is copied first. Printed: page times, errors, memory of the server.
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
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlparse

import numpy as np
import pandas as pd
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

from pipeline.access.views import worklist_view
from pipeline.asker import whoever_is_here
from pipeline.home import Home
from pipeline.intake.typed.entries import save_entry
from tests.bench.pages_bench import serving

READS_S = (5.0, 15.0)
AFRESH = 0.2
PAGE_WITHIN_S = 60.0
LOOK_EVERY_S = 15.0
SAVE_EVERY_S = 60.0
MEMORY_EVERY_S = 10.0
#: Nothing was opened before: views and modules are read for the first time.
COLD_S = 120.0
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


@dataclass
class Log:
    """What was seen: when and how long by page, errors in words, how long saves took.

    ``server`` is, by moment in s, the server's memory in MB and its processor time in s.
    """

    pages: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    errors: Counter = field(default_factory=Counter)
    saves: list[float] = field(default_factory=list)
    server: list[tuple[float, float, float]] = field(default_factory=list)


@dataclass(frozen=True)
class Keys:
    """Bikes and tests to ask for, and readings to hand in."""

    units: list[str]
    sessions: list[str]
    odometer: pd.DataFrame


class Visitor:
    """One person's browser: a websocket, the page shown, and what it does by itself."""

    def __init__(self, address: str, keys: Keys, log: Log, seed: int) -> None:
        self._address, self._keys, self._log = address, keys, log
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
                self._log.pages.setdefault(name, []).append((time.monotonic(), took))
                await self._read()
            except Exception as error:  # whatever a visitor meets is counted, and they try again
                self._log.errors[f"{self._page or 'worklist'}: {type(error).__name__}"] += 1
                self._socket = None
        if self._socket is not None:
            await self._socket.close()

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
                self._log.errors[f"{self._page or 'worklist'}: shown"] += 1
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


async def hand_in(home: Home, keys: Keys, log: Log, number: int, until: float) -> None:
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
            log.errors[f"save: {type(error).__name__}"] += 1


async def watch_memory(port: int, log: Log, begun: float, until: float) -> None:
    """Resident memory of the server, now and then."""
    process = _listening(port)
    while time.monotonic() < until and process is not None:
        status = (process / "status").read_text(encoding="utf-8")
        (line,) = (line for line in status.splitlines() if line.startswith("VmRSS"))
        ticks = sum(map(int, (process / "stat").read_text().rsplit(")", 1)[1].split()[11:13]))
        spent = ticks / os.sysconf("SC_CLK_TCK")
        log.server.append((time.monotonic() - begun, int(line.split()[1]) / 1024, spent))
        await asyncio.sleep(MEMORY_EVERY_S)


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
    rows = view.rows
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


async def load(address: str, home: Home, people: int, minutes: float) -> Log:
    """All of them at once."""
    log, keys = Log(), keys_of(home)
    begun = time.monotonic()
    until = begun + 60 * minutes
    visitors = [Visitor(address, keys, log, seed) for seed in range(people)]
    port = urlparse(address).port
    await asyncio.gather(
        *(visitor.browse(until) for visitor in visitors),
        *(hand_in(home, keys, log, number, until) for number in range(3)),
        watch_memory(port, log, begun, until),
    )
    return log


def _say_times(name: str, times: list[float]) -> None:
    if times:
        median, high, most = np.quantile(times, [0.5, 0.95, 1.0])
        print(
            f"{name:10} n {len(times):5,}  median {median:5.2f} s  p95 {high:5.2f} s  "
            f"longest {most:5.2f} s"
        )


def say(log: Log) -> None:
    """Page times, saves, errors, memory."""
    every = sorted(pair for pairs in log.pages.values() for pair in pairs)
    for name, pairs in [*sorted(log.pages.items()), ("all pages", every)]:
        _say_times(name, [took for _, took in pairs])
    if not every:
        return
    cold = every[0][0] + COLD_S
    _say_times("of these, in the first two minutes", [took for when, took in every if when < cold])
    _say_times("of these, after them", [took for when, took in every if when >= cold])
    if log.saves:
        median, high = np.quantile(log.saves, [0.5, 0.95])
        print(f"saves      n {len(log.saves):5,}  median {median:5.2f} s  p95 {high:5.2f} s")
    print("errors:", dict(log.errors) or "none")
    if len(log.server) > 4:
        table = np.array(log.server)
        shares = [np.ptp(q[:, 2]) / np.ptp(q[:, 0]) for q in np.array_split(table, 4)]
        print("server, share of one processor:", ", ".join(f"{share:.2f}" for share in shares))
        quarters = np.array_split(table[:, 1], 4)
        told = ", ".join(f"{quarter.mean():,.0f}" for quarter in quarters)
        print(f"server memory by quarter of the time: {told} MB; most {table[:, 1].max():,.0f} MB")


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
            say(asyncio.run(load(address, Home(copy), asked.people, asked.minutes)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
