"""Read rows as they lie, every cell beside the others, and tell which need a closer look.

Most rows are good and written as the contract has it. They are taken here in one pass, a column
at a time. A cell is sure if it is blank and may be, or if it certainly stands for one canonical
text, the same that ``cells.sql`` finds; a row with any other cell is left to that statement, which
takes cells apart one by one and knows what to say of each.
"""

from __future__ import annotations

import duckdb

from pipeline.intake.contract import Field, Table
from pipeline.statements import one_row, run

_LAST_DAY = "2100-12-31"
_MARK = chr(31)
_MACROS = (
    "intake/sql/read/sure_id",
    "intake/sql/read/sure_text",
    "intake/sql/read/sure_number",
    "intake/sql/read/sure_whole",
    "intake/sql/read/sure_date",
    "intake/sql/read/sure_moment",
    "intake/sql/read/sure_codes",
)


def read_wide(
    connection: duckdb.DuckDBPyConnection, table: Table, columns: list[str], latest: str
) -> int:
    """Fill ``listed_rows`` from ``raw``; return how many rows are marked as doubtful.

    Parameters
    ----------
    connection : duckdb.DuckDBPyConnection
        Holds ``raw``: each row's line, and its cells as text under ``columns``.
    table : Table
        What the rows are of.
    columns : list of str
        Columns of the table that the file has.
    latest : str
        The last day, in ISO 8601, that may stand where the past is asked for.
    """
    for macro in _MACROS:
        run(connection, macro)
    connection.execute(_statement(table, columns, latest))
    (count,) = one_row(run(connection, "intake/sql/read/doubtful_count"))
    return count


def _statement(table: Table, names: list[str], latest: str) -> str:
    fields = sorted(
        (field for field in table.fields if field.name in names), key=lambda field: field.name
    )
    sure = ", ".join(f"{sure_text(field, latest)} as {_sure(field.name)}" for field in fields)
    split = next((place for place, field in enumerate(fields) if field.required), None)
    doubts = "true" if split is None else " or ".join(map(_doubt, fields))
    row_hash = "''" if split is None else _hash(fields, split)
    texts = ", ".join(_sure(field.name) for field in fields)
    broken = any(name not in names for name in table.required)
    return f"""
        create or replace temp table listed_rows as
        with read as (select *, {sure} from raw)
        select
            line, {_key(table, names)} as row_key, {row_hash} as row_hash,
            [{texts}] as texts, 1::bigint as row_count,
            {broken} as broken, ({doubts}) as doubtful
        from read
    """  # noqa: S608 - names and words of the contract


def sure_text(field: Field, latest: str) -> str:
    """SQL for the canonical text of a field's cell, null where it is blank or not sure."""
    name = f'"{field.name}"'
    if field.kind == "word":
        words = ", ".join(f"'{word}'" for word in field.words)
        return f"if({name} in ({words}), {name}, null)"
    if field.kind in ("number", "whole"):
        low, high = (
            "-inf" if field.low is None else field.low,
            "inf" if field.high is None else field.high,
        )
        return f"sure_{field.kind}({name}, '{low}'::double, '{high}'::double)"
    if field.kind in ("date", "moment"):
        return f"sure_{field.kind}({name}, '{min(latest, _LAST_DAY) if field.past else _LAST_DAY}')"
    return f"sure_{field.kind}({name})"


def _sure(name: str) -> str:
    return f'"sure {name}"'


def _doubt(field: Field) -> str:
    unsure = f"{_sure(field.name)} is null"
    return unsure if field.required else f'({unsure} and "{field.name}" is not null)'


def _key(table: Table, names: list[str]) -> str:
    if any(name not in names for name in table.key):
        return "null::varchar"  # a key with a part missing is no key
    return " || '/' || ".join(map(_sure, table.key))


def _hash(fields: list[Field], split: int) -> str:
    """As in ``looked_at_rows.sql``: of every cell that is filled, under its name.

    ``split`` is the place of a column that is never blank: a mark stands between it and each other
    cell, and none where a cell is blank. Joined so, no text is made twice.
    """
    parts = []
    for place, field in enumerate(fields):
        before = f"{field.name}=" if place <= split else f"{_MARK}{field.name}="
        filled = f"{_sure(field.name)} is not null"
        parts += [f"if({filled}, '{before}', '')", _sure(field.name)]
        parts += [f"if({filled}, '{_MARK}', '')"] if place < split else []
    return f"md5(concat({', '.join(parts)}))"
