"""Kill the builder at random points, hundreds of times: is anything lost, doubled or half read?

``OMP_NUM_THREADS=1 nice -n 19 .venv/bin/python -m tests.bench.kill_bench [--count N] [--seed N]
[--whole SHARE]``.
Each run hands in what was not acknowledged before and more, builds and publishes; half of the runs
are killed (SIGKILL) after a random time, half as they are about to do the n-th thing to a file, all
phases alike. To make many kills affordable, in all but a share of the runs (one in ten) the stages
that only work out numbers into the draft are left out: nothing that outlasts a kill is theirs.
After each kill the disk is held against what was handed in. Every tenth run may end, and must then
hold every row once and every sample once by shop and month, and the check of the home finds
nothing. A reader looks at the newest version
all the while. Each home is left for a new one after 40 kills, so that builds stay short.
"""

from __future__ import annotations

import argparse
import itertools
import os
import random
import select
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.jobs.ingest import ingest
from pipeline.jobs.keeping.check_home import check_home
from pipeline.warehouse import build as build_module
from pipeline.warehouse.publish import newest
from tests.bench.kill_world import (
    NOW,
    Entry,
    amiss_by_shop,
    amiss_in,
    amiss_in_published,
    amiss_on_disk,
    begin,
)

KILLS_A_HOME = 40
ENDS_EVERY = 10
ENTRIES_A_RUN = 2
#: Stages that write to nothing but the draft (and models kept for speed), and what they give back.
NUMBERS_ONLY: dict[str, object] = {
    "judge_statics": None,
    "map_travel": None,
    "score_risk": SimpleNamespace(version=""),
    "settings_for_checks": {},
    "plan_checks": None,
    "backtest_once": None,
    "tell_shops_apart": None,
    "follow_advised": [],
    "_note": None,
    "_index": None,
}
_FILE_EVENTS = {"open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "shutil.copyfile"}
_TAKEN, _MODELS = "taken ", "kept_models/"


@dataclass
class Run:
    """One builder process: what it told before it ended."""

    told: list[str]
    killed: bool
    seconds: float
    whole: bool

    @property
    def phase(self) -> str:
        """What it was at when it ended."""
        phases = [line for line in self.told if not line.startswith(_TAKEN)]
        return phases[-1].split("|")[0] if phases else "starting"

    @property
    def taken(self) -> dict[int, int]:
        """Number of the hand-in that each entry was acknowledged with."""
        pairs = [line.split()[1:] for line in self.told if line.startswith(_TAKEN)]
        return {int(entry): int(number) for entry, number in pairs}

    @property
    def spans(self) -> list[tuple[int, int]]:
        """From the first to the last thing done to a file in each phase, by their numbers."""
        starts = [int(line.split("|")[1]) for line in self.told if "|" in line]
        return [(a + 1, b) for a, b in itertools.pairwise(starts) if a < b]


@dataclass
class Tally:
    """What came of all runs."""

    by_phase: Counter = field(default_factory=Counter)
    whole: int = 0
    ends: int = 0
    looks: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def kills(self) -> int:
        """Kills that hit a process at work."""
        return sum(self.by_phase.values())


def bench(count: int, seed: int, whole: float, folder: Path) -> Tally:
    """Kill ``count`` times, a share of them in whole builds."""
    tally, chance = Tally(), random.Random(seed)  # noqa: S311 - no secret
    number = 0
    while tally.kills < count and not tally.wrong:
        number += 1
        goal = min(count, tally.kills + KILLS_A_HOME)
        _one_home(folder / f"home-{number}", goal, whole, tally, chance)
        if not tally.wrong:
            shutil.rmtree(folder / f"home-{number}")
    return tally


def _one_home(folder: Path, goal: int, whole: float, tally: Tally, chance: random.Random) -> None:
    files = folder / "files"
    home = begin(folder / "home", files / "shop")
    first = {
        is_whole: _run(home, [Entry(number)], files, is_whole)
        for number, is_whole in enumerate((False, True))
    }
    for run in first.values():
        tally.wrong += _amiss(home, run, {})
    entries, taken = [Entry(2)], {}
    reader = _Reader(home)
    since_end = 0
    while tally.kills < goal and not tally.wrong:
        waits = [entry for entry in entries if entry.number not in taken]
        more = ENTRIES_A_RUN - len(waits)
        entries += [Entry(entries[-1].number + 1 + n) for n in range(more)]
        waits = [entry for entry in entries if entry.number not in taken]
        may_end = since_end >= ENDS_EVERY - 1
        is_whole = may_end or chance.random() < whole
        after_s, at_operation = None, None
        if not may_end and chance.random() < 0.5:
            at_operation = chance.randint(*chance.choice(first[is_whole].spans))
        elif not may_end:
            after_s = chance.uniform(0, 1.1 * first[is_whole].seconds)
        run = _run(home, waits, files, is_whole, after_s, at_operation)
        taken |= run.taken
        since_end = 0 if may_end else since_end + 1
        if run.killed:
            tally.by_phase[run.phase] += 1
            tally.whole += is_whole
            if tally.kills % 10 == 0:
                print(f"{tally.kills} kills: {dict(tally.by_phase)}", flush=True)
        else:
            tally.ends += 1
        tally.wrong += _amiss(home, run, taken)
    looks, wrong = reader.end()
    tally.looks += looks
    tally.wrong += wrong


def _amiss(home: Home, run: Run, taken: dict[int, int]) -> list[str]:
    """What is wrong on the disk after a run, found by a process of its own."""
    numbers = [*taken.values(), *run.taken.values()]

    def look(say: Callable[[str], None]) -> None:
        wrong = amiss_on_disk(home, numbers) + amiss_in_published(home)
        if not run.killed:
            wrong += _not_finished(home, run)
        for what in wrong:
            say(what)

    looked = _forked(look)
    end = looked.wait()
    return looked.lines + ([f"the look at the disk ended with {end}"] if end else [])


def _not_finished(home: Home, run: Run) -> list[str]:
    if run.phase != "done":
        return [f"a run that was left alone ended at: {run.phase}"]
    found = newest(home)
    last = max(int(path.name) for path in home.handed_in.iterdir() if path.name.isdigit())
    wrong = [] if found and found.hand_in == last else [f"hand-in {last} was not published"]
    wrong += amiss_by_shop(home)
    amiss = [finding for finding in check_home(home) if finding.is_wrong]
    # a model that a killed build kept half is made anew by the next build that makes any
    return wrong + [str(each) for each in amiss if run.whole or not each.where.startswith(_MODELS)]


def _run(
    home: Home,
    entries: list[Entry],
    files: Path,
    is_whole: bool,
    after_s: float | None = None,
    at_operation: int | None = None,
) -> Run:
    """Hand entries in and build in a process of its own, killed or not."""
    folders = [(entry.number, entry.write(files)) for entry in entries]

    def work(say: Callable[[str], None]) -> None:
        done = _count_operations(at_operation)
        if not is_whole:
            _leave_numbers_out()

        def phase(text: str) -> None:
            say(f"{text}|{done[0]}")

        _mark_phases(phase)
        phase("handing in")
        for number, folder in folders[:-1]:
            say(f"{_TAKEN}{number} {receive(home, [folder], NOW)}")
        ingest(home, [folders[-1][1]], now=NOW, say=phase)
        phase("done")

    began = time.monotonic()
    told, killed = _forked(work).collect(after_s)
    return Run(told, killed, time.monotonic() - began, is_whole)


def _leave_numbers_out() -> None:
    for name, given in NUMBERS_ONLY.items():
        assert hasattr(build_module, name), name
        setattr(build_module, name, lambda *of, given=given, **how: given)


def _count_operations(kill_at: int | None) -> list[int]:
    """Count what is done to files; kill this process as it is about to do the n-th thing."""
    done = [0]

    def hook(event: str, arguments: tuple) -> None:
        if event not in _FILE_EVENTS or (event == "open" and not _writes(arguments)):
            return
        done[0] += 1
        if done[0] == kill_at:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)
    return done


def _writes(arguments: tuple) -> bool:
    _, mode, flags = arguments
    return bool(flags & (os.O_WRONLY | os.O_RDWR)) if isinstance(flags, int) else "w" in str(mode)


def _mark_phases(say: Callable[[str], None]) -> None:
    """Publishing and what follows it say nothing by themselves."""
    marked = ("publish", "settle_files", "keep_advised", "keep_events", "make_up_if_possible")
    for name in (*marked, "settle", "put_together", "measure_missing", "follow_lives"):
        plain = getattr(build_module, name)

        def told(*of: object, plain: Callable = plain, name: str = name, **how: object) -> object:
            say(name)
            return plain(*of, **how)

        setattr(build_module, name, told)


class _Child:
    """A forked process that says lines; its standard error stays ours."""

    def __init__(self, pid: int, pipe: int) -> None:
        self.pid, self.pipe, self.text, self.lines = pid, pipe, b"", []

    def _read(self, until: float | None) -> bool:
        """Read until the process closes its end (True), or until a moment."""
        while True:
            left = None if until is None else max(0.0, until - time.monotonic())
            ready, _, _ = select.select([self.pipe], [], [], left)
            if not ready:
                return False
            chunk = os.read(self.pipe, 65536)
            if not chunk:
                return True
            self.text += chunk

    def collect(self, after_s: float | None) -> tuple[list[str], bool]:
        """What it said, and whether it was killed."""
        if not self._read(None if after_s is None else time.monotonic() + after_s):
            os.kill(self.pid, signal.SIGKILL)
        killed = self.wait() == -signal.SIGKILL
        return self.lines, killed

    def wait(self) -> int:
        """Its exit code, or minus the signal that ended it."""
        self._read(None)
        os.close(self.pipe)
        _, status = os.waitpid(self.pid, 0)
        self.lines = self.text.decode().splitlines()
        return os.waitstatus_to_exitcode(status)


def _forked(work: Callable[[Callable[[str], None]], None]) -> _Child:
    """Run work in a copy of this process, which has opened no records and so has no threads."""
    ours, theirs = os.pipe()
    pid = os.fork()
    if pid:
        os.close(theirs)
        return _Child(pid, ours)
    os.close(ours)
    code = 1
    try:
        work(lambda text: os.write(theirs, f"{text}\n".encode()) and None)
        code = 0
    except BaseException as error:
        os.write(theirs, f"{type(error).__name__}: {error}\n".encode())
    os._exit(code)


class _Reader:
    """A process that looks at the newest version over and over, until it is told to end."""

    def __init__(self, home: Home) -> None:
        self._stop = home.root.parent / "stop"
        self._child = _forked(lambda say: self._look(home, say))

    def _look(self, home: Home, say: Callable[[str], None]) -> None:
        os.nice(5)
        looks = 0
        while not self._stop.exists():
            found = newest(home)
            if found is not None:
                try:
                    wrong = amiss_in(home, found)
                except Exception as error:
                    # tidied away between the two is no fault; half published is
                    wrong = [f"version {found.version}: {error}"] if found.path.exists() else []
                for what in wrong:
                    say(f"wrong {what}")
                looks += 1
            time.sleep(1.0)
        say(f"looks {looks}")

    def end(self) -> tuple[int, list[str]]:
        """How often it looked, and what it found wrong."""
        self._stop.touch()
        self._child.wait()
        looks = [int(line.split()[1]) for line in self._child.lines if line.startswith("looks ")]
        others = [line for line in self._child.lines if not line.startswith("looks ")]
        return sum(looks), others if looks else [*others, "the reader ended by itself"]


def main() -> int:
    """Command line; 1 where anything was lost, doubled or half read."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--whole", type=float, default=0.1)
    parser.add_argument("--folder", type=Path)
    chosen = parser.parse_args()
    folder = chosen.folder or Path(tempfile.mkdtemp(prefix="kill-"))
    began = time.monotonic()
    tally = bench(chosen.count, chosen.seed, chosen.whole, folder)
    print(f"{tally.kills} kills, {tally.whole} of them in whole builds")
    print(f"{tally.ends} runs that ended, {tally.looks} looks of the reader")
    for phase, times in tally.by_phase.most_common():
        print(f"{times:5}  {phase}")
    for what in tally.wrong:
        print(f"WRONG: {what}")
    print(
        f"{time.monotonic() - began:.0f} s; {'homes kept in ' + str(folder) if tally.wrong else ''}"
    )
    if not tally.wrong and chosen.folder is None:
        shutil.rmtree(folder)
    return 1 if tally.wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
