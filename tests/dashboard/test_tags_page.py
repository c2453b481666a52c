"""The page of tags and the sheet to print."""

from __future__ import annotations

import pandas as pd

from dashboard.prints.tags import tag_sheet
from pipeline.access.tags_view import TAG_BIKES
from tests.dashboard.page_app import page_at, words_of

BIKES = pd.DataFrame(
    [("U<1>", "Night & day", "alder", "s1", None), ("U2", "U2", "birch", "s1", "f1")],
    columns=TAG_BIKES.names,
)


def test_without_an_address_it_says_that_a_tag_holds_the_bare_number(own_shop):
    words = words_of(page_at("tags"))
    assert "bare number" in words
    assert "4 tags to print" in words
    assert words.count('alt="QR code: ') == 4
    assert 'alt="QR code: B1"' in words


def test_with_an_address_the_code_opens_the_bench(own_shop):
    own_shop.settings.write_text('[shown]\nbase_address = "http://192.168.1.20:8650"\n')
    words = words_of(page_at("tags", unit="B2"))
    assert "1 tag to print" in words
    assert 'alt="QR code: http://192.168.1.20:8650/bench?unit=B2"' in words


def test_the_tags_of_one_fleet(own_shop):
    app = page_at("tags")
    app.selectbox(key="tags_fleet").set_value("f1")
    app.run()
    assert "2 tags to print" in words_of(app)


def test_the_sheet_needs_nothing_else_and_takes_names_as_text():
    page = tag_sheet(TAG_BIKES.check(BIKES), "")
    assert page.count("data:image/svg+xml") == 2
    assert "<strong>Night &amp; day</strong>" in page
    assert "http" not in page.replace("http://www.w3.org", "").replace("http%3A", "")
    assert "U<1>" not in page
