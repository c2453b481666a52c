"""The worklist is put together some sensors at a time, and is the same as at once."""

import shutil

import pytest

from pipeline.statements import connect, store_selected
from pipeline.warehouse.lives import MARTS
from pipeline.warehouse.publish import newest

FLOOR = 0.05


@pytest.mark.parametrize("parts", [1, 3])
def test_every_sensor_in_service_has_its_line_once_in_however_many_parts(
    built_demo, tmp_path, parts
):
    copy = shutil.copy(newest(built_demo).path, tmp_path)
    with connect(copy) as connection:
        told = {"floor": FLOOR}
        store_selected(connection, "marts.listed", f"{MARTS}/worklist", told, parts=parts)
        listed, kept = (
            connection.execute(f"select * exclude above_floor from {table} order by sensor_id").df()
            for table in ("marts.listed", "marts.worklist")
        )
        assert len(kept) > 2
        assert listed.equals(kept)
        above = connection.execute("select above_floor, defect_now from marts.listed").fetchall()
        assert all(flag == (chance >= FLOOR) for flag, chance in above if chance is not None)
