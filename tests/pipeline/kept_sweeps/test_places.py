"""Names of the files that samples are kept in, as any tool reads them."""

import duckdb
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import dataset, parquet

from pipeline.kept_sweeps.places import part_name

SHOPS = ["s1", "007", "a.b", "..", "Weir Lane / 2", "ü=%41", None]


@pytest.mark.parametrize("shop_id", SHOPS)
def test_shop_and_month_are_read_from_the_name(tmp_path, shop_id):
    name = part_name(shop_id, "2026-05", {"T1": "1"})
    path = tmp_path / name
    assert path.resolve().is_relative_to(tmp_path)
    assert len(path.relative_to(tmp_path).parts) == 3
    path.parent.mkdir(parents=True)
    parquet.write_table(pa.table({"session_id": ["T1"]}), path)
    kinds = pa.schema([("shop_id", pa.string()), ("month", pa.string())])
    by_arrow = dataset.dataset(tmp_path, partitioning=dataset.partitioning(kinds, flavor="hive"))
    assert by_arrow.to_table().select(["shop_id", "month"]).to_pylist() == [
        {"shop_id": shop_id, "month": "2026-05"}
    ]
    by_duckdb = duckdb.execute(
        "select shop_id, month from read_parquet(?, hive_partitioning = true, "
        "hive_types = {'shop_id': varchar, 'month': varchar})",
        [f"{tmp_path}/*/*/*.parquet"],
    )
    assert by_duckdb.fetchall() == [(shop_id, "2026-05")]


SWEEPS = st.dictionaries(st.text(min_size=1, max_size=4), st.text(max_size=4), max_size=4)


@given(SWEEPS, SWEEPS)
def test_files_that_hold_the_same_have_one_name_and_others_another(one, other):
    backwards = dict(reversed(one.items()))
    assert part_name("s1", "2026-05", one) == part_name("s1", "2026-05", backwards)
    same = part_name("s1", "2026-05", one) == part_name("s1", "2026-05", other)
    assert same == (one == other)
    assert part_name("s2", "2026-05", one) != part_name("s1", "2026-05", one)
