"""Where the samples of standing sweeps are kept: one file (or a few) for each shop and month.

``sweeps_by_shop/shop_id=S1/month=2026-05/part-….parquet`` are the files of the newest version and
no others, so that any tool may read the folder as one table. ``sweeps_aside/`` holds those of a
version being built and of the versions before, under the same file names. A file is named by a
hash of what it holds and never changed; its card in ``sweep_cards/`` says what it holds and what
it hashes to.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import quote

import pandas as pd

from pipeline.home import Home, write_new
from pipeline.kept_sweeps.packed import Packed, packed
from pipeline.kept_sweeps.part_format import Sweeps, as_numbers
from pipeline.kept_sweeps.storage import OnDisk, Storage, storage_of

Read = TypeVar("Read")

#: A file on disk that has kept its size and time of change is read whole once in so many days.
READ_AGAIN_DAYS = 30
BY_SHOP, ASIDE = "sweeps_by_shop", "sweeps_aside"
#: Raised when what is written of the same samples changes: files then get other names.
FORMAT = "1"
#: What Hive and Arrow call a partition whose value is not known: they read it as blank.
NOT_KNOWN = "__HIVE_DEFAULT_PARTITION__"


@dataclass(frozen=True)
class Card:
    """What one file holds: the hash of each sweep's samples by its session.

    ``name`` is its path below ``sweeps_by_shop``; ``changed_ns`` its time of change as its bytes
    were last held against ``sha256``, 0 where that is not known.
    """

    name: str
    sha256: str
    size: int
    sweeps: Mapping[str, str]
    changed_ns: int = 0


def part_name(shop_id: str | None, month: str, sweeps: Mapping[str, str]) -> str:
    """The name of the file that holds these sweeps (hash of the samples by session)."""
    told = json.dumps([FORMAT, shop_id, month, sorted(sweeps.items())])
    digest = hashlib.sha256(told.encode()).hexdigest()[:32]
    return f"shop_id={_in_a_path(shop_id)}/month={month}/part-{digest}.parquet"


def _in_a_path(value: str | None) -> str:
    """A value as a folder's name on any system, escaped as Hive and Arrow do."""
    if value is None:
        return NOT_KNOWN
    return quote(value, safe="").replace(".", "%2E").replace("~", "%7E")


def current(name: str) -> str:
    """Where in the storage a file of the newest version lies."""
    return f"{BY_SHOP}/{name}"


def aside(name: str) -> str:
    """Where it lies while its version is not the newest: not yet, or no longer."""
    return f"{ASIDE}/{name.rpartition('/')[2]}"


def card_path(home: Home, name: str) -> Path:
    """Where it is said what a file holds."""
    return home.sweep_cards / f"{Path(name).stem}.json"


def keep_card(home: Home, card: Card) -> None:
    """Write a file's card, which says that the file is whole."""
    write_new(card_path(home, card.name), json.dumps(asdict(card)) + "\n")


def read_card(path: Path) -> Card | None:
    """A file's card; None where it is damaged."""
    try:
        known = json.loads(path.read_text(encoding="utf-8"))
        held = str(known["name"]), str(known["sha256"]), int(known["size"]), dict(known["sweeps"])
        return Card(*held, int(known.get("changed_ns", 0)))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def amiss(home: Home, card: Card, *, thoroughly: bool = False) -> str:
    """What is wrong with a file, as a sentence without a full stop; empty where it is whole.

    In a shared storage that is told by its size, unless each byte is to be read.
    """
    storage = storage_of(home)
    try:
        place = there(storage, card.name)
        if thoroughly or isinstance(storage, OnDisk):
            whole = storage.digest(place) == card.sha256
        else:
            whole = storage.size(place) == card.size
    except FileNotFoundError:
        return "is gone"
    return "" if whole else "is damaged"


def changed_ns(home: Home, card: Card) -> int:
    """When a file on disk was last changed, 0 where it has another size, is elsewhere or gone."""
    storage = storage_of(home)
    if isinstance(storage, OnDisk):
        with suppress(OSError):
            found = storage.source(there(storage, card.name)).stat()
            return found.st_mtime_ns if found.st_size == card.size else 0
    return 0


def is_due(name: str, today: date) -> bool:
    """Whether it is a file's turn to be read whole though nobody seems to have changed it."""
    return zlib.crc32(name.encode()) % READ_AGAIN_DAYS == today.toordinal() % READ_AGAIN_DAYS


@contextmanager
def opened(home: Home, name: str) -> Iterator[Sweeps]:
    """A file to take sweeps from, wherever it lies just now.

    Raises
    ------
    FileNotFoundError
        It is gone.
    OSError, pyarrow.ArrowException
        It cannot be read.
    """
    sweeps = taken_from(storage_of(home), name)
    try:
        yield sweeps
    finally:
        sweeps.close()


def taken_from(storage: Storage, name: str) -> Sweeps:
    """A file to take sweeps from, to be closed; errors as of :func:`opened`."""
    return _read_from(storage, name, Sweeps)


def _read_from(storage: Storage, name: str, read: Callable[[Any], Read]) -> Read:
    places = (aside(name), current(name))  # what lies aside was written later
    for place in (*places, *places):  # twice: a build that ends meanwhile moves it
        with suppress(FileNotFoundError):
            return read(storage.source(place))
    raise FileNotFoundError(name)


def there(storage: Storage, name: str) -> str:
    """Where a file lies just now.

    Raises
    ------
    FileNotFoundError
        It is gone.
    """
    for place in (aside(name), current(name)):
        if storage.size(place) is not None:
            return place
    raise FileNotFoundError(name)


def sweep_of(home: Home, name: str, session_id: str) -> pd.DataFrame:
    """One sweep's samples as they came: SAMPLES without the session, in the order recorded.

    Raises
    ------
    OSError, pyarrow.ArrowException
        The file is gone, or cannot be read.
    """
    with opened(home, name) as sweeps:
        return as_numbers(sweeps.sweep(session_id))


def packed_of(home: Home, places: Iterable[tuple[str, str]]) -> list[Packed]:
    """Samples of many sweeps, still packed, file by file.

    ``places`` are pairs of a file's name and a session in it; errors as of :func:`sweep_of`.
    """
    by_name: dict[str, list[str]] = {}
    for name, session_id in places:
        by_name.setdefault(name, []).append(session_id)
    storage = storage_of(home)
    return [
        _read_from(storage, name, partial(packed, sessions=sessions))
        for name, sessions in by_name.items()
    ]
