"""Files dropped in: looked through before they are handed in, then handed in."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import streamlit as st

from dashboard import records
from dashboard.forms.entry_troubles import not_saved
from dashboard.markup import bullets, table, tag
from dashboard.parts.column_names_part import ask_for_names
from dashboard.parts.recording_part import ask_for_recordings, marked_among
from dashboard.upload_limits import too_much
from dashboard.wording.hand_in_words import (
    TABLE_NAMES,
    effect_words,
    table_words,
    under_other_names,
    what_comes_in,
    what_it_is,
)
from dashboard.words import counted
from pipeline.home import Home, HomeError
from pipeline.intake.arriving import is_readable_kind
from pipeline.intake.check_files import ISSUES_SHOWN, FileCheck, FilesCheck, check_files
from pipeline.intake.column_names import names_path
from pipeline.intake.loggers.recording import Recording
from pipeline.intake.receive import receive
from pipeline.intake.typed.entries import EntryError
from pipeline.jobs.take_up import take_up

ROUND, HANDED_IN = "hand_in_round", "handed_in"
#: Refused rows that are named; more say nothing new.
_SAID = 20
_TABLES, _RECORDINGS = "hand_in_tables", "hand_in_recordings"
_UPLOAD = (
    "Files, dropped here or chosen: CSV, Excel or another workbook, Parquet, a logger's recording "
    "(CAN log, WAV, MDF 4)"
)
_COLUMNS = {
    "Line": "line",
    "Key": "key",
    "Column": "column",
    "Value": "value",
    "What is wrong": "reason",
    "What comes of it": lambda row: effect_words(row["effect"]),
}


def arriving_part(shown: records.Shown) -> None:
    """Drop files, see what can be read of them, name what is not known, hand them in."""
    number = st.session_state.setdefault(ROUND, 0)
    dropped = st.file_uploader(_UPLOAD, accept_multiple_files=True, key=f"files_{number}")
    if not dropped:
        _forget()
        return
    refused = too_much(dropped)
    if refused:
        not_saved(refused)
        return
    contents = dict(_named_once(dropped))
    tables: dict[str, str] = st.session_state.setdefault(_TABLES, {})
    recordings: dict[str, Recording] = st.session_state.setdefault(_RECORDINGS, {})
    try:
        ids = [file.file_id for file in dropped]
        check = _checked(shown, contents, tables, recordings, ids)
    except HomeError as error:
        not_saved([str(error)])
        return
    asked = {name for name in marked_among(contents) if name not in recordings}
    for file in check.files:
        if file.came_as not in asked:
            _file(file)
    if check.left_out:
        st.html(bullets(check.left_out))
    ask_for_recordings(shown, contents, check, recordings)
    _ask_for_tables(check, tables, asked)
    ask_for_names(shown, check)
    _hand_in(shown, contents, check, tables, recordings)


def _forget() -> None:
    """Nothing said of files outlasts them."""
    st.session_state.pop(_TABLES, None)
    st.session_state.pop(_RECORDINGS, None)


def _named_once(dropped: Sequence) -> Iterator[tuple[str, bytes]]:
    """Each file's bytes by its name; a second of one name gets a number."""
    seen: dict[str, int] = {}
    for file in dropped:
        path = Path(file.name)
        seen[path.name] = seen.get(path.name, 0) + 1
        again = seen[path.name]
        name = path.name if again == 1 else f"{path.stem} ({again}){path.suffix}"
        yield name, file.getvalue()


def _checked(
    shown: records.Shown,
    contents: Mapping[str, bytes],
    tables: Mapping[str, str],
    recordings: Mapping[str, Recording],
    ids: list[str],
) -> FilesCheck:
    """Look through the files, once for the same files, tables, recordings and column names."""
    home = shown.home
    names = names_path(home, shown.asker)
    stamp = names.stat().st_mtime_ns if names.exists() else 0
    said = tuple(sorted((name, repr(of)) for name, of in recordings.items()))
    key = (str(home.root), tuple(ids), tuple(sorted(tables.items())), said, stamp)
    kept = st.session_state.get("hand_in_checked")
    if kept is None or kept[0] != key:
        with st.spinner("Looking through the files …"), _on_disk(contents) as paths:
            found = check_files(
                home, paths, asker=shown.asker, tables=tables, recordings=recordings
            )
            kept = (key, found)
        st.session_state["hand_in_checked"] = kept
    return kept[1]


@contextmanager
def _on_disk(contents: Mapping[str, bytes]) -> Iterator[list[Path]]:
    with tempfile.TemporaryDirectory(prefix="dropped-") as folder:
        paths = [Path(folder) / name for name in contents]
        for path, content in zip(paths, contents.values(), strict=True):
            path.write_bytes(content)
        yield paths


def _file(check: FileCheck) -> None:
    head = tag("p", tag("strong", check.came_as), ": ", what_it_is(check))
    names = under_other_names(check)
    said = tag("p", names) if names else ""
    care = "wa-said" if check.is_readable and not check.broken else "wa-said wa-care"
    st.html(tag("div", head, said, bullets(check.said) if check.said else "", class_=care))
    if check.is_readable and len(check.issues):
        shown = min(check.issue_count, ISSUES_SHOWN)
        caption = f"What is wrong in {check.came_as}"
        if check.issue_count > shown:
            caption += f", the first {shown} of {check.issue_count:,}"
        st.html(table(check.issues.head(shown), _COLUMNS, f"{caption}."))


def _ask_for_tables(check: FilesCheck, tables: dict[str, str], but: set[str]) -> None:
    """Ask what the rows of files and sheets are whose names do not tell it, but of recordings."""
    unknown = [file.came_as for file in check.files if not file.table]
    files = [name for name in unknown if is_readable_kind(name) and name not in but]
    asked = list(dict.fromkeys([*files, *check.unnamed]))
    if not asked:
        return
    with st.form("hand_in_tables_form"):
        chosen = {
            name: st.selectbox(
                f"What are the rows of {name}?",
                ["", *TABLE_NAMES],
                format_func=lambda word: table_words(word) if word else "leave it out",
                key=f"table_of_{name}",
            )
            for name in asked
        }
        if st.form_submit_button("Read them so", key="hand_in_tables_set"):
            tables |= {name: word for name, word in chosen.items() if word}
            st.rerun()


def _hand_in(
    shown: records.Shown,
    contents: Mapping[str, bytes],
    check: FilesCheck,
    tables: Mapping[str, str],
    recordings: Mapping[str, Recording],
) -> None:
    kept = {name: content for name, content in contents.items() if _is_wanted(name, check)}
    if not kept:
        st.html(tag("p", "None of these can be handed in as it is.", role="status"))
        return
    left = [name for name in contents if name not in kept]
    without = f" Left out: {', '.join(left)}." if left else ""
    st.html(tag("p", what_comes_in(check.files), without, role="status"))
    words = f"Hand in {counted(len(kept), 'file')}"
    if not st.button(words, key="hand_in_now", type="primary"):
        return
    try:
        with _on_disk(kept) as paths:
            number = receive(
                shown.home, paths, tables=tables, recordings=recordings, asker=shown.asker
            )
            st.session_state[HANDED_IN] = number
    except EntryError as error:
        not_saved([f"{one.table}, line {one.line}: {one}" for one in error.troubles[:_SAID]])
        return
    except HomeError as error:
        not_saved([str(error)])
        return
    st.session_state[ROUND] += 1
    _forget()
    begin_build(shown.home)
    st.rerun()


def begin_build(home: Home) -> None:
    """Take up what was handed in at once, or once the build at work has ended."""
    if not home.is_being_built:
        take_up(home)


def _is_wanted(name: str, check: FilesCheck) -> bool:
    """Whether a file, or a sheet of it, can be read: the others would only be set aside whole."""
    return any(f.came_as == name or f.came_as.endswith(f" of {name}") for f in check.ready)
