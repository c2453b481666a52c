"""Visits given out before, from the newest version or, where that is gone, as they were kept."""

import shutil

from models.check_plan.schemas import CHECK_EVENTS
from pipeline.statements import connect
from pipeline.warehouse.given_out import earlier_events, keep_events
from pipeline.warehouse.publish import newest


def test_earlier_events_are_read_from_the_published_version(stocked_home, home):
    found = earlier_events(stocked_home)
    assert found.columns.tolist() == CHECK_EVENTS.names
    assert len(found) > 0
    assert earlier_events(home).empty
    keep_events(home)


def test_they_last_when_every_version_is_gone(stocked_copy):
    before = earlier_events(stocked_copy)
    shutil.rmtree(stocked_copy.published)
    assert earlier_events(stocked_copy).equals(before)
    (kept,) = stocked_copy.given_out.iterdir()
    kept.write_bytes(b"damaged")
    assert earlier_events(stocked_copy).empty


def test_a_build_killed_before_keeping_them_is_made_up_for(stocked_copy):
    (kept,) = stocked_copy.given_out.iterdir()
    before = kept.read_bytes()
    kept.unlink()
    older = [kept.with_name(name) for name in ("000000.parquet", "0000000.parquet")]
    for path in older:
        path.write_bytes(before)
    keep_events(stocked_copy)
    left = {path.name for path in stocked_copy.given_out.iterdir()}
    assert kept.name in left
    assert len(left) == 2
    assert kept.read_bytes() == before


def test_a_published_version_without_events_counts_as_none(stocked_copy):
    shutil.rmtree(stocked_copy.given_out)
    connection = connect(newest(stocked_copy).path)
    connection.execute("drop table marts.check_events")
    connection.close()
    keep_events(stocked_copy)
    assert earlier_events(stocked_copy).empty
