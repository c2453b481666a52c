"""A published warehouse as someone sees it who does not see all.

An empty warehouse in memory with the published one attached read-only beside it; under the names
of its tables stand views that hold only what is in scope, so that every statement stays as it is.
Nothing else can be read from the disk through it.
"""

from __future__ import annotations

from pathlib import Path

import duckdb

from pipeline.access.kept_open import bound_memory
from pipeline.access.scope.scope_rules import RULES, view_of
from pipeline.asker import OPERATOR, Asker
from pipeline.home import Home
from pipeline.intake.settings.pooled_settings import PooledSettings
from pipeline.intake.settings.settings_file import read_settings
from pipeline.statements import connect, run, statement

_SCHEMAS = ("intake", "staging", "marts")
_SCOPE = (
    *("spans", "shops", "fleets", "units", "tests", "sensors", "old_sensors", "lives", "repairs"),
    *("shown_pools", "own_rows", "own_aside"),
)


def connect_scoped(home: Home, asker: Asker, path: Path) -> duckdb.DuckDBPyConnection:
    """Open a published warehouse for an asker who does not see all."""
    connection = connect()
    try:
        name = str(path).replace("'", "''")
        connection.execute("set global TimeZone = 'UTC'")
        connection.execute(f"attach '{name}' as whole (read_only)")
        bound_memory(connection, path)
        for schema in ("scope", *_SCHEMAS):
            connection.execute(f"create schema {schema}")
        _find_scope(connection, asker, read_settings(home).pooled)
        _make_views(connection, asker.role)
        _shut(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _find_scope(connection: duckdb.DuckDBPyConnection, asker: Asker, least: PooledSettings) -> None:
    known = {
        "by_fleet": asker.role == OPERATOR,
        "shops": sorted(asker.shops or ()),
        "fleets": sorted(asker.fleets or ()),
        "least_shops": least.pooled_least_shops,
        "least_sensors": least.pooled_least_sensors,
    }
    for name in _SCOPE:
        text = statement(f"access/sql/scope/{name}")
        used = {key: value for key, value in known.items() if f"${key}" in text}
        run(connection, f"access/sql/scope/{name}", used)


def _make_views(connection: duckdb.DuckDBPyConnection, role: str) -> None:
    """First those over the published tables, then those made anew from these."""
    tables = connection.execute(
        "select table_schema || '.' || table_name from information_schema.tables "
        "where table_catalog = 'whole'"
    ).fetchall()
    anew = []
    for (table,) in tables:
        made = RULES[table].anew if table in RULES else ""
        if made:
            anew.append(made)
        else:
            connection.execute(f"create view {table} as {view_of(table, role)}")
    for name in anew:
        text = statement(name).replace("create table ", "create view ", 1)
        connection.execute(text)


def _shut(connection: duckdb.DuckDBPyConnection) -> None:
    """Nothing on the disk can be reached from here on."""
    connection.execute("set enable_external_access = false")
    connection.execute("set lock_configuration = true")
