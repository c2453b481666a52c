import itertools

import pytest

from models.statics.codes import (
    MEANINGS,
    code_sentence,
    meaning,
    parse_codes,
    unplugging_explains,
)


def test_all_generic_codes_of_the_throttle_position_circuits_are_known():
    listed = {f"P0{circuit}2{last}" for circuit, last in itertools.product("12", "01234")}
    assert set(MEANINGS) == listed | {"P2135"}


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("P0120", "A: circuit malfunction"),
        ("P0121", "A: circuit range/performance"),
        ("P0122", "A: circuit low input"),
        ("P0123", "A: circuit high input"),
        ("P0124", "A: circuit intermittent"),
        ("P0222", "B: circuit low input"),
        ("P2135", "A/B: voltage correlation"),
        ("P0300", "not one of the throttle position codes known here"),
        ("P012O", "not written as a fault code"),
    ],
)
def test_meanings(code, words):
    """Generic titles of SAE J2012, from memory of the standard."""
    assert meaning(code).endswith(words)


def test_codes_are_split_capitals_each_once():
    assert parse_codes(" p0122 P0123,P0122;p2135 ") == ["P0122", "P0123", "P2135"]
    assert parse_codes(None) == parse_codes("") == parse_codes(float("nan")) == []


@pytest.mark.parametrize(
    ("code", "unplugged", "answer"),
    [
        ("P0122", "yes", "explained"),
        ("P0122", "no", "not_explained"),
        ("P0122", None, "cannot_tell"),
        ("P0121", "yes", "not_explained"),
        ("P0121", None, "not_explained"),
        ("P0124", "yes", "cannot_tell"),
        ("P2135", "yes", "cannot_tell"),
        ("P2135", "no", "not_explained"),
        ("P0122-11", "yes", "explained"),
        ("P0300", "yes", "unknown_code"),
        ("nonsense", "yes", "unknown_code"),
    ],
)
def test_what_unplugging_explains(code, unplugged, answer):
    assert unplugging_explains(code, unplugged) == answer


def test_an_explained_code_means_nothing_until_it_comes_back():
    assert "means nothing until it is cleared and comes back" in code_sentence("P0120", "yes")


def test_a_miswritten_code_is_asked_about():
    assert code_sentence("P012O", "no").endswith("?")
