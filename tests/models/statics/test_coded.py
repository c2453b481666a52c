import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.frames import Column, FrameError, FrameSchema
from models.statics.coded import (
    Coded,
    category,
    category_of,
    check_coded,
    coded_column,
    coded_values,
    said_once,
    same_text,
)
from models.statics.wording import shown, shown_alike

WORDS = FrameSchema(
    "words",
    "one word",
    (
        Column("word", "text", "what"),
        Column("n", "number", "n"),
        Column("note", "text", "", "", True),
    ),
)
_UNITS = ["V", "ohm", "%", ""]
_VALUES = st.one_of(
    st.floats(),
    st.integers(-60_000, 60_000).map(lambda tenths: tenths / 10_000),
    st.integers(-2_000, 2_000).map(lambda halves: halves / 2),
    st.integers(-2_000, 2_000).map(lambda parts: parts / 20),
)


def words(*texts, notes=None):
    notes = notes or [None] * len(texts)
    return pd.DataFrame(
        {
            "word": pd.Categorical(pd.Series(texts, dtype="str")),
            "n": np.arange(len(texts), dtype=float),
            "note": pd.Categorical(pd.Series(notes, dtype="str")),
        }
    )


@given(values=st.lists(_VALUES, min_size=1, max_size=20), unit=st.sampled_from(_UNITS))
def test_values_told_together_are_shown_as_each_alone(values, unit):
    values = np.array(values, dtype=float)
    told = coded_values(values, unit)
    assert [told.said[n] for n in told.numbers] == [shown(value, unit) for value in values]


def test_values_that_are_shown_alike_are_worded_once():
    near = 0.5 + np.arange(-40, 40) / 100_000
    assert len(set(shown_alike(near, "V"))) == 1
    assert coded_values(near, "V").said == ["0.500 V"]


def test_a_minus_before_nothing_is_shown_wherever_it_stands():
    values = np.array([0.0, -0.0, -0.0001, 0.0])
    told = coded_values(values, "V")
    assert [told.said[n] for n in told.numbers] == ["0.000 V", "-0.000 V", "-0.000 V", "0.000 V"]


def test_rows_alike_are_worded_once_and_each_gets_its_own():
    asked = []

    def word(a, b):
        asked.append((a, b))
        return f"{a}/{b}"

    said = said_once([np.array([0, 3, 0, 3]), np.array([7, 0, 7, 1])], word)
    assert [said.said[n] for n in said.numbers] == ["0/7", "3/0", "0/7", "3/1"]
    assert len(asked) == 3


def test_parts_become_one_column_with_each_text_once_and_blanks_kept():
    parts = [same_text("a", 2), Coded(np.array([1, 0]), ["b", None]), same_text("a", 1)]
    column = category(parts)
    assert column.tolist() == ["a", "a", np.nan, "b", "a"]
    assert list(column.categories) == ["a", "b"]
    assert category(parts, np.array([3, 0])).tolist() == ["b", "a"]


def test_a_column_keeps_its_blanks():
    texts = pd.Series(["x", None, "y", "x"], dtype="str")
    told = coded_column(texts)
    assert [told.said[n] for n in told.numbers] == ["x", None, "y", "x"]
    assert category_of(texts, np.array([3, 1])).tolist() == ["x", np.nan]


def test_questions_stand_with_the_bench_tests_they_name():
    rows = same_text("", 3).with_questions(
        np.array([2, 5, 9]), {5: "why?", 7: "not here", 2: "so?"}
    )
    assert [rows.said[n] for n in rows.numbers] == ["so?", "why?", ""]


def test_texts_stay_categories_through_the_check():
    checked = check_coded(WORDS, words("a", "b")[["note", "n", "word"]])
    assert checked.columns.tolist() == ["word", "n", "note"]
    assert isinstance(checked["word"].dtype, pd.CategoricalDtype)
    pd.testing.assert_frame_equal(WORDS.check(checked), WORDS.check(words("a", "b")))


@pytest.mark.parametrize(
    ("frame", "words_said"),
    [
        (words("a", None), "words.word: blank at row 1"),
        (words("a").drop(columns="word"), "no column word"),
        (words("a").drop(columns="n"), "no column n"),
        (words("a").assign(word="a"), "texts as categories are expected"),
        (words("a").assign(n=np.nan), "words.n: blank at row 0"),
    ],
)
def test_what_does_not_fit_the_schema_is_named(frame, words_said):
    with pytest.raises(FrameError, match=words_said):
        check_coded(WORDS, frame)
