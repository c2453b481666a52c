"""The data home: one folder that holds all a shop handed in and all that was made of it.

::

    home.json           layout version, and whether these are a shop's own records or the demo
    lock, builder.json  one builder at a time, and who it is
    handed_in/000001/   files as they came, in order of hand-in: the truth everything rests on
    rows/               the same, read and checked cell by cell (derived)
    sweeps_by_shop/     samples of the sweeps that stand, as Parquet by shop and month (derived)
    sweeps_aside/       the same of a version in work and of those before the newest (derived)
    sweep_cards/        what each of these files holds and hashes to (derived)
    sweeps/             samples by handed-in file, from reading them until a build ends (derived)
    sweeps_at.json      where samples are stored, if not in the home; no credential in it
    measured/           sweep measures, kept so that a sweep is measured once (derived)
    kept_models/        fitted models, used again while nothing changed (derived)
    published/          finished warehouses, one file a version, and a manifest for each
    set_aside.csv       what could not be taken in, and why
    to_correct/         the same rows whole, ready to correct and hand in again
    settings.toml       costs, levels, limits and how values are shown, for the owner to edit
    network.toml        how the dashboard is reached on the shop's network; no secret in it
    people.toml         who has which part there, for which shops or fleets
    column_names.json   what the columns of a shop's own files stand for; in column_names/ for those
                        who do not see all shops
    advised/            what each published version advised: kept, since it cannot be made again
    given_out/          visits as calendar files gave them out last, carried on from build to build
    deeds/              who did what, in lines that are only ever added to
    drafts/             forms begun on screen and not saved yet
    before_layout_2/    what a newer version changed of the home, as it was before
    building.json, .log the last build begun from the screen, and what it said
    building_now.json   how far the builder is, while there is one
    stages_took.json    how long each stage took in the last builds (derived)
"""

from __future__ import annotations

import getpass
import json
import os
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.environment import CHECKOUT
from pipeline.home_layouts import LAYOUT, carry_forward

OWN, DEMO = "own", "demo"


class HomeError(Exception):
    """The data home cannot be used; the message says why and what to do."""


@dataclass(frozen=True)
class Home:
    """Paths of one data home. Making the object touches nothing on disk."""

    root: Path

    @property
    def handed_in(self) -> Path:
        """Files as they came."""
        return self.root / "handed_in"

    @property
    def rows(self) -> Path:
        """Rows as read and checked."""
        return self.root / "rows"

    @property
    def sweeps(self) -> Path:
        """Samples by handed-in file, until they are put together by shop and month."""
        return self.root / "sweeps"

    @property
    def sweeps_by_shop(self) -> Path:
        """Samples by shop and month: the files of the newest version alone."""
        return self.root / "sweeps_by_shop"

    @property
    def sweeps_aside(self) -> Path:
        """Files of samples that versions other than the newest hold."""
        return self.root / "sweeps_aside"

    @property
    def sweep_cards(self) -> Path:
        """What each file of samples holds."""
        return self.root / "sweep_cards"

    @property
    def measured(self) -> Path:
        """Sweep measures kept between builds."""
        return self.root / "measured"

    @property
    def kept_models(self) -> Path:
        """Fitted models kept between builds."""
        return self.root / "kept_models"

    @property
    def published(self) -> Path:
        """Finished warehouses."""
        return self.root / "published"

    @property
    def set_aside(self) -> Path:
        """The list of what could not be taken in."""
        return self.root / "set_aside.csv"

    @property
    def to_correct(self) -> Path:
        """The same rows whole, one file a table."""
        return self.root / "to_correct"

    @property
    def advised(self) -> Path:
        """What each published version advised."""
        return self.root / "advised"

    @property
    def drafts(self) -> Path:
        """Forms begun on screen and not saved yet."""
        return self.root / "drafts"

    @property
    def given_out(self) -> Path:
        """Visits as calendar files gave them out last."""
        return self.root / "given_out"

    @property
    def deeds(self) -> Path:
        """Who did what."""
        return self.root / "deeds"

    @property
    def settings(self) -> Path:
        """Costs, levels and limits, for the owner to edit."""
        return self.root / "settings.toml"

    @property
    def network(self) -> Path:
        """How the dashboard is reached on the shop's network."""
        return self.root / "network.toml"

    @property
    def people(self) -> Path:
        """Who has which part on the shop's network."""
        return self.root / "people.toml"

    @property
    def column_names(self) -> Path:
        """What the columns of a shop's own files stand for."""
        return self.root / "column_names.json"

    @property
    def building_now(self) -> Path:
        """How far the builder is."""
        return self.root / "building_now.json"

    @property
    def stages_took(self) -> Path:
        """How long each stage of a build took, when it last came."""
        return self.root / "stages_took.json"

    @property
    def kind(self) -> str | None:
        """``own``, ``demo``, or None where the home has not been started."""
        found = self._card()
        return found["kind"] if found else None

    @property
    def as_of(self) -> date | None:
        """The day the records are looked at from, where it is fixed (the demo's); else today."""
        found = self._card()
        return date.fromisoformat(found["as_of"]) if found and "as_of" in found else None

    def prepare(self, kind: str = OWN, *, as_of: date | None = None) -> Home:
        """Make the folders, or refuse a home of another kind or of a newer layout."""
        try:
            for folder in (
                *(self.handed_in, self.rows, self.measured, self.published),
                *(self.sweeps, self.sweeps_by_shop, self.sweeps_aside, self.sweep_cards),
            ):
                folder.mkdir(parents=True, exist_ok=True)
            card = self._card()
            if card is None:
                self._write_card(kind, as_of)
                return self
        except OSError as error:
            raise HomeError(f"The data home {self.root} cannot be written: {error}.") from error
        _refuse_mixing(self.root, card["kind"], kind)
        return self

    @property
    def layout(self) -> int | None:
        """Version of the layout it is in, None where it has not been started."""
        found = self._card()
        return int(found["layout"]) if found else None

    def refuse_newer(self) -> None:
        """Raise HomeError where a newer version of the program wrote it, or its card is damaged."""
        self._card()

    def bring_up_to_date(self) -> bool:
        """Carry a home of an older layout forward; False for one of the present layout.

        Raises
        ------
        HomeError
            It is of a newer layout, or another builder is at work in it.
        """
        layout = self.layout
        if layout is not None and layout < LAYOUT:
            with self.one_builder():
                return True
        return False

    def _card(self) -> dict | None:
        path = self.root / "home.json"
        if not path.exists():
            return None
        try:
            card = json.loads(path.read_text(encoding="utf-8"))
            layout, _ = int(card["layout"]), card["kind"]
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise HomeError(f"{path} is damaged ({error}); put it back from a copy.") from error
        if layout > LAYOUT:
            raise HomeError(
                f"{self.root} was written by a newer Wear Atlas (layout {layout}, this one knows "
                f"{LAYOUT}); use the newer one."
            )
        return card

    def _write_card(self, kind: str, as_of: date | None) -> None:
        card = {"layout": LAYOUT, "kind": kind}
        if as_of:
            card["as_of"] = as_of.isoformat()
        write_new(self.root / "home.json", json.dumps(card) + "\n")

    @contextmanager
    def one_builder(self) -> Iterator[None]:
        """Hold the home for one builder; others are told who holds it.

        The lock is the operating system's own: it ends with the process that holds it, so that
        a killed builder never leaves the home locked. A home of an older layout is carried forward
        first.
        """
        card = self.root / "builder.json"
        lock = FileLock(self.root / "lock", timeout=1)  # long enough for those who only look
        try:
            lock.acquire()
        except Timeout as error:
            raise HomeError(
                f"Another builder is at work in {self.root}: {_holder(card)}."
            ) from error
        except OSError as error:
            raise HomeError(
                f"The data home {self.root} cannot be written: {error.strerror}."
            ) from error
        try:
            card.write_text(json.dumps(_this_process()), encoding="utf-8")
            if self._card() is not None:
                carry_forward(self.root)
            yield
        finally:
            self.building_now.unlink(missing_ok=True)
            card.unlink(missing_ok=True)
            lock.release()

    @property
    def is_being_built(self) -> bool:
        """Whether a builder holds the home just now."""
        try:
            with FileLock(self.root / "lock", timeout=0):
                return False
        except Timeout:
            return True
        except OSError:  # who cannot write to it cannot tell, and builds nothing
            return False


def default_root() -> Path:
    """The folder for homes nobody named: git-ignored, inside the checkout."""
    return Path(CHECKOUT) / ".wear_atlas"


def own_home(named: str | None = None) -> Home:
    """The home asked for: ``--home``, else ``WEAR_ATLAS_HOME``, else the default one."""
    chosen = named or os.environ.get("WEAR_ATLAS_HOME")
    return Home(Path(chosen).expanduser().resolve() if chosen else default_root() / "own")


def demo_home() -> Home:
    """Where the demo shops live, apart from any shop's own records."""
    chosen = os.environ.get("WEAR_ATLAS_DEMO_HOME")
    return Home(Path(chosen).expanduser().resolve() if chosen else default_root() / "demo")


def write_new(path: Path, text: str) -> None:
    """Write a file so that it is either absent or whole, never half."""
    draft = path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}")
    try:
        with draft.open("w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except BaseException as error:  # also where the job is cancelled
        with suppress(OSError):
            draft.unlink(missing_ok=True)
        if not isinstance(error, OSError):
            raise
        if error.filename is None and error.errno is not None:  # a full disk names no file
            raise OSError(error.errno, error.strerror, str(path)) from error
        raise


def sync_folder(folder: Path) -> None:
    """Bring a folder's list of names to the disk, where the system lets a folder be opened."""
    if os.name == "nt":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def _refuse_mixing(root: Path, found: str, asked: str) -> None:
    if found == DEMO and asked != DEMO:
        raise HomeError(
            f"{root} holds the demo shops, which never mix with a shop's own records: hand yours "
            "in with another --home, or with none."
        )
    if found != DEMO and asked == DEMO:
        raise HomeError(f"{root} holds a shop's own records; the demo needs a folder of its own.")


def _this_process() -> dict[str, str]:
    return {
        "who": getpass.getuser(),
        "host": socket.gethostname(),
        "process": str(os.getpid()),
        "begun_by": str(os.getppid()),
        "since": datetime.now(UTC).isoformat(timespec="seconds"),
    }


def _holder(card: Path) -> str:
    try:
        held = json.loads(card.read_text(encoding="utf-8"))
        return "{who} on {host}, process {process}, since {since}".format(**held)
    except (OSError, ValueError, KeyError, TypeError):
        return "it has not written its name yet"
