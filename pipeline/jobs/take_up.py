"""Take up what was entered since the last build: a build in a process of its own.

Pages go on meanwhile. A build that failed is not begun again for the same entries: it is told
instead, and whoever mended the cause begins it by hand. So is one that somebody stopped.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipeline.access.scope.allowed import require_settling
from pipeline.asker import Asker
from pipeline.environment import CHECKOUT
from pipeline.home import Home, HomeError, write_new
from pipeline.intake.deeds import BUILD_STOPPED, note
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
    ``how_far`` is what the builder says that it is at; ``can_stop`` is whether it is one that a
    page can stop, and ``stopped`` whether somebody did, who may have to wait until it has ended.
    A build may be at work for other reasons too, so that no hand-in waits: changed settings, say.
    """

    hand_ins: int
    last_at: datetime | None
    building: bool
    failed: str
    how_far: HowFar | None = None
    can_stop: bool = False
    stopped: bool = False


def not_taken_up(home: Home, now: datetime | None = None) -> NotTakenUp:
    """What waits for the next build; cheap enough to ask on every run of a page."""
    now = now or datetime.now(UTC)
    found, last = newest(home), last_hand_in(home)
    waiting = max(last - (found.hand_in if found else 0), 0)
    if not waiting and not home.building_now.exists():
        return NotTakenUp(0, None, building=False, failed="")
    attempt, at_work = _attempt(home), home.is_being_built
    begun = waiting > 0 and attempt is not None and attempt.hand_in >= last
    is_ours = at_work and _begun_here(home, attempt) is not None
    stopped = attempt is not None and attempt.stopped and (is_ours if at_work else begun)
    starting = attempt is not None and _is_within(now - attempt.begun_at, STARTING)
    building = at_work or (starting and waiting > 0 and not stopped)
    failed = _last_said(home) if begun and not building and not stopped else ""
    return NotTakenUp(
        waiting,
        handed_in_at(home, last) if waiting else None,
        building,
        failed,
        how_far(home) if building else None,
        can_stop=is_ours and not stopped,
        stopped=stopped,
    )


def take_up_if_due(home: Home, now: datetime | None = None) -> bool:
    """Begin a build where entries wait, none has come for a while, and none ended before.

    One that failed, or that somebody stopped, is not begun again for the same entries.
    """
    now = now or datetime.now(UTC)
    waiting = not_taken_up(home, now)
    if not waiting.hand_ins or waiting.building or waiting.last_at is None:
        return False
    if waiting.failed or waiting.stopped:
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
    attempt = _Attempt(last_hand_in(home), now or datetime.now(UTC))
    _keep(home, attempt)
    before = os.environ.get("PYTHONPATH")
    path = CHECKOUT if not before else CHECKOUT + os.pathsep + before
    with _log_path(home).open("wb") as log:
        process = subprocess.Popen(  # noqa: S603 - our own command
            [*_REBUILD, "--home", str(home.root)],
            cwd=CHECKOUT,
            env=os.environ | {"PYTHONPATH": path},
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=os.name != "nt",
        )
    _keep(home, replace(attempt, process=process.pid))


def stop_build(home: Home, asker: Asker) -> bool:
    """Have the build begun in the background end, tidily; False where none is at work.

    What was entered waits on, also what came while it was at work, until a build is begun by hand
    or something more is entered. A build begun at a terminal is left to whoever sits there.

    Raises
    ------
    NotAllowedError
        The asker is not an owner who sees all shops: a build is for all of them.
    HomeError
        The build is another user's of this machine.
    """
    require_settling(asker)
    attempt = _attempt(home)
    process = _begun_here(home, attempt)
    if attempt is None or process is None:
        return False
    # first: whoever looks once it has ended is not to take it for one that failed
    _keep(home, replace(attempt, hand_in=last_hand_in(home), stopped=True))
    try:
        os.kill(process, signal.SIGTERM)  # where there are no signals, it is ended like by a kill
    except ProcessLookupError:
        return False
    except PermissionError as error:
        _keep(home, attempt)
        raise HomeError("The build is another user's, who alone can stop it.") from error
    with suppress(OSError, HomeError):  # it is stopped all the same
        note(home, BUILD_STOPPED, {}, asker)
    return True


def _begun_here(home: Home, attempt: _Attempt | None) -> int | None:
    """The process at work in a home, where it is the one begun in the background from here."""
    if attempt is None or attempt.process is None or not home.is_being_built:
        return None
    try:
        card = json.loads((home.root / "builder.json").read_text(encoding="utf-8"))
        process, begun_by = int(card["process"]), int(card["begun_by"])
        is_here = card["host"] == socket.gethostname()
    except (OSError, ValueError, KeyError, TypeError):
        return None
    if process <= 1:  # to the system no process, but all of a kind
        return None
    # some systems begin Python by a process that begins another
    return process if is_here and attempt.process in (process, begun_by) else None


@dataclass(frozen=True)
class _Attempt:
    """The last build begun in the background, up to which hand-in, and whether it was stopped."""

    hand_in: int
    begun_at: datetime
    process: int | None = None
    stopped: bool = False


def _keep(home: Home, attempt: _Attempt) -> None:
    card = asdict(attempt) | {"begun_at": attempt.begun_at.isoformat()}
    write_new(_card_path(home), json.dumps(card) + "\n")


def _attempt(home: Home) -> _Attempt | None:
    try:
        card = json.loads(_card_path(home).read_text(encoding="utf-8"))
        begun_at = datetime.fromisoformat(card["begun_at"])
        process = card.get("process")
        stopped = card.get("stopped") is True
        return _Attempt(int(card["hand_in"]), begun_at, process and int(process), stopped)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
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
