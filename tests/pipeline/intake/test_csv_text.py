import csv
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake import csv_text as module
from pipeline.intake.csv_text import (
    BrokenFileError,
    line_of,
    read_header,
    record_count,
    record_starts,
)


def _write(tmp_path, text: bytes):
    path = tmp_path / "x.csv"
    path.write_bytes(text)
    return path


def test_header_takes_semicolons_and_a_byte_order_mark(tmp_path):
    header = read_header(_write(tmp_path, b"\xef\xbb\xbfunit_id;read_on\nB1;x\n"))
    assert header.names == ["unit_id", "read_on"]
    assert header.delimiter == ";"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "zero bytes"),
        ("a,b\n".encode("utf-16"), "UTF-16"),
        (b"a\x00b,c\n", "not text"),
        (b"a,\xff\n", "not UTF-8"),
        (b"a,b,a\n", "names a twice"),
    ],
)
def test_header_says_what_is_wrong(tmp_path, text, said):
    with pytest.raises(BrokenFileError, match=said):
        read_header(_write(tmp_path, text))


def test_records_skip_empty_lines_and_keep_line_breaks_in_quotes(tmp_path):
    path = _write(tmp_path, b'a,b\n1,"x\ny"\n\n2,z\r\n\r\n3,w')
    assert line_of(path, record_starts(path)).tolist() == [2, 5, 7]


@given(
    st.lists(
        st.tuples(st.text('ab\n",;', max_size=6), st.sampled_from(["", "q"])),
        min_size=1,
        max_size=20,
    )
)
def test_records_start_where_the_standard_reader_says(tmp_path_factory, rows):
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(["a", "b"])
    starts = []
    for row in rows:
        starts.append(buffer.getvalue().count("\n") + 1)
        writer.writerow(row)
    path = _write(tmp_path_factory.mktemp("csv"), buffer.getvalue().encode())
    np.testing.assert_array_equal(line_of(path, record_starts(path)), starts)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b'a,"b\nc",d\n', "quotes in the header row"),
        (b"a," * 600_000 + b"\n", "longer than 1,000,000 bytes"),
        (b"x" * 200_000 + b"\n", "cannot be read"),
    ],
)
def test_a_header_that_cannot_be_told_is_refused(tmp_path, text, said):
    with pytest.raises(BrokenFileError, match=said):
        read_header(_write(tmp_path, text))


@given(st.text(alphabet='a,"\r\n', min_size=1, max_size=60), st.integers(1, 9))
def test_records_are_counted_a_stretch_at_a_time_as_they_are_found_at_once(
    tmp_path_factory, text, stretch
):
    path = _write(tmp_path_factory.mktemp("counted"), text.encode())
    usual, module._STRETCH_BYTES = module._STRETCH_BYTES, stretch
    try:
        assert record_count(path) == len(record_starts(path))
    finally:
        module._STRETCH_BYTES = usual
