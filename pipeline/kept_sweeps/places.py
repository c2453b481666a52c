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
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from urllib.parse import quote

import pandas as pd

from pipeline.home import Home, write_new
from pipeline.intake.seals import digest_of
from pipeline.kept_sweeps.part_format import SCHEMA, Sweeps, as_numbers

#: Raised when what is written of the same samples changes: files then get other names.
FORMAT = "1"
#: What Hive and Arrow call a partition whose value is not known: they read it as blank.
NOT_KNOWN = "__HIVE_DEFAULT_PARTITION__"


@dataclass(frozen=True)
class Card:
    """What one file holds: the hash of each sweep's samples by its session.

    ``name`` is its path below ``sweeps_by_shop``.
    """

    name: str
    sha256: str
    sweeps: Mapping[str, str]


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


def current(home: Home, name: str) -> Path:
    """Where a file of the newest version lies."""
    return home.sweeps_by_shop / name


def aside(home: Home, name: str) -> Path:
    """Where it lies while its version is not the newest: not yet, or no longer."""
    return home.sweeps_aside / Path(name).name


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
        return Card(str(known["name"]), str(known["sha256"]), dict(known["sweeps"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def amiss(home: Home, card: Card) -> str:
    """What is wrong with a file, as a sentence without a full stop; empty where it is whole."""
    with suppress(FileNotFoundError):
        return "" if digest_of(there(home, card.name)) == card.sha256 else "is damaged"
    return "is gone"


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
    try:
        sweeps = Sweeps(there(home, name))
    except FileNotFoundError:  # moved between the look and the opening
        sweeps = Sweeps(there(home, name))
    try:
        yield sweeps
    finally:
        sweeps.close()


def there(home: Home, name: str) -> Path:
    """Where a file lies just now; what lies aside was written later.

    Raises
    ------
    FileNotFoundError
        It is gone.
    """
    places = (aside(home, name), current(home, name))
    for path in (*places, *places):  # twice: a build that ends meanwhile moves it
        if path.exists():
            return path
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


def samples_of(home: Home, places: Iterable[tuple[str, str]]) -> pd.DataFrame:
    """Samples of many sweeps as they came (SAMPLES), sorted by session.

    ``places`` are pairs of a file's name and a session in it; errors as of :func:`sweep_of`.
    """
    by_name: dict[str, list[str]] = {}
    for name, session_id in places:
        by_name.setdefault(name, []).append(session_id)
    found = {"": as_numbers(SCHEMA.empty_table())}
    for name, sessions in by_name.items():
        with opened(home, name) as sweeps:
            found |= {session: as_numbers(sweeps.sweep(session)) for session in sorted(sessions)}
    in_order = dict(sorted(found.items()))
    together = pd.concat(in_order, names=["session_id"]).reset_index("session_id")
    return together.reset_index(drop=True)
