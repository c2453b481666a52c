"""Files as nobody should hand them in: made at random from a seed, good ones among them.

A file begins as a table of the contract whose cells are good or odd by lot, is written as CSV,
Parquet or a workbook, and is then damaged by lot. Where nothing was damaged the number of its
records is known beforehand and stands with it.
"""

from __future__ import annotations

import csv
import io
import random
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from xml.sax.saxutils import escape

import pyarrow as pa
from pyarrow import parquet

from pipeline.intake.contract import TABLES, Field, Table

ODD = (
    "", " ", "0", "-0", "-1", "1e12", "1e308", "1e999", "-inf", "inf", "Infinity", "nan", "NaN",
    "1_000", "1,5", "0x10", "१२", "9" * 400, "0." + "0" * 400 + "1", "1e-400", "+", ".", "1.", ".5",
    "1900-01-01", "2200-01-01", "2026-02-30", "0000-00-00", "9999-12-31", "10000-01-01",
    "2026-03-14T25:00:00Z", "2026-03-14T09:30:00+99:99", "2026-03-14T09:30:00", "2026-03-14 00:00:00+00",
    "1582-10-10T00:00:00Z", "2016-12-31T23:59:60Z", "-2026-01-01", "=1+1", "+cmd|' /C calc'!A0",
    "@SUM(A1)", "\t=1", "-2+3", "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "&amp;",
    "A\u202eB", "\u200fB1", "B\u0000", "B\u0007", "\ufeffB1", "e\u0301", "\U0001f3cd", "\ud7ff\ue000",
    "../../etc/passwd", "C:\\con", "'; drop table raw; --", "${x}", "{{7*7}}", "%s%n", "$latest_day",
    "x" * 64, "x" * 65, "x" * 5000, "null", "None", "true", "yes", "YES", "P0122 P0123", "p0122",
    "two\nlines", 'quo"ted', '"', "a;b", "a,b", "\r", "a\rb", "\u2028", "\u0085", "\x1c",
)  # fmt: skip


@dataclass(frozen=True)
class MadeFile:
    """A file's name and bytes; ``records`` where their number is known, else None."""

    name: str
    content: bytes
    records: int | None
    is_damaged: bool


def good_cell(lot: random.Random, field: Field) -> str:
    """A value that the contract takes."""
    if field.kind == "id":
        return f"{field.name[:1].upper()}{lot.randrange(20)}"
    if field.kind == "word":
        return lot.choice(field.words)
    if field.kind == "whole":
        return str(lot.randint(int(field.low or 0), int(field.high or 100)))
    if field.kind == "number":
        low, high = (0.0, 100.0) if field.low is None else (field.low, field.high or 0)
        return f"{lot.uniform(low, high):.6g}" if high <= 120 else str(int(lot.uniform(low, high)))
    day = date(2026, 5, 31) - timedelta(days=lot.randrange(9000))
    if field.kind == "date":
        return day.isoformat()
    if field.kind == "moment":
        return (
            f"{day.isoformat()}T{lot.randrange(24):02d}:30:00{lot.choice(('Z', '+01:00', '-0530'))}"
        )
    return "P0122" if field.kind == "codes" else lot.choice(("a note", "Weir Lane", "ü", "x y"))


def cell(lot: random.Random, field: Field, oddness: float) -> str:
    """A good value, or by lot an odd one."""
    return lot.choice(ODD) if lot.random() < oddness else good_cell(lot, field)


def columns_of(lot: random.Random, table: Table) -> list[str]:
    """Columns in any order, by lot some missing and some unknown."""
    names = [name for name in table.names if lot.random() > 0.03]
    names += [f"extra {n}" for n in range(lot.choice((0, 0, 0, 1, 15)))]
    lot.shuffle(names)
    return names or [table.names[0]]


def rows_of(lot: random.Random, table: Table, names: list[str]) -> list[list[str]]:
    """Rows of text under the columns."""
    fields = {field.name: field for field in table.fields}
    plain = Field("note", "text")
    oddness = lot.choice((0.0, 0.0, 0.02, 0.2, 0.9))
    many = lot.choice((0, 1, 3, 12))
    return [[cell(lot, fields.get(n, plain), oddness) for n in names] for _ in range(many)]


def as_csv(lot: random.Random, names: list[str], rows: list[list[str]]) -> bytes:
    """CSV as some program may write it."""
    out = io.StringIO()
    how = {
        "delimiter": lot.choice(",,;"),
        "lineterminator": lot.choice(("\n", "\n", "\r\n")),
        "quoting": lot.choice((csv.QUOTE_MINIMAL, csv.QUOTE_ALL)),
    }
    writer = csv.writer(out, **how)
    writer.writerow(names)
    for row in rows:
        if lot.random() < 0.03:
            out.write(how["lineterminator"])
        writer.writerow(row)
    mark = "\ufeff" if lot.random() < 0.1 else ""
    return (mark + out.getvalue()).encode("utf-8", "surrogatepass")


def as_parquet(lot: random.Random, names: list[str], rows: list[list[str]]) -> bytes:
    """Parquet: text, or by lot other types in some columns."""
    columns = {}
    for place, name in enumerate(dict.fromkeys(names)):
        texts = [row[place] for row in rows]
        columns[name] = pa.array(texts, pa.string()) if lot.random() < 0.8 else _typed(lot, texts)
    out = io.BytesIO()
    parquet.write_table(
        pa.table(columns), out, compression=lot.choice(("none", "snappy", "zstd", "gzip"))
    )
    return out.getvalue()


_START = datetime(2026, 1, 5, 9, 30)
_TYPED: tuple[tuple[Callable[[int], object], pa.DataType], ...] = (
    (lambda n: n, pa.int8()),
    (lambda n: n, pa.uint64()),
    (lambda n: n / 3, pa.float32()),
    (lambda n: float("nan"), pa.float64()),
    (lambda n: float("inf"), pa.float64()),
    (lambda n: Decimal(n) / 4, pa.decimal128(20, 4)),
    (lambda n: Decimal(n) / 4, pa.decimal256(60, 4)),
    (lambda n: _START.date(), pa.date32()),
    (lambda n: _START, pa.timestamp("ns")),
    (lambda n: _START.replace(tzinfo=UTC), pa.timestamp("us", "Europe/Berlin")),
    (lambda n: _START.time(), pa.time64("us")),
    (lambda n: timedelta(seconds=n), pa.duration("s")),
    (lambda n: n % 2 == 0, pa.bool_()),
    (lambda n: b"\xff\x00", pa.binary()),
    (lambda n: [n], pa.list_(pa.int64())),
    (lambda n: {"a": [n]}, pa.struct([("a", pa.list_(pa.int64()))])),
    (lambda n: [("k", n)], pa.map_(pa.string(), pa.int64())),
    (lambda n: None, pa.null()),
)


def _typed(lot: random.Random, texts: list[str]) -> pa.Array:
    if lot.random() < 0.3:
        return pa.array(texts, pa.string()).dictionary_encode()
    value, kind = lot.choice(_TYPED)
    return pa.array([value(n) for n in range(len(texts))], kind)


def as_workbook(names: list[str], rows: list[list[str]], sheet: str) -> bytes:
    """A workbook of one sheet, in the fewest parts that one takes."""
    lines = "".join(
        "<row>" + "".join(f'<c t="inlineStr"><is><t>{_xml(v)}</t></is></c>' for v in row) + "</row>"
        for row in [names, *rows]
    )
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"/>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1" '
        f'Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets><sheet '
        f'name="{_xml(sheet)}" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="r1" Type="{office}/worksheet" Target="worksheets/sheet1.xml"/>'
        "</Relationships>",
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{lines}</sheetData>'
        "</worksheet>",
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
        for name, text in parts.items():
            book.writestr(name, text)
    return out.getvalue()


def _xml(text: str) -> str:
    kept = "".join(c for c in text if c in "\t\n\r" or ord(c) >= 32)
    return escape(kept, {'"': "&quot;"})


def damaged(lot: random.Random, content: bytes) -> bytes:
    """The bytes after one to four mishaps."""
    for _ in range(lot.randint(1, 4)):
        content = lot.choice(_MISHAPS)(lot, content)
    return content


def _at(lot: random.Random, content: bytes) -> int:
    return lot.randrange(len(content) + 1)


def _put_in(what: tuple[bytes, ...]) -> Callable[[random.Random, bytes], bytes]:
    def mishap(lot: random.Random, content: bytes) -> bytes:
        at = _at(lot, content)
        return content[:at] + lot.choice(what) + content[at:]

    return mishap


def _byte_changed(lot: random.Random, content: bytes) -> bytes:
    if not content:
        return content
    at = lot.randrange(len(content))
    return content[:at] + bytes([lot.randrange(256)]) + content[at + 1 :]


def _stretch_gone(lot: random.Random, content: bytes) -> bytes:
    first, last = sorted((_at(lot, content), _at(lot, content)))
    return content[:first] + content[min(last, first + 40) :]


def _stretch_twice(lot: random.Random, content: bytes) -> bytes:
    first, last = sorted((_at(lot, content), _at(lot, content)))
    return content[:last] + content[first:]


_MISHAPS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _byte_changed,
    _stretch_gone,
    _stretch_twice,
    lambda lot, content: content[: _at(lot, content)],
    lambda lot, content: content.replace(b"\n", lot.choice((b"\r\n", b"\r", b"\n\n", b" \n"))),
    _put_in((b'"', b'""', b"\n", b"\r", b",", b";", b"\t", b" ")),
    _put_in((b"\x00", b"\xff", b"\xed\xa0\x80", b"\xef\xbb\xbf", b"\xf4\x90\x80\x80", b"\x1a")),
    _put_in(tuple(odd.encode() for odd in ODD)),
    lambda lot, content: content.decode("utf-8", "replace").encode(
        lot.choice(("utf-16", "utf-8-sig"))
    ),
    lambda lot, content: b"\xef\xbb\xbf" + content,
    lambda lot, content: lot.randbytes(lot.randrange(200)),
)


def made_file(seed: int) -> MadeFile:
    """The file of a seed, always the same."""
    lot = random.Random(seed)  # noqa: S311 - no secret
    table = lot.choice(list(TABLES.values()))
    names = columns_of(lot, table)
    rows = rows_of(lot, table, names)
    kind = lot.choice(("csv",) * 8 + ("parquet",) * 3 + ("xlsx",))
    if kind == "csv":
        content = as_csv(lot, names, rows)
    elif kind == "parquet":
        content = as_parquet(lot, names, rows)
    else:
        content = as_workbook(names, rows, table.name)
    is_damaged = lot.random() < 0.5
    if is_damaged:
        content = damaged(lot, content)
    if lot.random() < 0.02:  # called by another kind's name
        kind, is_damaged = lot.choice(("csv", "parquet", "xlsx", "txt")), True
    return MadeFile(
        f"{table.name}-{seed}.{kind}", content, None if is_damaged else len(rows), is_damaged
    )
