import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.contract import BECAUSE
from pipeline.intake.harmless import as_it_was, harmless
from tests.pipeline.intake.test_read_rows import _read

STARTS = "='\t\r\n+-@ \ufeff＝－a1."  # noqa: RUF001 - what a spreadsheet takes too


@given(st.text(STARTS, max_size=8) | st.text(max_size=20))
def test_what_was_made_harmless_comes_back_as_it_was(text):
    assert as_it_was(harmless(text)) == text


@given(st.text(STARTS, max_size=6))
def test_nothing_harmless_begins_as_a_formula(text):
    shown = harmless(text)
    try:
        float(shown)
    except ValueError:
        assert not shown.lstrip(" \t\r\n\ufeff").startswith(tuple("=+-@＝－"))  # noqa: RUF001


@pytest.mark.parametrize("number", ["-5", "+5", "-.5", "-1.5e-3", "12", "0"])
def test_numbers_stay_numbers(number):
    assert harmless(number) == number


def test_an_identifier_that_begins_with_a_dash_is_the_same_one_again(tmp_path):
    text = f"unit_id,shop_id,model_code,{BECAUSE}\n'-B1,s1,m,x\n'-B2,s1,x\n"
    rows, _ = _read(tmp_path, "units.csv", text)
    assert [row[1] for row in rows] == ["-B1", "-B2"]


@pytest.mark.parametrize("note", ["=1+1", "-2+3", "'=x", "''-1", "@SUM(A1)", "-5", "'plain"])
def test_what_we_hand_back_is_read_as_it_was_handed_in(tmp_path, note):
    text = f'shop_id,name,{BECAUSE}\ns1,"{harmless(note)}",x\n'
    rows, _ = _read(tmp_path, "shops.csv", text)
    assert rows[0][2]["name"] == note


def test_only_files_of_ours_lose_their_marks(tmp_path):
    text = "shop_id,name\ns1,'=x\n"
    rows, _ = _read(tmp_path, "shops.csv", text)
    assert rows[0][2]["name"] == "'=x"
