"""Read one handed-in file of rows: every cell checked, nothing dropped in silence.

The result is two tables kept as Parquet: ``rows`` (one handed-in row, its good cells, whether it
is broken) and ``issues`` (one thing wrong with a cell, a row or the whole file). Sweeps have a
reader of their own, with the same result.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb
import pyarrow as pa
from pyarrow import parquet

from pipeline.intake.contract import BECAUSE, TABLES, Field, Table, table_of
from pipeline.intake.csv_text import BrokenFileError, read_header, refuse_other_content
from pipeline.intake.even_text import EvenText, even_text
from pipeline.intake.harmless import as_it_was
from pipeline.intake.kept_rows import write_rows
from pipeline.intake.receive import HandedFile
from pipeline.intake.rejects import number_lines
from pipeline.intake.seals import digest_of
from pipeline.intake.wide_rows import read_wide
from pipeline.statements import one_row, run

READ_VERSION = "6"
ISSUES_DDL = (
    "create or replace temp table read_issues (line bigint, row_key varchar, column_name varchar,"
    " value varchar, reason varchar, effect varchar, row_count bigint)"
)
#: Of one Parquet file: a few bytes may claim any number.
MOST_ROWS = 200_000_000
_UNKNOWN_NAMED = 10
_NESTED = ("STRUCT", "MAP", "UNION", "[", "BLOB")


@dataclass(frozen=True)
class Source:
    """A file opened for reading: a SQL relation, and what its columns are called."""

    relation: str
    names: list[str]
    is_parquet: bool
    types: dict[str, str]
    delimiter: str = ","
    text: EvenText | None = None


def read_file(connection: duckdb.DuckDBPyConnection, file: HandedFile, folder: Path) -> None:
    """Read a file of rows and keep the result in ``folder``; a broken file is one issue."""
    read_into(connection, file)
    keep(connection, file, folder)


def read_into(connection: duckdb.DuckDBPyConnection, file: HandedFile) -> None:
    """Read a file of rows into the tables ``read_rows`` and ``read_issues``."""
    begin(connection)
    table = table_of(file.name)
    try:
        refuse_troubled(file)
        if table is None:
            raise BrokenFileError(
                "the file's name begins with no table's name; expected one of " + ", ".join(TABLES)
            )
        with TemporaryDirectory(prefix="even-") as folder:
            _read_table(connection, file, table, Path(folder))
    except BrokenFileError as error:
        add_issue(connection, "file", reason=str(error))
    except Exception as error:
        set_aside_whole(connection, error)


def begin(connection: duckdb.DuckDBPyConnection, columns: Iterable[str] = ()) -> None:
    """Make ``read_rows`` and ``read_issues``, empty; of ``columns`` alone cells can be kept."""
    connection.execute(ISSUES_DDL)
    run(connection, "intake/sql/read/no_rows")
    run(connection, "intake/sql/read/columns", {"names": sorted(columns)})
    run(connection, "intake/sql/read/rows_view")


def refuse_troubled(file: HandedFile) -> None:
    """Raise BrokenFileError for a file that could not be received, or is not as it came."""
    if file.trouble:
        raise BrokenFileError(file.trouble)
    if file.sha256 and digest_of(file.path) != file.sha256:
        state = "is no longer as it came" if file.path.exists() else "is gone"
        raise BrokenFileError(
            f"the file kept of it {state}: put handed_in/{file.path.parent.name}/{file.path.name} "
            "back from a copy"
        )


def set_aside_whole(connection: duckdb.DuckDBPyConnection, error: Exception) -> None:
    """List a file that could not be read for a reason nobody foresaw; its rows are not taken."""
    run(connection, "intake/sql/read/no_rows")
    connection.execute("delete from read_issues")
    said = (str(error).splitlines() or [type(error).__name__])[0]  # some errors have no words
    named = re.sub(r"'[^']*handed_in[^']*'", "the file", said)
    add_issue(connection, "file", reason=f"the file is damaged and cannot be read: {named}")


def keep(connection: duckdb.DuckDBPyConnection, file: HandedFile, folder: Path) -> None:
    """Write both results; the rows last, since their presence says that both are whole."""
    issues, rows = (derived_path(folder, file, name) for name in ("issues", "rows"))
    draft = issues.with_suffix(".draft")
    connection.execute(f"copy read_issues to '{_quoted(draft)}' (format parquet)")
    draft.replace(issues)
    draft = rows.with_suffix(".draft")
    write_rows(connection, draft)
    draft.replace(rows)


def derived_path(folder: Path, file: HandedFile, name: str) -> Path:
    """Where the rows or issues of a file are kept; the name changes with the reader's version."""
    return folder / f"{file.stem}.{name}.v{READ_VERSION}.parquet"


def seal_path(folder: Path, file: HandedFile) -> Path:
    """Where it is said what was made of a file, and that it is whole."""
    return folder / f"{file.stem}.v{READ_VERSION}.json"


def add_issue(
    connection: duckdb.DuckDBPyConnection,
    effect: str,
    *,
    reason: str,
    column: str | None = None,
    value: str | None = None,
    row_count: int = 0,
) -> None:
    """List something about the whole file: ``file`` (set aside whole) or ``notice``."""
    connection.execute(
        "insert into read_issues values (1, null, ?, ?, ?, ?, ?)",
        [column, value, reason, effect, row_count],
    )


def open_source(
    connection: duckdb.DuckDBPyConnection,
    path: Path,
    folder: Path,
    columns: Iterable[tuple[str, str]] = (),
) -> Source:
    """Describe a CSV or Parquet file as a SQL relation of text (CSV) or typed (Parquet) columns.

    ``folder`` takes a copy where the text is to be made even first. ``columns`` are pairs of a
    column's name in the file and the name to read it under.
    """
    ours = dict(columns)
    if path.suffix == ".parquet":
        return _open_parquet(connection, path, ours)
    if path.suffix not in (".csv", ".txt"):
        raise BrokenFileError(
            f"the file ends in {path.suffix!r}; expected .csv or .parquet, or a workbook "
            "such as .xlsx (a logger's recording is turned into one by the command convert-log)"
        )
    header = read_header(path)
    names = _told_apart([ours.get(name, name) for name in header.names])
    types = dict.fromkeys(names, "VARCHAR")
    listed = ", ".join(f"'{_quoted(name)}': 'VARCHAR'" for name in types)
    text = even_text(path, folder)
    relation = (
        f"read_csv('{_quoted(text.path)}', header = true, auto_detect = false, "
        f"delim = '{header.delimiter}', quote = '\"', escape = '\"', columns = {{{listed}}}, "
        "store_rejects = true, rejects_limit = 0, parallel = false)"
    )
    return Source(relation, list(types), False, types, header.delimiter, text)


def _told_apart(names: list[str]) -> list[str]:
    """Names that differ by more than capitals, as SQL wants them; ours, in small ones, stay."""
    small = {name for name in names if name == name.lower()}
    found: list[str] = []
    taken = set(small)
    for place, name in enumerate(names, 1):
        if name and (name in small or name.lower() not in taken):
            found.append(name)
            taken.add(name.lower())
        else:
            found.append(f"{name} (column {place})" if name else f"column {place}")
    return found


def _open_parquet(
    connection: duckdb.DuckDBPyConnection, path: Path, ours: Mapping[str, str]
) -> Source:
    _refuse_other_parquet(path)
    relation = f"read_parquet('{_quoted(path)}', file_row_number = true)"
    if ours:
        pairs = ", ".join(f"{_name(theirs)} as {_name(own)}" for theirs, own in ours.items())
        relation = f"(select * rename ({pairs}) from {relation})"  # noqa: S608 - names are quoted
    described = connection.sql(f"from {relation}")
    types = dict(zip(described.columns, map(str, described.types), strict=True))
    types.pop("file_row_number", None)
    return Source(relation, list(types), True, types)


def _refuse_other_parquet(path: Path) -> None:
    """Raise BrokenFileError for what is no Parquet by its content, or claims too many rows."""
    with path.open("rb") as file:
        first = file.read(4)
    if first != b"PAR1":
        refuse_other_content(first, "Parquet")
        raise BrokenFileError("this is no Parquet and cannot be read; expected Parquet")
    try:
        rows = parquet.read_metadata(path).num_rows
    except (pa.ArrowException, OSError) as error:
        said = (str(error).splitlines() or ["no words"])[0]
        raise BrokenFileError(
            f"the file is damaged and cannot be read ({said}); expected whole Parquet"
        ) from error
    if rows > MOST_ROWS:
        raise BrokenFileError(
            f"it holds {rows:,} rows; expected at most {MOST_ROWS:,} in a file: hand it in by parts"
        )


def _name(column: str) -> str:
    """A column's name as SQL takes any."""
    return '"' + column.replace('"', '""') + '"'


def check_columns(connection: duckdb.DuckDBPyConnection, source: Source, table: Table) -> list[str]:
    """List unknown columns; return the required ones that are missing."""
    known = [name for name in source.names if name in table.names]
    if not known:
        raise BrokenFileError(
            f"its first row names no column of {table.name}; expected " + ", ".join(table.names)
        )
    unknown = [name for name in source.names if name not in (*table.names, BECAUSE)]
    for name in unknown[:_UNKNOWN_NAMED]:
        reason = f"{table.name} has no column of this name; left out"
        add_issue(connection, "notice", column=name, reason=reason)
    if len(unknown) > _UNKNOWN_NAMED:
        more = len(unknown) - _UNKNOWN_NAMED
        reason = f"{table.name} has no columns of these names; left out"
        add_issue(connection, "notice", column=f"{more:,} more", reason=reason)
    return [name for name in table.required if name not in source.names]


def _read_table(
    connection: duckdb.DuckDBPyConnection, file: HandedFile, table: Table, folder: Path
) -> None:
    source = open_source(connection, file.path, folder, file.columns)
    missing = check_columns(connection, source, table)
    columns = [name for name in table.names if name in source.names]
    rejected = _load_raw(connection, source, table, columns)
    run(connection, "intake/sql/read/columns", {"names": sorted(columns)})
    latest = (file.handed_in_on + timedelta(days=1)).isoformat()
    if read_wide(connection, table, columns, latest):
        _register_fields(connection, table, source)
        _look_closely(connection, latest, bool(missing))
    _list_missing_columns(connection, missing)
    if rejected:
        run(connection, "intake/sql/read/list_rejects", {"columns": len(source.names)})
        run(connection, "intake/sql/read/keep_rejects")


def _look_closely(connection: duckdb.DuckDBPyConnection, latest: str, missing: bool) -> None:
    """Take the doubtful rows apart, cell by cell, and list what is wrong with each."""
    run(connection, "intake/sql/read/doubtful_rows")
    run(connection, "intake/sql/read/certain_rows")
    run(connection, "intake/sql/read/cells", {"latest_day": latest})
    run(connection, "intake/sql/read/cell_issues")
    run(connection, "intake/sql/read/looked_at_rows", {"missing_column": missing})
    run(connection, "intake/sql/read/list_issues")


def _load_raw(
    connection: duckdb.DuckDBPyConnection, source: Source, table: Table, names: list[str]
) -> int:
    """Load the known columns as text, each row under its line (CSV) or row number (Parquet).

    Returns how many records were rejected.
    """
    connection.execute("drop table if exists reject_errors")
    connection.execute("drop table if exists reject_scans")
    columns = "".join(f', {_as_text(name, source)} as "{name}"' for name in names)
    ordinal = (
        "file_row_number + 1" if source.is_parquet else "row_number() over () + 1"
    )  # its line, if each record is one
    load(
        connection,
        source,
        f"create or replace temp table raw as select ({ordinal})::bigint as line{columns} "  # noqa: S608
        f"from {source.relation}",
    )
    if source.text is None:
        return 0
    if BECAUSE in source.names:  # handed back by us, and harmless in a spreadsheet since
        _take_guards_away(connection, names)
    return number_lines(connection, source.text, table, source.names, source.delimiter)


def _take_guards_away(connection: duckdb.DuckDBPyConnection, names: list[str]) -> None:
    for name in names:
        found = connection.execute(
            f"select distinct \"{name}\" from raw where starts_with(\"{name}\", '''')"  # noqa: S608
        ).fetchall()
        pairs = [(text, as_it_was(text)) for (text,) in found if as_it_was(text) != text]
        if pairs:
            connection.executemany(f'update raw set "{name}" = $2 where "{name}" = $1', pairs)  # noqa: S608


def load(connection: duckdb.DuckDBPyConnection, source: Source, statement: str) -> None:
    """Run a statement that reads a file.

    Raises
    ------
    BrokenFileError
        It is text, and where its records end cannot be told.
    """
    try:
        connection.execute(statement)
    except duckdb.InvalidInputException as error:
        if source.is_parquet:
            raise
        raise BrokenFileError(
            "its records cannot be told apart: quotes are missing or left open; expected quotes in "
            "pairs and a line feed at each line's end"
        ) from error


def _as_text(name: str, source: Source) -> str:
    kind = source.types[name]
    if any(mark in kind for mark in _NESTED):
        raise BrokenFileError(
            f"column {name} holds lists or structures ({kind}); expected plain values"
        )
    if kind in ("DOUBLE", "FLOAT"):  # a blank number is often written as NaN
        return f'if(isnan("{name}"), null, "{name}")::varchar'
    return f'"{name}"::varchar'


def _list_missing_columns(connection: duckdb.DuckDBPyConnection, missing: list[str]) -> None:
    """Name each row that lacks the column; a file without rows is named by itself."""
    (count,) = one_row(connection.execute("select count(*) from read_rows"))
    for name in missing:
        if count:
            run(connection, "intake/sql/read/list_missing", {"column": name})
        else:
            add_issue(connection, "notice", column=name, reason="the column is missing")


def _register_fields(connection: duckdb.DuckDBPyConnection, table: Table, source: Source) -> None:
    fields = table.fields
    declared = pa.table(
        {
            "name": [field.name for field in fields],
            "kind": [field.kind for field in fields],
            "required": [field.required for field in fields],
            "present": [field.name in source.names for field in fields],
            "words": pa.array([list(field.words) for field in fields], pa.list_(pa.string())),
            "low": [float("-inf") if field.low is None else float(field.low) for field in fields],
            "high": [float("inf") if field.high is None else float(field.high) for field in fields],
            "past": [field.past for field in fields],
            "key_position": pa.array(
                [table.key.index(f.name) if f.name in table.key else None for f in fields],
                pa.int32(),
            ),
            "expected": [expected(field) for field in fields],
        }
    )
    connection.register("declared_fields", declared)
    connection.execute("create or replace temp table contract_fields as from declared_fields")
    connection.unregister("declared_fields")


def expected(field: Field) -> str:
    """What a good value of a field looks like, in words."""
    if field.kind == "word":
        return "one of " + ", ".join(field.words)
    if field.kind in ("number", "whole"):
        sort = "a whole number" if field.kind == "whole" else "a number with . for decimals"
        unit = f" {field.unit}" if field.unit else ""
        plain = ".10g" if field.kind == "whole" and (field.high or 0) < 10_000 else ",.10g"
        span = "" if field.low is None else f" from {field.low:{plain}} to {field.high:{plain}}"
        return sort + span + unit
    return {
        "id": "1 to 64 of letters, digits, . _ -",
        "text": "text",
        "date": "a date from 1950 to 2100 like 2026-03-14",
        "moment": "a time with its offset like 2026-03-14T09:30:00+01:00",
        "codes": "SAE J2012 codes with spaces between, like P0122 P0123",
    }[field.kind]


def _quoted(text: Path | str) -> str:
    return str(text).replace("'", "''")
