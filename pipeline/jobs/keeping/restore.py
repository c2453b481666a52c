"""Restore a backup into a home of its own, whole or not at all, and compare what came of it."""

from __future__ import annotations

import json
import shutil
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.asker import Asker
from pipeline.home import Home, HomeError, sync_folder
from pipeline.intake.deeds import RESTORED, note
from pipeline.intake.deeds_check import broken_links
from pipeline.intake.seals import digest_of
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.keeping.backup import hashes_on_cards
from pipeline.jobs.keeping.backup_format import (
    FIRST,
    LAST,
    Backup,
    BackupError,
    copied,
    members,
    read_backup,
)
from pipeline.jobs.progress import BYTES, LongWork
from pipeline.warehouse.publish import Manifest
from pipeline.warehouse.record_digests import record_digests


@dataclass(frozen=True)
class Restored:
    """A restored home: what was compared, in sentences, and what was found different."""

    home: Home
    backup: Backup
    manifest: Manifest | None
    compared: list[str]
    different: list[str]


def restore(
    path: Path,
    root: Path,
    *,
    build: bool = True,
    asker: Asker | None = None,
    progress: bool = False,
    say: Callable[[str], None] = lambda text: None,
) -> Restored:
    """Restore a backup as the home ``root``, build the records, and compare.

    Parameters
    ----------
    path : Path
        The backup.
    root : Path
        The home to be, which must be empty or not there.
    build : bool
        Whether to build the records at once; else the next start or ``rebuild`` does.
    asker : Asker, optional
        Who restores it, for the record of deeds; whoever is at this machine.
    progress, say
        As for a build. Cancelled, it leaves no home, or a whole one that is not built yet.

    Raises
    ------
    BackupError
        The file is no backup, or is damaged or cut short. Nothing was restored.
    HomeError
        Something is in the way at ``root``, or it cannot be written. Nothing was restored.
    """
    root, work = root.expanduser().resolve(), LongWork(say=say, bars=progress)
    _refuse_taken(root)
    if not path.is_file():
        raise HomeError(f"No such file: {path}. Nothing was restored.")
    with work.counted("Reading the backup through", BYTES, path.stat().st_size) as step:
        backup = read_backup(path, step)
    compared, different = _put_there(backup, root, asker, work)
    home = Home(root)
    say(f"{root} is there, every file as the backup has it")
    manifest = _built(home, progress, say) if build else None
    if manifest is not None:
        work.stage("Comparing the records")
        _records_compared(backup, manifest, compared, different)
    return Restored(home, backup, manifest, compared, different)


def _built(home: Home, progress: bool, say: Callable[[str], None]) -> Manifest:
    try:
        return rebuild(home, progress=progress, say=say)
    except (HomeError, duckdb.Error) as error:
        raise HomeError(
            f"{home.root} is restored, every file as the backup has it; but the records could not "
            f"be built: {str(error).splitlines()[0]}"
        ) from error


def _refuse_taken(root: Path) -> None:
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise HomeError(
            f"{root} is not empty, and nothing is ever restored over what is there: choose another "
            "folder."
        )


def _put_there(
    backup: Backup, root: Path, asker: Asker | None, work: LongWork
) -> tuple[list[str], list[str]]:
    """Write and compare all files below a name of their own, then give the folder its name.

    So whatever ends it, there is the whole home with the deed that tells of it, or nothing.
    """
    root.parent.mkdir(parents=True, exist_ok=True)
    draft = root.parent / f".restoring-{uuid.uuid4().hex}"
    try:
        draft.mkdir()
        with work.counted("Restoring", BYTES, backup.size) as step:
            _write(backup, draft, step)
        _refuse_other_home(backup, draft)
        home = Home(draft).prepare(backup.head["kind"])
        with work.counted("Comparing what was restored", BYTES, backup.size) as step:
            found = _files_compared(home, backup, step)
        _note(home, backup, asker)
        for folder in sorted({path.parent for path in draft.rglob("*")}):
            sync_folder(folder)
        _refuse_taken(root)
        if root.exists():
            root.rmdir()
        draft.rename(root)
        sync_folder(root.parent)
    except OSError as error:
        raise HomeError(f"{root} could not be restored: {error}. No half of it is left.") from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return found


def _write(backup: Backup, draft: Path, told: Callable[[int], object]) -> None:
    for name, content in members(backup.path):
        if name in (FIRST, LAST):
            continue
        if copied(content, draft / name, told) != backup.hashes.get(name):
            raise BackupError(f"{backup.path} changed while it was read. Nothing was restored.")


def _note(home: Home, backup: Backup, asker: Asker | None) -> None:
    said = {"file": backup.path.name, "made_at": backup.head["made_at"]}
    note(home, RESTORED, said | {"hand_in": backup.last_hand_in}, asker)


def _refuse_other_home(backup: Backup, draft: Path) -> None:
    """The restored card is the one that the backup says it holds."""
    found = Home(draft)
    if found.kind != backup.head["kind"] or found.layout != backup.head["layout"]:
        raise BackupError(
            f"{backup.path} is damaged: its home.json is of another home than {FIRST} says. "
            "Nothing was restored."
        )


def _files_compared(
    home: Home, backup: Backup, told: Callable[[int], object]
) -> tuple[list[str], list[str]]:
    """Hold the restored files against the backup, the cards of hand-ins and the record of deeds."""
    different = []
    for name, wanted in backup.hashes.items():
        if digest_of(home.root / name, told) != wanted:
            different.append(f"{name} was not written as the backup has it.")
    on_cards = hashes_on_cards(home)
    for name, wanted in on_cards.items():
        if backup.hashes.get(name) != wanted:
            different.append(f"{name} is not what came with its hand-in.")
    different += broken_links(home)
    compared = [
        f"{len(backup.hashes):,} files ({backup.size / 1e6:,.1f} MB) with the backup's own hashes",
        f"{len(on_cards):,} files handed in with the hashes on their cards, up to hand-in "
        f"{backup.last_hand_in:,}",
        "the record of deeds, line by line",
    ]
    return compared, different


def _records_compared(
    backup: Backup, manifest: Manifest, compared: list[str], different: list[str]
) -> None:
    """Hold the records built anew against those that were published when it was backed up."""
    before = backup.records
    if before is None or before["hand_in"] != manifest.hand_in or before["shape"] != manifest.shape:
        why = (
            "nothing was published"
            if before is None
            else "what was published then did not hold every hand-in yet"
            if before["hand_in"] != manifest.hand_in
            else "it was published by another version of Wear Atlas"
        )
        compared.append(f"not the records row by row: when it was backed up, {why}")
        return
    now = json.loads(json.dumps(record_digests(manifest)))
    for name in sorted(before["tables"].keys() | now.keys()):
        if before["tables"].get(name) != now.get(name):
            different.append(f"The records of {name} are not those of version {before['version']}.")
    rows = sum(count for count, _ in now.values())
    compared.append(
        f"{rows:,} rows of {len(now)} tables with those of version {before['version']} at that time"
    )
