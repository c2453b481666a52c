"""The commands of ``python -m pipeline``."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from pipeline.cluster_commands import add_cluster_commands
from pipeline.home import Home, HomeError, own_home
from pipeline.intake.settings.settings_file import read_settings
from pipeline.jobs.cancel import CancelledError, cancellable
from pipeline.jobs.demo import ensure_demo
from pipeline.jobs.ingest import IngestReport, ingest, rebuild
from pipeline.jobs.keeping.backup import back_up
from pipeline.jobs.keeping.check_home import check_home
from pipeline.jobs.keeping.restore import restore
from pipeline.jobs.made_anew import MadeAnew, rebuild_from_nothing
from pipeline.jobs.progress import LongWork
from pipeline.jobs.store_sweeps import store_sweeps
from pipeline.jobs.workers import add_worker_flags, chosen_workers, stop_workers
from pipeline.log_commands import add_log_commands

#: A build that cannot be written changes nothing.
_KEPT = (
    "What was handed in before is kept, and what was published stays. Once the cause is mended "
    "(a full disk, say), run: python3 -m pipeline rebuild"
)
_CANCELLED = (
    "Cancelled, and nothing is left half done: what was handed in before is kept, what was "
    "published stays, and what was finished (sweeps measured, say) is not done again by the next "
    "build."
)
#: What is said instead by commands that build nothing, or not only.
_BACKUP_CANCELLED = "Cancelled: no half of a backup is left, and no record was changed."
_CHECK_CANCELLED = "Cancelled: the check changed no record, and what it had found is not told."
_RESTORE_CANCELLED = (
    "Cancelled: no half of a data home is left. If it was said above to be there, it is whole, and "
    "the next start or `python3 -m pipeline rebuild` builds its records."
)
#: By how much a build in the background stands back, as ``nice`` counts it.
LOW_PRIORITY = 10
_HEADS = {
    "table_name": "table",
    "handed_in": "handed in",
    "accepted": "accepted",
    "new_rows": "new",
    "replaced": "replaced",
    "unchanged": "unchanged",
    "set_aside": "set aside",
    "waiting": "of these waiting",
}


def main(arguments: list[str] | None = None) -> int:
    """Run one command; return 0, or 1 with one clear sentence on standard error.

    A command that was cancelled returns what shells expect of one that a signal ended.
    """
    chosen = _parser().parse_args(arguments)
    try:
        with cancellable():
            chosen.run(chosen)
    except CancelledError as cancelled:
        stop_workers()
        print(getattr(chosen, "cancelled", _CANCELLED), file=sys.stderr)
        return cancelled.exit_code
    except HomeError as error:
        print(error, file=sys.stderr)
        return 1
    except duckdb.Error as error:
        said = str(error).splitlines()[0].rstrip(".")
        print(f"The records could not be built: {said}. {_KEPT}", file=sys.stderr)
        return 1
    except OSError as error:
        said = f"{error.filename or 'The data home'}: {error.strerror}"
        print(f"{said}. {_KEPT}", file=sys.stderr)
        return 1
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m pipeline", description="Take a shop's files in and build the records."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    take_in = commands.add_parser(
        "ingest", help="take files or folders in, rebuild and publish in one go"
    )
    take_in.add_argument("paths", nargs="+", type=Path, metavar="FILE_OR_FOLDER")
    take_in.set_defaults(run=_ingest)
    again = commands.add_parser("rebuild", help="build and publish anew from the files taken in")
    again.add_argument(
        "--low-priority", action="store_true", help="let other programs have the processor first"
    )
    again.add_argument(
        "--from-nothing",
        action="store_true",
        help="make everything derived anew, keeping none of it, and compare",
    )
    again.set_defaults(run=_rebuild)
    look = commands.add_parser("check", help="hold all that is kept against what was handed in")
    look.add_argument("--repair", action="store_true", help="then mend what can be made again")
    look.set_defaults(run=_check, cancelled=_CHECK_CANCELLED)
    demo = commands.add_parser("demo", help="build the demo shops in a home of their own")
    demo.set_defaults(run=_demo)
    copy = commands.add_parser("backup", help="copy what cannot be made again, while in use")
    copy.add_argument("target", type=Path, metavar="FILE_OR_FOLDER")
    copy.set_defaults(run=_backup, cancelled=_BACKUP_CANCELLED)
    put_back = commands.add_parser("restore", help="restore a backup into a home of its own")
    put_back.add_argument("backup", type=Path, metavar="BACKUP")
    put_back.add_argument("--home", metavar="DIR", required=True, help="an empty or new folder")
    put_back.add_argument(
        "--no-build", action="store_true", help="leave the records to the next build"
    )
    put_back.set_defaults(run=_restore, cancelled=_RESTORE_CANCELLED)
    for command in (take_in, again, demo):
        add_worker_flags(command)
    elsewhere = commands.add_parser("store-sweeps", help="bring samples to another storage")
    elsewhere.add_argument(
        "url", metavar="URL_OR_HERE", help="like s3://bucket/folder; here for the data home itself"
    )
    elsewhere.set_defaults(run=_store_sweeps)
    convert = add_log_commands(commands)
    add_cluster_commands(commands)
    for command in (take_in, again, look, demo, copy, elsewhere, convert):
        command.add_argument(
            "--home",
            metavar="DIR",
            help="the data home (else WEAR_ATLAS_HOME, else .wear_atlas/own)",
        )
    return parser


def _ingest(chosen: argparse.Namespace) -> None:
    home = own_home(chosen.home).prepare()
    report = ingest(home, chosen.paths, **_how(chosen))
    print(report_text(report))
    _print_problems(home)


def _how(chosen: argparse.Namespace) -> dict[str, Any]:
    """How a build of this command is done and told."""
    return {"progress": True, "say": _say, "workers": chosen_workers(chosen)}


def _print_problems(home: Home) -> None:
    """What could not stand in the owner's settings, one a line."""
    for problem in read_settings(home).problems:
        print(problem)


def _rebuild(chosen: argparse.Namespace) -> None:
    if chosen.low_priority and hasattr(os, "nice"):
        os.nice(LOW_PRIORITY)
    home = own_home(chosen.home)
    if home.kind is None:
        raise HomeError(f"{home.root} holds no records yet: hand files in first.")
    if chosen.from_nothing:
        made = rebuild_from_nothing(home, **_how(chosen))
        compared, manifest = _compared(made), made.manifest
    else:
        compared, manifest = "", rebuild(home, **_how(chosen))
    _print_problems(home)
    print(f"Published version {manifest.version}.{compared}")


def _compared(made: MadeAnew) -> str:
    if made.before is None:
        return " There were no records of the same files and program to compare it with."
    if made.different:
        raise HomeError(
            f"Published version {made.manifest.version}. Compared with version {made.before}, "
            f"other rows were found in: {', '.join(made.different)}."
        )
    return f" Its {made.tables} tables of records hold the same rows as version {made.before}."


def _check(chosen: argparse.Namespace) -> None:
    home = own_home(chosen.home)
    if home.kind is None:
        raise HomeError(f"{home.root} holds no records yet: there is nothing to check.")
    work = LongWork(say=_say, bars=True)
    found = check_home(home, work=work)
    print("\n".join(str(finding) for finding in found) or "All is well.")
    if chosen.repair and any(finding.is_wrong for finding in found):
        chosen.cancelled = _CANCELLED
        rebuild(home, progress=True, say=_say)
        found = check_home(home, work=work)
        print("\n".join(str(finding) for finding in found) or "All is well now.")
    wrong = [finding for finding in found if finding.is_wrong]
    if wrong:
        kept = sum(finding.needs_copy for finding in wrong)
        raise HomeError(
            f"{len(wrong):,} found wrong; {kept:,} need a copy you kept, the next build mends "
            f"{len(wrong) - kept:,}."
        )


def _demo(chosen: argparse.Namespace) -> None:
    home = Home(Path(chosen.home).expanduser().resolve()) if chosen.home else None
    manifest = ensure_demo(home, **_how(chosen))
    print(f"The demo is ready in {manifest.path.parent.parent}.")


def _backup(chosen: argparse.Namespace) -> None:
    work = LongWork(say=_say, bars=True)
    made = back_up(own_home(chosen.home), chosen.target, work=work)
    for warning in made.warnings:
        print(warning)
    print(
        f"{made.backup.path}: {len(made.backup.hashes):,} files, {made.backup.size / 1e6:,.1f} MB, "
        f"up to hand-in {made.backup.last_hand_in:,}; read back and found whole."
    )


def _restore(chosen: argparse.Namespace) -> None:
    done = restore(
        chosen.backup, Path(chosen.home), build=not chosen.no_build, progress=True, say=_say
    )
    print(f"Restored to {done.home.root}. Compared:")
    print("\n".join(f"- {what}" for what in done.compared))
    if done.manifest is None:
        print("The records are built at the next start, or by `python3 -m pipeline rebuild`.")
    if done.different:
        raise HomeError("Found different:\n" + "\n".join(f"- {what}" for what in done.different))
    print("No difference was found.")


def _store_sweeps(chosen: argparse.Namespace) -> None:
    home = own_home(chosen.home)
    if home.kind is None:
        raise HomeError(f"{home.root} holds no records yet: hand files in first.")
    url = "" if chosen.url == "here" else chosen.url
    count = store_sweeps(home, url, work=LongWork(say=_say, bars=True))
    where = f"at {url}" if url else "in the data home"
    print(f"Samples are stored {where}: {count:,} files moved.")


def report_text(report: IngestReport) -> str:
    """What a hand-in came to, as the terminal shows it."""
    lines = [_table_text(report.tables)] if len(report.tables) else []
    for name, reason in report.files.itertuples(index=False):
        lines.append(f"{name}: set aside whole: {reason}")
    lines += report.notices
    if report.settled:
        lines.append(
            f"{report.settled:,} of the rows set aside are settled by a later row already."
        )
    if report.set_aside_count:
        lines.append(
            f"Still set aside, and why: {report.set_aside}. The rows, to correct and hand in "
            f"again: {report.set_aside.parent / 'to_correct'}."
        )
    if report.came_in:
        lines.append(f"{report.came_in:,} rows that had waited have come in.")
    lines.append(f"Published version {report.manifest.version}, as of {report.manifest.as_of}.")
    return "\n".join(lines)


def _table_text(tables: pd.DataFrame) -> str:
    shown = tables.rename(columns=_HEADS)
    return shown.to_string(
        index=False, formatters={head: "{:,}".format for head in shown.columns if head != "table"}
    )


def _say(text: str) -> None:
    print(text + " ...", flush=True)
