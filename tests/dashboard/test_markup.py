from html.parser import HTMLParser

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import markup


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.text, self.links = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name == "href"]

    def handle_data(self, data):
        self.text.append(data)


def read(html: str) -> _Tags:
    parser = _Tags()
    parser.feed(html)
    parser.close()
    return parser


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"])))
def test_whatever_a_record_holds_comes_out_as_text(text):
    seen = read(markup.table(pd.DataFrame({"a": [text]}), {"A": "a"}, "caption"))
    assert set(seen.tags) == {"div", "table", "caption", "thead", "tbody", "tr", "th", "td", "span"}
    assert text in "".join(seen.text)


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"])))
def test_an_identifier_in_a_link_stays_within_its_address(text):
    seen = read(markup.to_bike(text, text))
    assert seen.tags == ["a"]
    assert seen.links[0].startswith("bike?unit=")
    assert not set(seen.links[0][len("bike?unit=") :]) & set("&\"'<>#? ")


def test_a_blank_cell_is_empty():
    rows = pd.DataFrame({"a": [None], "b": [float("nan")], "c": [pd.NaT]})
    assert "".join(read(markup.table(rows, {n: n for n in rows}, "")).text) == "abc"


def test_a_table_names_its_columns_on_every_cell_for_narrow_screens():
    html = markup.table(pd.DataFrame({"a": [1]}), {"Odometer": "a"}, "caption")
    assert 'data-name="Odometer"' in html
    assert 'scope="col"' in html


def test_a_link_keeps_every_value_of_a_filter():
    assert 'href="./?shop=A&amp;shop=B"' in markup.link("Worklist", "./", shop=["A", "B"])


@pytest.mark.parametrize("mark", ["\u202e", "\u2066", "\u200f", "\x07", "\x1b"])
def test_marks_that_make_a_text_look_like_another_are_spelled_out(mark):
    shown = markup.esc(f"x{mark}y")
    assert mark not in shown
    assert shown == f"x[U+{ord(mark):04X}]y"


def test_letters_written_from_the_right_and_line_breaks_stay():
    assert markup.esc("\u05d0\u05d1\n\u0627") == "\u05d0\u05d1\n\u0627"
