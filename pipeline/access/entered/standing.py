"""Rows of the contract as they stand, what was typed since the last build included.

A later row replaces the earlier one whole: whoever changes one cell on screen begins from the row
as it stands, so that no other cell is lost.
"""

from __future__ import annotations

import duckdb

from pipeline.access.entered.pending import pending_rows
from pipeline.access.reading import reading
from pipeline.access.scope.allowed import view
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.statements import run


@view
def standing_rows(
    home: Home, asker: Asker, table: str, keys: list[str]
) -> dict[str, dict[str, str]]:
    """Contract rows by key, each cell as text; a key that is not there is left out.

    Parameters
    ----------
    home : Home
        Where from.
    asker : Asker
        Who asks.
    table : str
        Contract table of rows.
    keys : list of str
        Keys; the parts of a longer key are joined by ``/``.

    Raises
    ------
    NotThereError
        Nothing is published in this home.
    """
    with reading(home, asker) as (_, connection):
        return standing_in(connection, home, asker, table, keys)


def standing_in(
    connection: duckdb.DuckDBPyConnection, home: Home, asker: Asker, table: str, keys: list[str]
) -> dict[str, dict[str, str]]:
    """As :func:`standing_rows`, from a warehouse that is open already."""
    parameters = {"table_name": table, "keys": keys}
    found = dict(run(connection, "access/sql/standing_rows", parameters).fetchall())
    waiting = pending_rows(home, asker, table)[table]
    return found | {key: waiting[key] for key in keys if key in waiting}
