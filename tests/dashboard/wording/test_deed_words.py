import pandas as pd

from dashboard.wording.deed_words import about_words, deed_words, who_words

ROW = {"deed": "handed_in", "hand_in": 7, "version": pd.NA, "who": "ana", "role": "technician"}


def test_what_was_done_names_the_hand_in_or_version():
    assert deed_words(ROW) == "Handed in: hand-in 7"
    assert deed_words(ROW | {"deed": "advised", "version": 12}) == "Advised anew: version 12"
    assert deed_words(ROW | {"deed": "backed_up"}) == "Backed up"
    assert deed_words(ROW | {"deed": "of a later day"}) == "of a later day"


def test_who_is_said_or_not_known():
    assert who_words(ROW) == "ana (technician)"
    assert who_words(ROW | {"who": "the builder", "role": None}) == "the builder"
    assert who_words(ROW | {"who": None, "role": None}) == "not known"


def test_answers_go_by_their_names_on_the_pages():
    row = ROW | {"deed": "answered", "said": "accept 2, overrule 1"}
    assert about_words(row) == "Accepted: 2, Overruled: 1"
    assert (
        about_words(ROW | {"said": "odometer 2, stock 1"})
        == "Odometer readings: 2, Stock counts: 1"
    )
    assert about_words(ROW | {"said": "a, b 1.csv"}) == "a, b 1.csv"
    assert about_words(ROW | {"said": None}) == ""
