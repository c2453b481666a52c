"""Owners' consents on the page of parts: each state told, kept, refused."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from pipeline.access import stock_book, stock_view, views
from pipeline.asker import OWNER, Asker
from pipeline.home import own_home
from pipeline.intake.settings.settings_file import read_settings
from pipeline.intake.settings.transfer_consents import said_by
from tests.dashboard import fake_stock as fakes
from tests.dashboard.fake_views import show_worklist
from tests.dashboard.page_app import words_of
from tests.dashboard.test_pages import APP

NORTH = Asker("ana", OWNER, frozenset({"north"}))
FOLD = "consent_fold"


@pytest.fixture
def said(monkeypatch, tmp_path):
    """``said(text)`` puts a text into the settings; north and south are on record."""
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    show_worklist(monkeypatch)
    monkeypatch.setattr(stock_view, "stock_view", lambda home, asker, *of: fakes.stock_view())
    monkeypatch.setattr(stock_book, "stock_book", lambda home, asker: fakes.stock_book())

    def write(text: str) -> None:
        own_home().settings.write_text(text)

    return write


@pytest.fixture
def of_north(monkeypatch):
    """Only north is the reader's."""
    book = fakes.stock_book()
    of_it = type(book)(book.edition, book.rows[book.rows["shop_id"].eq("north")])
    monkeypatch.setattr(stock_book, "stock_book", lambda home, asker: of_it)
    for module in ("records", "surround"):
        monkeypatch.setattr(f"dashboard.{module}.who_asks", lambda: NORTH)


def opened(*, fold: bool = True) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=20)
    app.session_state[FOLD] = fold
    app.switch_page("pages/parts.py").run()
    assert not app.exception
    return app


def test_the_form_is_drawn_only_once_opened(said):
    assert not opened(fold=False).multiselect
    app = opened()
    text = words_of(app)
    assert "Between shops" in text
    assert "Nothing is agreed for this shop, and no other owner offers anything." in text
    assert "either owner can take it back" in text
    assert app.selectbox(key="consent_shop").value == "north"


def test_each_state_is_told_from_the_own_shops_side(said, of_north):
    said(
        '[transfers]\nnorth = ["mill", "bay"]\nmill = ["north"]\n[transfers_taken]\nbay = ["north"]'
    )
    app = opened()
    text = words_of(app)
    assert "Parts to bay: agreed by both owners." in text
    assert "Parts to mill: you agree; it waits for the other owner." in text
    assert "Parts from mill: the other owner agrees; you have not agreed yet." in text
    assert "How it stands for North Yard (north)" in text
    assert "consent_shop" not in [box.key for box in app.selectbox]
    assert app.multiselect(key="consent_gives_north").value == ["bay", "mill"]
    assert app.multiselect(key="consent_takes_north").value == []
    assert "mill" in app.multiselect(key="consent_takes_north").options


def test_an_offer_is_told_before_the_fold_is_opened(said, of_north):
    said('[transfers]\nmill = ["north"]\n')
    assert "1 offer of another shop's owner waits for you to agree." in (
        words_of(opened(fold=False)).replace("&#x27;", "'")
    )


def test_what_is_said_is_kept_with_the_other_lines_and_told(said, of_north):
    said('[transfers]\nmill = ["north"]  # Ben\n')
    app = opened()
    app.multiselect(key="consent_takes_north").set_value(["mill"])
    app.multiselect(key="consent_gives_north").set_value(["bay-2"])
    app.button(key="consent_save_north").click().run()
    text = words_of(app)
    assert "Kept for North Yard (north): 1 agreed by both owners and 1 waiting" in text
    assert "It counts from the next build on." in text
    assert "Parts to bay-2: you agree; it waits for the other owner." in text
    found = read_settings(own_home())
    assert said_by(found, "north") == (["bay-2"], ["mill"])
    assert found.transfers == (("mill", "north"),)
    assert 'mill = ["north"]  # Ben\n' in own_home().settings.read_text()
    assert "Kept for" not in words_of(app.run())


def test_a_consent_is_taken_back(said, of_north):
    said('[transfers]\nnorth = ["mill"]\n')
    app = opened()
    app.multiselect(key="consent_gives_north").set_value([])
    app.button(key="consent_save_north").click().run()
    assert "no parts are passed to or from it" in words_of(app)
    assert read_settings(own_home()).given == ()


def test_what_cannot_stand_is_named_and_nothing_is_kept(said, of_north):
    said("[transfers]\n")
    app = opened()
    app.multiselect(key="consent_gives_north").set_value(["mill lane"])
    app.multiselect(key="consent_takes_north").set_value(["north"])
    app.button(key="consent_save_north").click().run()
    text = words_of(app)
    assert "Nothing was saved." in text
    assert "May give parts to: “mill lane”, expected 1 to 64 of letters, digits" in text
    assert "May take parts from: “north”, is this shop itself" in text
    assert own_home().settings.read_text() == "[transfers]\n"


def test_a_file_that_cannot_be_read_is_said(said, of_north):
    said('[costs]\ncurrency = """crowns\n')
    app = opened()
    app.multiselect(key="consent_gives_north").set_value(["mill"])
    app.button(key="consent_save_north").click().run()
    assert "Mend the file, or move it away; nothing was changed." in words_of(app)


def test_who_sees_all_says_it_for_one_shop_after_another(said):
    said('[transfers]\nnorth = ["south"]\n')
    app = opened()
    assert "waits for you to agree" not in words_of(app)
    assert app.multiselect(key="consent_gives_north").value == ["south"]
    app.selectbox(key="consent_shop").set_value("south").run()
    assert "Parts from North Yard (north): the other owner agrees" in words_of(app)
    app.multiselect(key="consent_takes_south").set_value(["North Yard"])
    app.button(key="consent_save_south").click().run()
    assert read_settings(own_home()).transfers == (("north", "south"),)
    assert "agreed by both owners." in words_of(app)


def test_one_shop_alone_has_nobody_to_pass_parts_to(said, monkeypatch):
    book = fakes.stock_book()
    alone = type(book)(book.edition, book.rows[book.rows["shop_id"].eq("north")])
    monkeypatch.setattr(stock_book, "stock_book", lambda home, asker: alone)
    text = words_of(opened(fold=False))
    assert "Between shops" not in text
    assert "passed to and from" not in text
