"""Which records are shown: one's own once they exist, the demo where it is asked for."""

from __future__ import annotations

import shutil

import pytest

from pipeline.access.views import current_version
from pipeline.home import DEMO, OWN, Home
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs.start_own import start_own
from tests.dashboard.page_app import page_at, words_of
from tests.pipeline.faulty_shop import faulty_home

__all__ = ["faulty_home"]

PAGES = ("worklist", "wear", "trust", "costs", "checks", "parts", "repairs", "fleet", "register")


@pytest.fixture
def homes(faulty_home, tmp_path, monkeypatch) -> tuple[Home, Home]:
    """A home that nobody has started, and a demo."""
    own, demo = Home(tmp_path / "own"), Home(tmp_path / "demo")
    shutil.copytree(faulty_home.root, demo.root)
    card = demo.root / "home.json"
    card.write_text(card.read_text().replace('"own"', f'"{DEMO}"'))
    for manifest in demo.published.glob("*.json"):
        manifest.write_text(manifest.read_text().replace('"own"', f'"{DEMO}"'))
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(own.root))
    monkeypatch.setenv("WEAR_ATLAS_DEMO_HOME", str(demo.root))
    monkeypatch.setattr("dashboard.surround.take_up_if_due", lambda home: None)
    return own, demo


def test_the_demo_is_shown_until_ones_own_records_are_begun(homes):
    own, _ = homes
    text = words_of(page_at("worklist"))
    assert "Demo: invented shops, not measured." in text
    assert 'href="start"' in text
    app = page_at("start")
    assert "It never declares a bike safe." in words_of(app)
    assert own.kind is None
    app.button(key="start_own").click().run()
    assert "Your own records are begun." in words_of(app)
    assert own.kind == OWN
    assert current_version(own) == 1
    assert "start_own" not in [button.key for button in app.button]
    assert "No bike is on record yet." in words_of(page_at("worklist"))


def test_each_page_of_an_empty_home_says_what_to_do(homes):
    own, _ = homes
    start_own(own)
    for page in PAGES:
        text = words_of(page_at(page))
        assert "No bike is on record yet." in text, page
        assert "Demo: invented" not in text, page
        assert 'href="register"' in text or page == "register"
        assert "Nothing to show here" not in text, page


def test_what_was_entered_into_an_empty_home_is_said_to_be_taken_up(homes):
    own, _ = homes
    start_own(own)
    save_entry(own, {"shops": [{"shop_id": "s1", "name": "Weir Lane"}]})
    for page in ("worklist", "parts"):
        text = words_of(page_at(page))
        assert "What was entered is kept and is being taken up" in text
        assert "Register a first bike" not in text


def test_the_demo_can_be_looked_at_beside_ones_own_and_left_again(homes):
    own, _ = homes
    start_own(own)
    app = page_at("worklist", records="demo")
    text = words_of(app)
    assert "Demo: invented shops, not measured." in text
    assert 'href="./?records=own"' in text
    assert "records" not in app.query_params
    app.switch_page("pages/trust.py").run()
    assert "Demo: invented shops" in words_of(app)
    app.query_params["records"] = "own"
    app.switch_page("pages/worklist.py").run()
    assert "No bike is on record yet." in words_of(app)


def test_own_records_that_are_not_published_are_not_replaced_by_the_demo(homes):
    own, _ = homes
    own.prepare()
    text = words_of(page_at("worklist"))
    assert "Your own records are not published yet." in text
    assert "Demo: invented" not in text
    app = page_at("start")
    assert "begun but not published" in words_of(app)
    app.button(key="start_own").click().run()
    assert current_version(own) == 1


def test_a_folder_that_holds_the_demo_is_not_begun_in(homes, monkeypatch):
    _, demo = homes
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(demo.root))
    app = page_at("start")
    assert "started on the demo" in words_of(app)
    assert "start_own" not in [button.key for button in app.button]


def test_where_own_records_cannot_be_begun_it_is_said(homes):
    own, _ = homes
    own.root.write_text("a file stands in the way")
    app = page_at("start")
    app.button(key="start_own").click().run()
    assert "cannot be written" in words_of(app)


def test_without_a_demo_it_is_said_how_it_is_made(homes):
    _, demo = homes
    shutil.rmtree(demo.root)
    assert "python3 -m pipeline demo" in words_of(page_at("start"))


def test_a_damaged_home_is_named_on_the_page(tmp_path, monkeypatch):
    folder = tmp_path / "own"
    Home(folder).prepare()
    (folder / "home.json").write_text("{", encoding="utf-8")
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(folder))
    words = words_of(page_at("worklist"))
    assert "home.json is damaged" in words
    assert "put it back from a copy" in words
