"""Mixed line ends, lone carriage returns and one open quote cost one record, not the file."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake import even_text as module
from pipeline.intake.csv_text import BrokenFileError
from pipeline.intake.even_text import even_text
from tests.pipeline.intake.test_read_rows import _read

HEADER = b"unit_id,shop_id,model_code\n"


@pytest.mark.parametrize(
    ("text", "broken", "said"),
    [
        (b"B1,s1,m\r\nB2,s1,m\nB3,s1,m\r\n", [], ""),
        (b'B1,s1,"m"\r\nB2,s1,"two\r\nlines"\nB3,s1,m', [], ""),
        (b"B1,s1,m\r\r\nB2,s1,m\nB3,s1,m\n", [2], "carriage return stands alone"),
        (b"B1,s1,m\nB2,s1,a\rb\nB3,s1,m\n", [3], "carriage return stands alone"),
        (b"B1,s1,m\nB2,s1,m\nB3,s1,m\r", [4], "carriage return stands alone"),
        (b'B1,s1,m\nB2,"s1,m\nB3,s1,m\n', [3], "quotes in this line do not pair up"),
        (b'B1,s1,"m\nB2,s1,m\r\nB3,s1,m\n', [2], "quotes in this line do not pair up"),
        (b"B1,s1,m\nB2,s1,\xff\nB3,s1,m\r\n", [3], "not UTF-8"),
        (b'B1,s1,"two\nlines"\nB2,s1,m\nB3,"s1,m', [5], "quotes in this line do not pair up"),
        (b'B1,s1,"two\nlines"\nB2,s1,"a\nb"\n"B3","s1', [6], "quotes in this line do not pair up"),
    ],
)
def test_only_what_cannot_be_read_is_set_aside_under_its_line(tmp_path, text, broken, said):
    rows, issues = _read(tmp_path, "units.csv", HEADER + text)
    assert len(rows) == 3
    assert [row[0] for row in rows if row[3]] == broken
    assert [issue[0] for issue in issues] == broken
    assert all(said in issue[3] for issue in issues)
    assert {row[1] for row in rows} == {"B1", "B2", "B3"}


def test_a_rejected_record_is_listed_as_it_came(tmp_path):
    _, issues = _read(tmp_path, "units.csv", HEADER + b'B1,"s1,m\nB2,s1,m\r\n')
    assert issues[0][2] == 'B1,"s1,m'


def test_an_even_file_is_read_where_it_lies(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b'a,b\r\n1,"x\r\ny"\r\n')
    assert even_text(path, tmp_path).path == path


def test_a_line_without_an_end_is_refused_by_its_number(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "LONGEST_LINE_BYTES", 1000)
    path = tmp_path / "a.csv"
    path.write_bytes(b"a,b\n1,2\n" + b"x" * 1001 + b"\n")
    with pytest.raises(BrokenFileError, match="line 3 is longer"):
        even_text(path, tmp_path)


def test_a_file_of_every_byte_is_no_text(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"a\rb\n" + bytes(range(256)))
    with pytest.raises(BrokenFileError, match="not text"):
        even_text(path, tmp_path)


@given(
    st.lists(st.sampled_from([b"\r", b"\n", b'"', b"ab", b",", b"\r\n"]), max_size=40).map(
        b"".join
    ),
    st.integers(1, 7),
)
def test_the_length_of_a_stretch_changes_nothing(tmp_path_factory, text, stretch):
    folder = tmp_path_factory.mktemp("even")
    path = folder / "a.csv"
    path.write_bytes(text)
    found = []
    for length in (stretch, 1 << 23):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(module, "STRETCH_BYTES", length)
            even = even_text(path, folder)
        found.append(even.path.read_bytes())
    assert found[0] == found[1]
    assert found[0].count(b"\n") == text.count(b"\n")
