import pyarrow as pa
import pytest

from pipeline.intake.kept_rows import maps_of, write_rows
from pipeline.intake.read_rows import begin
from pipeline.statements import connect

SHAPE = [
    ("line", "BIGINT"),
    ("row_key", "VARCHAR"),
    ("row_hash", "VARCHAR"),
    ("cells", "MAP(VARCHAR, VARCHAR)"),
    ("row_count", "BIGINT"),
    ("broken", "BOOLEAN"),
]


def _kept(tmp_path, names: list[str], rows: int):
    connection = connect()
    begin(connection, names)
    connection.execute(
        "insert into listed_rows select n, 'k' || n, md5(n::varchar), "
        "[if((n + place) % 3 = 0, null, 'v' || n || place) for place in range($width)], 1, "
        "n % 5 = 0, false from range($rows) as r(n)",
        {"width": len(names), "rows": rows},
    )
    path = tmp_path / "rows.parquet"
    write_rows(connection, path)
    return connection, path


@pytest.mark.parametrize("rows", [0, 1, 7, 123_000])
def test_what_is_written_is_what_was_read(tmp_path, rows):
    connection, path = _kept(tmp_path, ["c", "a", "b"], rows)
    assert connection.execute(f"describe from '{path}'").fetchall() == [
        (*column, "YES", None, None, None) for column in SHAPE
    ]
    kept, read = (
        connection.execute(f"select * from {name} order by line").fetchall()
        for name in (f"'{path}'", "read_rows")
    )
    assert kept == read
    assert len(kept) == rows


def test_a_blank_cell_is_no_entry(tmp_path):
    connection, path = _kept(tmp_path, ["a", "b", "c"], 4)
    found = connection.execute(f"select cells from '{path}' order by line").fetchall()
    assert [cells for (cells,) in found] == [
        {"b": "v01", "c": "v02"},
        {"a": "v10", "b": "v11"},
        {"a": "v20", "c": "v22"},
        {"b": "v31", "c": "v32"},
    ]


def test_a_row_without_any_good_cell_has_an_empty_map():
    lists = pa.array([[None, None], ["x", None], [None, "y"]], pa.list_(pa.string()))
    assert maps_of(lists, ["a", "b"]).to_pylist() == [[], [("a", "x")], [("b", "y")]]
    assert maps_of(lists.slice(2), ["a", "b"]).to_pylist() == [[("b", "y")]]
    assert maps_of(lists.slice(3), ["a", "b"]).to_pylist() == []
