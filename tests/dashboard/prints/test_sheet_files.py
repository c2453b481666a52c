"""The sheet as HTML and as PDF: whole, self-contained, whatever stands in a note."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboard.charts.trace import trace_chart
from dashboard.prints.job_sheet import job_sheet
from dashboard.prints.letters import NOT_IN_THESE_LETTERS, in_these_letters
from dashboard.prints.pictures import as_png, as_svg
from dashboard.prints.sheet import Part, Rows, Sheet
from dashboard.prints.sheet_html import as_html
from dashboard.prints.sheet_pdf import as_pdf
from tests.dashboard import fake_views as fakes


def text_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def with_note(note: str):
    view = fakes.session_view()
    view.session["note"] = note
    return job_sheet(view)


def words_only(*points: str) -> Sheet:
    return Sheet("A title", (Part("A heading", points=points),), foot="A foot.")


class Seen(HTMLParser):
    """Elements and whatever an attribute would fetch."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.fetched: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        links = ("src", "href", "xlink:href", "srcset", "data", "poster")
        self.fetched += [value or "" for name, value in attrs if name in links]


def test_the_html_fetches_nothing_runs_nothing_and_shows_both_charts():
    html = as_html(job_sheet(fakes.session_view()))
    seen = Seen(html)
    assert seen.names.count("svg") == 2
    assert "script" not in seen.names
    assert [address for address in seen.fetched if not address.startswith("#")] == []
    assert "@import" not in html
    assert not re.search(r"url\(\s*['\"]?(?!#)", html)


def test_record_text_is_never_markup_in_the_html():
    html = as_html(job_sheet(fakes.session_view("<script>alert(1)</script>")))
    assert "<script>" not in html
    assert "&lt;script&gt;alert(1)" in html


def test_the_html_holds_what_the_sheet_says():
    html = as_html(job_sheet(fakes.session_view()))
    for words in ("Before any work on the bike", "By rule: Drop-outs seen", "Signed", "P0122"):
        assert words in html


def test_the_pdf_holds_what_the_sheet_says_and_its_charts():
    pdf = as_pdf(job_sheet(fakes.session_view()))
    assert pdf.startswith(b"%PDF-")
    text = text_of(pdf)
    for words in ("Before any work on the bike", "By rule: Drop-outs seen", "Signed", "P0122"):
        assert words in text
    assert "Page 1 of " in text
    document = pypdfium2.PdfDocument(pdf)
    kinds = [item.type for page in document for item in page.get_objects()]
    assert kinds.count(pypdfium2.raw.FPDF_PAGEOBJ_IMAGE) == 2
    assert NOT_IN_THESE_LETTERS[:40] not in text


@pytest.mark.parametrize(
    "note",
    ["Grüße, łódź, çà", "Дроссель заедает", "πεταλούδα κολλάει", "שסתום", "Ծանոթ", "≥ 5 Ω ± 2 °"],
)
def test_letters_of_many_scripts_stand_in_the_pdf_as_written(note):
    shown, lacked = in_these_letters(note)
    assert (shown, lacked) == (note, False)
    text = text_of(as_pdf(words_only(note)))
    # letters set from right to left may be read back in either order
    assert all(word in text or word[::-1] in text for word in note.split())


def test_what_the_letters_lack_is_given_by_number_and_said():
    text = text_of(as_pdf(words_only("接触不良, 5 Ω")))
    assert "[U+63A5][U+89E6][U+4E0D][U+826F], 5 Ω" in text
    assert "not in this PDF's letters" in " ".join(text.split())
    assert "接触不良" in as_html(words_only("接触不良"))


def test_a_note_whose_letters_are_written_in_two_ways_is_shown_in_one():
    assert in_these_letters("Gru\u0308\u00dfe\ttab\x00") == ("Gr\u00fc\u00dfe tab ", False)


def test_marks_of_direction_turn_nothing_on_paper():
    note = "A\u202eB \u200f C\u2066D <script>alert(1)</script>"
    shown = "A[U+202E]B [U+200F] C[U+2066]D <script>alert(1)</script>"
    assert in_these_letters(note) == (shown, False)
    assert shown.split()[0] in text_of(as_pdf(words_only(note)))
    assert "\u202e" not in as_html(words_only(note))


@settings(max_examples=15, suppress_health_check=list(HealthCheck))
@given(st.text(max_size=300), st.text(max_size=60))
def test_no_text_breaks_the_pdf(note, cell):
    sheet = Sheet(
        note[:40],
        (
            Part("A heading", lead=note, points=(note, cell), boxed=True, blanks=(cell,)),
            Part(cell, facts=((cell, note),), rows=Rows(("One", "Two"), ((cell, note),))),
        ),
        notices=(note,),
        foot=cell,
    )
    assert len(pypdfium2.PdfDocument(as_pdf(sheet))) >= 1


def test_a_word_wider_than_the_page_is_broken_and_a_long_note_runs_on():
    long = "W" * 3000
    pages = pypdfium2.PdfDocument(as_pdf(with_note(long)))
    counted = sum(page.get_textpage().get_text_range().count("W") for page in pages)
    assert counted >= 3000
    table = Part("H", rows=Rows(("One", "Two"), (("a", "wide " * 900), ("b", "c"))))
    assert "wide" in text_of(as_pdf(Sheet("T", (table,))))
    boxed = Sheet("T", (Part("H", points=("long words " * 900,), boxed=True),))
    assert "long words" in text_of(as_pdf(boxed))


def test_a_sheet_without_a_sweep_prints():
    sheet = job_sheet(fakes.session_without_sweep())
    assert "nothing is known here about drop-outs" in " ".join(text_of(as_pdf(sheet)).split())
    assert "svg" not in Seen(as_html(sheet)).names


def test_pictures_have_a_width_of_their_own():
    chart = trace_chart(fakes.trace(), fakes.dropouts(), channel="volt")
    assert as_svg(chart).startswith("<svg")
    png = as_png(chart)
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20], "big") > 1500


def test_no_heading_stands_apart_from_its_chart_and_no_signature_from_its_words():
    for count in range(0, 24, 5):
        pdf = as_pdf(job_sheet(fakes.session_view(dropouts=fakes.dropouts(count))))
        leaves = [leaf.get_textpage().get_text_range() for leaf in pypdfium2.PdfDocument(pdf)]
        (chart,) = [leaf for leaf in leaves if "Roughness over the travel" in leaf]
        assert "Roughest between" in chart
        (signed,) = [leaf for leaf in leaves if "Technician: name, date, signature" in leaf]
        assert "Signed" in signed
        assert "Checked by a qualified technician" in signed
