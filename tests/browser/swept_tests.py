"""Tests of a home that a walk can count on."""

from __future__ import annotations

from pipeline.home import Home
from pipeline.statements import connect
from pipeline.warehouse.publish import newest

_WITH_DROPOUTS = """
    select session_id, dropout_count
    from marts.tests as tests
    where conclusion = 'dropouts_seen' and sweep_channel = 'volt' and dropout_count >= 2
        and exists (
            from marts.tests as earlier
            where earlier.sensor_id = tests.sensor_id and earlier.sweep_channel = 'volt'
                and earlier.conclusion is not null and earlier.tested_at < tests.tested_at
        )
    order by tested_at desc, session_id
    limit 1
"""


def with_dropouts(home: Home) -> tuple[str, int]:
    """The last test with drop-outs that has an earlier one to lay over it, and how many it has."""
    found = newest(home)
    assert found is not None
    connection = connect(found.path, read_only=True)
    try:
        row = connection.execute(_WITH_DROPOUTS).fetchone()
    finally:
        connection.close()
    assert row is not None, "the demo holds no such test"
    return row[0], row[1]
