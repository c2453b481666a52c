"""Put the samples of standing sweeps together by shop and month, and keep them in their places.

A file is named by what it holds, so that a build writes those alone whose sweeps changed: a day's
sweeps are laid to those of the month, and every other file stays. What a build writes stands aside
until its version is published (`pipeline/kept_sweeps/places.py`); only then are the samples by
handed-in file taken away, and what no version holds any more. A kill in between loses nothing:
samples that are neither in a whole file nor read at present are read again from what was handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from pipeline.home import Home
from pipeline.intake.read_rows import seal_path
from pipeline.intake.read_sweeps import read_samples, samples_path
from pipeline.intake.receive import HandedFile
from pipeline.intake.seals import digest_of
from pipeline.kept_sweeps.part_format import Sweeps, plain, write_part
from pipeline.kept_sweeps.places import (
    Card,
    amiss,
    aside,
    changed_ns,
    is_due,
    keep_card,
    part_name,
    read_card,
    taken_from,
)
from pipeline.kept_sweeps.storage import storage_of
from pipeline.statements import run, store
from pipeline.warehouse.held_memory import let_go

#: A file takes no further sweeps once it holds so many samples: about 8 MB.
MOST_SAMPLES = 4_000_000
#: Files that sweeps are taken from are kept open, up to this many.
_OPEN_AT_ONCE = 32


class SamplesGoneError(Exception):
    """Samples that stand can be read from nowhere any more; the message names the file."""


@dataclass(frozen=True)
class _Part:
    """One file that ought to be there.

    ``sweeps`` are rows of ``sweeps_wanted``, by session; ``hashes`` those of their samples.
    """

    name: str
    sweeps: pd.DataFrame
    hashes: dict[str, str]


def put_together(
    connection: duckdb.DuckDBPyConnection,
    home: Home,
    files: list[HandedFile],
    say: Callable[[str], None] = lambda text: None,
    each: Callable[[list[_Part]], Iterable[_Part]] = iter,
) -> int:
    """Write the files that are not there or not whole; fill ``marts.sweep_parts``.

    ``files`` is every file handed in; ``each`` goes through what is written and may tell how far
    that is. Returns how many files were written.

    Raises
    ------
    SamplesGoneError
        Samples that stand are gone, and the file that they came in is not as it came. What was
        read of it does not count any more: the caller begins again.
    """
    run(connection, "warehouse/sql/marts/bike_shops")
    most = {"most_samples": MOST_SAMPLES}
    wanted = run(connection, "warehouse/sql/marts/sweeps_wanted", most).df()
    parts = list(_parts(wanted))
    kept = _whole_cards(home, {part.name for part in parts}, say, datetime.now(UTC).date())
    missing = [part for part in parts if part.name not in kept]
    let_go(connection)
    sources = _Sources(connection, home, files, kept)
    try:
        for part in each(missing):
            _write(home, part, sources)
    finally:
        sources.close()
    placed = {
        "session_id": [session_id for part in parts for session_id in part.hashes],
        "samples_name": [part.name for part in parts for _ in part.hashes],
    }
    store(connection, "sweep_parts", pd.DataFrame(placed, dtype="string"))
    return len(missing)


def _parts(wanted: pd.DataFrame) -> Iterator[_Part]:
    """The files that hold all sweeps of ``sweeps_wanted``, in its order."""
    sessions, hashes = (wanted[name].tolist() for name in ("session_id", "samples_hash"))
    shops, months = wanted["shop_id"].to_numpy(object), wanted["month"].to_numpy(object)
    number = wanted["part_no"].to_numpy()
    starts = np.flatnonzero(np.diff(number, prepend=-1)).tolist()
    for start, end in pairwise([*starts, len(wanted)]):
        shop = shops[start] if isinstance(shops[start], str) else None
        held = dict(zip(sessions[start:end], hashes[start:end], strict=True))
        yield _Part(part_name(shop, months[start], held), wanted.iloc[start:end], held)


def _whole_cards(
    home: Home, wanted: set[str], say: Callable[[str], None], today: date
) -> dict[str, Card]:
    """Cards of files that are whole; those of others are taken away.

    A file that has not changed since it was last read is whole; each is read again in its turn,
    some every day, since a disk may give back other bytes than it was given. One that the version
    will not hold is always read: sweeps may be taken from it.
    """
    found = {}
    for path in sorted(home.sweep_cards.glob("*.json")):
        card = read_card(path)
        why = "has a damaged card"
        if card is not None:
            read = card.name not in wanted or is_due(card.name, today)
            why = _amiss(home, card, read=read)
        if card is not None and not why:
            found[card.name] = card
            continue
        path.unlink(missing_ok=True)
        if card is None or card.name in wanted:
            say(f"A file of samples ({path.stem}) {why}. It is made anew")
    return found


def _amiss(home: Home, card: Card, *, read: bool) -> str:
    """As ``amiss``, but that a file is read only where ``read`` asks for it or it has changed."""
    changed = changed_ns(home, card)
    if changed and changed == card.changed_ns and not read:
        return ""
    why = amiss(home, card)
    if not why and changed != card.changed_ns:
        keep_card(home, replace(card, changed_ns=changed))
    return why


def _write(home: Home, part: _Part, sources: _Sources) -> None:
    draft = home.root / Path(aside(part.name)).with_suffix(".draft")
    write_part(draft, (sources.sweep(row) for row in part.sweeps.itertuples()))
    about = draft.stat()
    card = Card(part.name, digest_of(draft), about.st_size, part.hashes, about.st_mtime_ns)
    storage_of(home).put(draft, aside(part.name))
    keep_card(home, card)


class _Sources:
    """Where sweeps are taken from: files kept before, those just read, what was handed in."""

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        home: Home,
        files: list[HandedFile],
        kept: dict[str, Card],
    ) -> None:
        self._connection, self._home = connection, home
        self._files = {(file.hand_in, file.file_no): file for file in files}
        self._kept = {sweep: card.name for card in kept.values() for sweep in card.sweeps.items()}
        self._open: dict[str, Sweeps] = {}

    def sweep(self, row: Any) -> pa.Table:
        """One sweep of ``sweeps_wanted``, as it is kept."""
        session_id = row.session_id
        name = self._kept.get((session_id, row.samples_hash))
        if name is not None:
            return self._opened(name).sweep(session_id)
        file = self._files[row.hand_in, row.file_no]
        path = samples_path(self._home.sweeps, file.stem)
        if not path.exists():
            self._read_again(file)
        found = self._opened(str(path)).sweep(session_id)
        if found.num_rows != row.sample_count:
            raise self._gone(file)
        return found

    def _opened(self, name: str) -> Sweeps:
        """A file kept before by its name, or one just read by its whole path."""
        found = self._open.pop(name, None)
        if found is None:
            read = Path(name).is_absolute()
            kept = storage_of(self._home)
            found = Sweeps(name, as_kept=plain) if read else taken_from(kept, name)
        self._open[name] = found  # the last in order is the one used last
        while len(self._open) > _OPEN_AT_ONCE:
            self._open.pop(next(iter(self._open))).close()
        return found

    def _read_again(self, file: HandedFile) -> None:
        if read_samples(self._connection, file, self._home.sweeps):
            raise self._gone(file)

    def _gone(self, file: HandedFile) -> SamplesGoneError:
        """The rows read of the file must not be relied on any more."""
        seal_path(self._home.rows, file).unlink(missing_ok=True)
        return SamplesGoneError(f"Samples of {file.name} (hand-in {file.hand_in}) are gone")

    def close(self) -> None:
        """Let all files go."""
        for sweeps in self._open.values():
            sweeps.close()
