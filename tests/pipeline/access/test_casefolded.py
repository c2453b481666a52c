"""Text is told apart by the statements' folding just as by Python's, over all of Unicode."""

from __future__ import annotations

import sys

import pytest

from pipeline.access.casefolded import fold_parameters, odd_letters
from pipeline.statements import connect

# as in access/sql/worklist_found.sql
_FOLDED = """
select lower(list_reduce(
    list_distinct(regexp_extract_all(text, $odd_letter)),
    lambda said, letter: replace(said, letter, map($odd_letters, $odd_folded)[letter]),
    text
)) from (select unnest($texts::varchar[]) as text)
"""


def _lower(texts: list[str]) -> list[str]:
    found = connect().execute("select lower(unnest($texts::varchar[]))", {"texts": texts})
    return [text for (text,) in found.fetchall()]


@pytest.fixture(scope="module")
def lowered() -> dict[str, str]:
    """Every letter of Unicode as DuckDB lowers it."""
    return dict(
        connect()
        .execute(
            "select chr(n::integer), lower(chr(n::integer)) from range(1, $beyond) as of(n) "
            "where n not between 55296 and 57343",
            {"beyond": sys.maxunicode + 1},
        )
        .fetchall()
    )


def _folded(texts: list[str]) -> list[str]:
    found = connect().execute(_FOLDED, fold_parameters() | {"texts": texts})
    return [text for (text,) in found.fetchall()]


def test_every_letter_folds_to_what_the_words_searched_for_fold_to(lowered):
    odd = list(odd_letters())
    folded = lowered | dict(zip(odd, _folded(odd), strict=True))
    changed = [letter for letter in lowered if letter.casefold() != letter]
    wanted = lowered | dict(
        zip(changed, _lower([letter.casefold() for letter in changed]), strict=True)
    )
    assert len(lowered) > 1_100_000
    assert [letter for letter in lowered if folded[letter] != wanted[letter]] == []


def test_letters_that_fold_apart_stay_apart(lowered):
    folded = {letter.casefold() for letter in lowered}
    of_one = {lowered[text] for text in folded if len(text) == 1}
    of_more = _lower([text for text in folded if len(text) > 1])
    assert len(of_one | set(of_more)) == len(folded)


@pytest.mark.parametrize("text", ["STRAßE", "ΟΔΟΣ", "ﬁlter µ", "İstanbul", "\u017ftraße ﬀ"])
def test_a_text_of_odd_letters_folds_as_a_whole(text):
    assert _folded([text]) == _lower([text.casefold()])
