"""What must be true of every file read, whatever it holds; worked out apart from the reader."""

from __future__ import annotations

import math
import re
from datetime import date, datetime
from pathlib import Path

import duckdb
from pyarrow import parquet

from pipeline.intake.contract import TABLES, Field, Table

EFFECTS = {"row", "cell", "file", "notice"}
_SAYS_WHAT = re.compile("expected|required|missing|lies after|needs its session|holds no number")


def records_in(content: bytes) -> int:
    """Records of a CSV file behind its header, counted byte by byte: empty lines are none.

    A carriage return on its own is something, if nothing good. Where the file ends
    within quotes, those of the last line with an odd number of them are taken for nothing.
    """
    records, inside, empty = 0, False, True
    lines = content.split(b"\n")
    odd = [place for place, line in enumerate(lines) if line.count(b'"') % 2]
    if len(odd) % 2:
        lines[odd[-1]] = lines[odd[-1]].replace(b'"', b"?")
        content = b"\n".join(lines)
    for byte in content.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n"):
        if byte == 0x22:
            inside, empty = not inside, False
        elif byte == 0x0A and not inside:
            records, empty = records + (not empty), True
        else:
            empty = False
    return max(records + (not empty) - 1, 0)


def rows_of_parquet(path: Path) -> int | None:
    """Rows by the other library's reading, None where it cannot be read."""
    try:
        return parquet.read_metadata(path).num_rows
    except Exception:
        return None


def faults_of(connection: duckdb.DuckDBPyConnection, table: Table) -> list[str]:
    """What the tables ``read_rows`` and ``read_issues`` say that cannot be so."""
    rows = connection.execute("select line, cells, row_count, broken from read_rows").fetchall()
    issues = connection.execute(
        "select line, column_name, value, reason, effect from read_issues"
    ).fetchall()
    whole = [issue for issue in issues if issue[4] == "file"]
    found = [f"an issue without words: {issue}" for issue in issues if not _is_told(issue)]
    if whole and (len(whole) > 1 or rows):
        found.append(f"set aside whole, and yet rows: {whole}")
    named = {issue[0] for issue in issues if issue[4] == "row"}
    for line, cells, _, broken in rows:
        if broken != (line in named):
            found.append(f"line {line}: broken is {broken}, yet the issues say otherwise")
        if not broken:
            found += [f"line {line}: {fault}" for fault in _row_faults(table, cells)]
    return found


def _is_told(issue: tuple) -> bool:
    line, column, _, reason, effect = issue
    if not line or line < 1 or not reason or effect not in EFFECTS:
        return False
    if effect == "cell" and not column:
        return False
    return effect in ("file", "notice") or bool(_SAYS_WHAT.search(reason))


def _row_faults(table: Table, cells: dict[str, str]) -> list[str]:
    fields = {field.name: field for field in table.fields}
    found = [
        f"{name} = {value!r}" for name, value in cells.items() if not fits(fields[name], value)
    ]
    if table.bulk:
        return found
    return found + [f"no {name}" for name in table.required if name not in cells]


def fits(field: Field, value: str) -> bool:
    """Whether the contract takes a value, by rules written anew here."""
    if field.kind == "id":
        return re.fullmatch(r"[A-Za-z0-9._\-]{1,64}", value) is not None
    if field.kind == "word":
        return value in field.words
    if field.kind in ("number", "whole"):
        number = float(value)
        low = -math.inf if field.low is None else field.low
        high = math.inf if field.high is None else field.high
        return (
            math.isfinite(number)
            and low <= number <= high
            and (field.kind == "number" or number.is_integer())
        )
    if field.kind == "date":
        return 1950 <= date.fromisoformat(value).year <= 2100
    if field.kind == "moment":
        if re.search(r"[+-](?:[2-9]\d|1[6-9])(?::?\d\d)?$", value[10:]):
            return False  # no place on earth is further than that from UTC
        offset = re.sub(r"([+-]\d\d):?(\d\d)?$", lambda m: f"{m[1]}:{m[2] or '00'}", value)
        return datetime.fromisoformat(offset.replace("Z", "+00:00")).tzinfo is not None
    if field.kind == "codes":
        return all(re.fullmatch(r"[PCBU][0-3][0-9A-F]{3}", code) for code in value.split(" "))
    return value.strip(" ") != ""


def table_named(name: str) -> Table:
    """The table of a made file, by its name."""
    return TABLES[name.rsplit("-", 1)[0]]
