"""What a killed shop hands in, what must then stand, and how its home is held against that.

Each hand-in has readings of its own, and every third a test with its sweep, so that a row that is
lost or doubled shows.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb

from pipeline.home import Home
from pipeline.intake.hand_in_cards import CARD, card_of, hand_in_folders
from pipeline.kept_sweeps.places import sweep_of
from pipeline.statements import connect
from pipeline.warehouse.publish import Manifest, newest
from tests.pipeline.shop_files import SHOP, sweep_csv, write_files

DAY = date(2026, 6, 1)
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
FIRST_DAY = date(2025, 6, 1)
_READINGS = 2


@dataclass(frozen=True)
class Entry:
    """One hand-in by its number in the order made; never two the same."""

    number: int

    @property
    def keys(self) -> list[tuple[str, str]]:
        """Table and key of each row."""
        found = [("odometer", f"B1/{day}") for day, _ in self._readings()]
        if self.has_sweep:
            found += [("test_sessions", self._session), ("sweeps", self._session)]
        return found

    @property
    def has_sweep(self) -> bool:
        """Whether a test comes with it."""
        return self.number % 3 == 0

    @property
    def _session(self) -> str:
        return f"K{self.number:04d}"

    def _readings(self) -> list[tuple[date, int]]:
        first = _READINGS * self.number
        return [
            (FIRST_DAY + timedelta(days=n + 1), 26_000 + 10 * n)
            for n in range(first, first + _READINGS)
        ]

    def write(self, folder: Path) -> Path:
        """Write its files; return the folder."""
        readings = "".join(f"B1,{day},{km}\n" for day, km in self._readings())
        files = {"odometer": "unit_id,read_on,odometer_km\n" + readings}
        if self.has_sweep:
            day, km = self._readings()[-1]
            head, row = SHOP["test_sessions"].splitlines()[0], self._session
            files["test_sessions"] = (
                f"{head}\n{row},S1,s1,{day}T18:00:00+00:00,{km},routine,5.01,volt,pass\n"
            )
            files["sweeps"] = sweep_csv(row, rate_hz=50.0)
        return write_files(folder / f"entry-{self.number:04d}", files)


def begin(root: Path, files: Path) -> Home:
    """A home with the shop handed in and nothing built."""
    from pipeline.intake.receive import receive

    home = Home(root).prepare(as_of=DAY)
    receive(home, [write_files(files, SHOP)], NOW)
    return home


def amiss_on_disk(home: Home, told: Iterable[int]) -> list[str]:
    """What is lost or half there of the hand-ins whose number was told to whoever handed them in."""
    found = []
    there = {int(folder.name): folder for folder in hand_in_folders(home)}
    for number in told:
        if number not in there:
            found.append(f"hand-in {number} was told to be taken and is gone")
    for number, folder in there.items():
        if not (folder / CARD).exists():
            found.append(f"hand-in {number} has no card")
            continue
        for file in card_of(folder)["files"]:
            content = (folder / file["stored"]).read_bytes()
            if hashlib.sha256(content).hexdigest() != file["sha256"]:
                found.append(f"hand-in {number}: {file['name']} is not as it came")
    return found


def amiss_in_published(home: Home) -> list[str]:
    """What is wrong with the newest version: it must hold each row of its hand-ins once."""
    manifest = newest(home)
    return [] if manifest is None else amiss_in(home, manifest)


def amiss_in(home: Home, manifest: Manifest) -> list[str]:
    """What is wrong with one version, its manifest and warehouse being there."""
    connection = connect(manifest.path, read_only=True)
    try:
        handed = Counter(
            connection.execute("select table_name, row_key from intake.rows").fetchall()
        )
        stands = Counter(
            connection.execute("select table_name, row_key from intake.standing").fetchall()
        )
        odometer = connection.execute("select unit_id || '/' || read_on from staging.odometer")
        typed = Counter(key for (key,) in odometer.fetchall())
        measured = connection.execute("select session_id from marts.sweep_measures").fetchall()
        placed = connection.execute(
            "select samples_name, session_id, sample_count from staging.sweeps "
            "join marts.sweep_parts using (session_id)"
        ).fetchall()
        (files, last) = connection.execute(
            "select count(*), max(hand_in) from intake.files"
        ).fetchone()
        for table in ("sensor_lives", "sweep_measures", "sweep_passes"):
            connection.execute(f"from marts.{table}").fetchall()
    finally:
        connection.close()
    found = [f"hand-in {last} instead of {manifest.hand_in}"] if last != manifest.hand_in else []
    wanted = wanted_rows(home, up_to=manifest.hand_in)
    if files != sum(wanted.file_counts.values()):
        found.append(f"{files} files in the records, {sum(wanted.file_counts.values())} handed in")
    if handed != wanted.times:
        found.append(f"rows differ: {(handed - wanted.times) + (wanted.times - handed)}")
    once = Counter(dict.fromkeys(wanted.times, 1))
    if stands != once:
        found.append(f"standing rows differ: {(stands - once) + (once - stands)}")
    readings = Counter(key for table, key in once if table == "odometer")
    if typed != readings:
        found.append(f"readings differ: {(typed - readings) + (readings - typed)}")
    sweeps = Counter(key for table, key in once if table == "sweeps")
    if Counter(key for (key,) in measured) != sweeps:
        found.append(f"measured sweeps differ: {measured}")
    if Counter(session_id for _, session_id, _ in placed) != sweeps:
        found.append(f"kept sweeps differ: {placed}")
    for name, session_id, count in placed:
        there = len(sweep_of(home, name, session_id))
        if there != count:
            found.append(f"{there} samples of {session_id} instead of {count}")
    return [f"version {manifest.version}: {what}" for what in found]


def amiss_by_shop(home: Home) -> list[str]:
    """What whoever reads the folder of samples would find amiss while nobody builds."""
    wanted = wanted_rows(home, up_to=10**9).sample_counts
    found = dict(
        duckdb.execute(
            "select session_id, count(*) from read_parquet(?) group by all",
            [f"{home.sweeps_by_shop}/*/*/*.parquet"],
        ).fetchall()
        if any(home.sweeps_by_shop.iterdir())
        else ()
    )
    left = [f"left at rest: sweeps/{path.name}" for path in home.sweeps.iterdir()]
    return left + ([f"samples by shop: {found} instead of {wanted}"] if found != wanted else [])


@dataclass(frozen=True)
class Wanted:
    """How often each row was handed in, by table and key; samples by session; files by hand-in."""

    times: Counter
    sample_counts: dict[str, int]
    file_counts: dict[int, int]


def wanted_rows(home: Home, up_to: int) -> Wanted:
    """Read anew from the handed-in files themselves, by nothing but their text."""
    times: Counter = Counter()
    counts: dict[int, int] = {}
    samples: Counter = Counter()
    for folder in hand_in_folders(home):
        if int(folder.name) > up_to:
            continue
        card = json.loads((folder / CARD).read_text())
        counts[int(folder.name)] = len(card["files"])
        for file in card["files"]:
            text = (folder / file["stored"]).read_text()
            times.update(_keys_of(file["name"], text))
            if file["name"].startswith("sweeps"):
                # handed in again where the first time was not acknowledged: the same sweep
                samples |= Counter(line.split(",")[0] for line in text.splitlines()[1:])
    return Wanted(times, dict(samples), counts)


def _keys_of(name: str, text: str) -> list[tuple[str, str]]:
    table = name.removesuffix(".csv")
    rows = [line.split(",") for line in text.splitlines()[1:]]
    if table == "sweeps":
        return [(table, key) for key in sorted({row[0] for row in rows})]
    width = {"odometer": 2}.get(table, 1)
    return [(table, "/".join(row[:width])) for row in rows]
