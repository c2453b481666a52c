"""Take up what was entered since the last build: a build in a process of its own.

Pages go on meanwhile. A build that failed is not begun again for the same entries: it is told
instead, and whoever mended the cause begins it by hand.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipeline.environment import CHECKOUT
from pipeline.home import Home, write_new
from pipeline.intake.receive import handed_in_at, last_hand_in
from pipeline.jobs.how_far import HowFar, how_far
from pipeline.warehouse.publish import newest

#: Entries of one job come one after another: a build begins once this long none has come.
QUIET = timedelta(seconds=20)
#: A process needs a moment before it holds the home.
STARTING = timedelta(seconds=15)


#: At low priority: whoever looks at a page comes first.
_REBUILD = (sys.executable, "-m", "pipeline", "rebuild", "--low-priority")


@dataclass(frozen=True)
class NotTakenUp:
    """Hand-ins that the published records do not hold: how many, and what is being done.

    ``failed`` is the last line that the build begun for them said, empty where none failed;
    ``how_far`` is what the builder says that it is at.
    """

    hand_ins: int
    last_at: datetime | None
    building: bool
    failed: str
    how_far: HowFar | None = None


def not_taken_up(home: Home, now: datetime | None = None) -> NotTakenUp:
    """What waits for the next build; cheap enough to ask on every run of a page."""
    now = now or datetime.now(UTC)
    found, last = newest(home), last_hand_in(home)
    held = found.hand_in if found else 0
    if last <= held:
        return NotTakenUp(0, None, building=False, failed="")
    attempt = _attempt(home)
    begun = attempt is not None and attempt.hand_in >= last
    starting = attempt is not None and _is_within(now - attempt.begun_at, STARTING)
    building = home.is_being_built or starting
    failed = _last_said(home) if begun and not building else ""
    at = how_far(home) if building else None
    return NotTakenUp(last - held, handed_in_at(home, last), building, failed, at)


def take_up_if_due(home: Home, now: datetime | None = None) -> bool:
    """Begin a build where entries wait, none has come for a while, and none failed before."""
    now = now or datetime.now(UTC)
    waiting = not_taken_up(home, now)
    if not waiting.hand_ins or waiting.building or waiting.failed or waiting.last_at is None:
        return False
    if _is_within(now - waiting.last_at, QUIET):
        return False
    take_up(home, now)
    return True


def _is_within(since: timedelta, span: timedelta) -> bool:
    """Whether it was that short a time ago; not where the clock was set back since."""
    return timedelta(0) <= since < span


def take_up(home: Home, now: datetime | None = None) -> None:
    """Begin a build of a home in the background; what it says goes to ``building.log``."""
    begun_at = (now or datetime.now(UTC)).isoformat()
    card = {"hand_in": last_hand_in(home), "begun_at": begun_at}
    write_new(_card_path(home), json.dumps(card) + "\n")
    before = os.environ.get("PYTHONPATH")
    path = CHECKOUT if not before else CHECKOUT + os.pathsep + before
    with _log_path(home).open("wb") as log:
        subprocess.Popen(  # noqa: S603 - our own command
            [*_REBUILD, "--home", str(home.root)],
            cwd=CHECKOUT,
            env=os.environ | {"PYTHONPATH": path},
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=os.name != "nt",
        )


@dataclass(frozen=True)
class _Attempt:
    hand_in: int
    begun_at: datetime


def _attempt(home: Home) -> _Attempt | None:
    try:
        card = json.loads(_card_path(home).read_text(encoding="utf-8"))
        return _Attempt(int(card["hand_in"]), datetime.fromisoformat(card["begun_at"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _last_said(home: Home) -> str:
    try:
        lines = _log_path(home).read_text(encoding="utf-8", errors="replace").split("\n")
    except OSError:
        lines = []
    said = [line.split("\r")[-1].strip() for line in lines]
    return next((line for line in reversed(said) if line), "the build ended without a word")


def _card_path(home: Home) -> Path:
    return home.root / "building.json"


def _log_path(home: Home) -> Path:
    return home.root / "building.log"
