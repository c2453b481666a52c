"""Make everything derived anew from the files handed in, keeping none of what there is."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import duckdb

from pipeline.home import Home, HomeError
from pipeline.intake.receive import handed_files
from pipeline.jobs.hand_back import write_set_aside
from pipeline.jobs.keeping.check_handed_in import handed_in_findings
from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import ONE, Workers
from pipeline.warehouse.build import build
from pipeline.warehouse.leftovers import set_by
from pipeline.warehouse.publish import Manifest, newest
from pipeline.warehouse.record_digests import Digests, record_digests


@dataclass(frozen=True)
class MadeAnew:
    """The version published, the one it was held against, and tables that differ from that."""

    manifest: Manifest
    before: int | None
    tables: int
    different: list[str]


def rebuild_from_nothing(
    home: Home,
    *,
    progress: bool = False,
    say: Callable[[str], None] = lambda text: None,
    workers: Workers = ONE,
) -> MadeAnew:
    """Set everything derived by, make it anew, and hold the records against those before.

    Readers go on meanwhile: samples are replaced file by file once the build has succeeded,
    versions stay. Should the build fail, what was set by comes back.

    Raises
    ------
    HomeError
        Files handed in are not as they came, so that less could be made of them than is there;
        or another builder is at work. Nothing is changed then.
    """
    with home.one_builder():
        work = LongWork(say=say, bars=progress, card=home.building_now)
        amiss = handed_in_findings(home, work)
        if any(finding.needs_copy for finding in amiss):
            told = "\n".join(f"- {finding}" for finding in amiss if finding.needs_copy)
            raise HomeError(f"Nothing was changed, since not all can be made anew:\n{told}")
        before, was = _records(home)
        with _set_by(home):
            manifest = build(home, progress=progress, say=say, workers=workers, carry=False)
            write_set_aside(home, manifest)
    found = record_digests(manifest)
    different = sorted(name for name in was if was[name] != found.get(name))
    return MadeAnew(manifest, before.version if before else None, len(was), different)


def _records(home: Home) -> tuple[Manifest | None, Digests]:
    """The newest version with its records, where it can be read and is of this code."""
    found = newest(home)
    if found is None or not found.is_current:
        return None, {}
    last = max((file.hand_in for file in handed_files(home)), default=0)
    if found.hand_in != last:
        return None, {}  # the new one will hold more
    try:
        return found, record_digests(found)
    except duckdb.Error:
        return None, {}


@contextmanager
def _set_by(home: Home) -> Iterator[None]:
    by = set_by(home)
    shutil.rmtree(by, ignore_errors=True)
    by.mkdir()
    folders = (home.rows, home.sweeps, home.sweep_cards, home.measured, home.kept_models)
    for folder in folders:
        if folder.exists():
            folder.rename(by / folder.name)
        folder.mkdir()
    try:
        yield
    except BaseException:
        for folder in folders:
            if (by / folder.name).exists():
                shutil.rmtree(folder, ignore_errors=True)
                (by / folder.name).rename(folder)
        raise
    finally:
        shutil.rmtree(by, ignore_errors=True)
