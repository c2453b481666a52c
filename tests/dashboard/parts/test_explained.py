from dashboard.parts.explained import explained_chances
from tests.dashboard.fake_views import HOSTILE, explained


def test_the_shares_are_signed_and_said_to_add_up():
    text = str(explained_chances(explained()))
    assert "+50" in text
    assert "\u22122" in text
    assert "add up to about 51 in 100" in text
    assert "What raises it most: last test failed." in text


def test_what_moves_nothing_is_left_out():
    assert "not repaired before" not in str(explained_chances(explained()))


def test_a_sensor_like_the_middle_one_is_said_to_be():
    middling = explained().assign(change=[0.03, 0.0, 0.0, 0.0])
    assert "Nothing sets it apart" in str(explained_chances(middling))


def test_words_from_the_records_are_never_markup():
    assert "<script>" not in str(explained_chances(explained().assign(words=HOSTILE)))


def test_without_a_chance_there_is_nothing_to_explain():
    assert not str(explained_chances(explained().iloc[:0]))
