from collections.abc import Mapping
from types import MappingProxyType

import pytest
import streamlit as st

from dashboard import signing_in
from dashboard.network import in_force
from dashboard.network.in_force import Served
from dashboard.network.sign_ins import SignIns
from pipeline.asker import Asker, whoever_is_here
from pipeline.home import Home
from tests.dashboard.network.test_door import CLAIMS, NETWORK, NOW, ORIGIN
from tests.dashboard.page_app import page_at, words_of

PEOPLE = """
[[person]]
name = "Tom <b>Lind</b>"
email = "tom@workshop.example"
part = "technician"
shops = "all"
"""
TOM = CLAIMS | {"email": "tom@workshop.example", "email_verified": True}
PAGES = ("worklist", "start", "session")  # all of them in the browser


@pytest.fixture
def served(tmp_path, monkeypatch):
    """A network is served, and ``served.claims`` is what the provider says of the reader."""
    home = Home(tmp_path / "people")
    home.root.mkdir()
    home.people.write_text(PEOPLE)
    sign_ins = SignIns(ORIGIN, 10, now=lambda: NOW)
    monkeypatch.setattr(in_force, "_SERVED", [Served(NETWORK, home, sign_ins)])
    reader = Reader()
    monkeypatch.setattr(st, "user", reader)
    reader.home, reader.sign_ins = home, sign_ins
    return reader


class Reader:
    """What stands for ``st.user``."""

    claims: Mapping = MappingProxyType({})

    def to_dict(self):
        return dict(self.claims)


def test_at_this_machine_nobody_signs_in():
    assert signing_in.who_asks() == whoever_is_here()
    assert signing_in.signed_in_as() is None


@pytest.mark.parametrize("page", PAGES)
def test_who_is_not_signed_in_sees_one_button_on_every_page(served, page):
    app = page_at(page)
    assert "A sign-in lasts 10 hours." in words_of(app)
    assert [button.label for button in app.button] == ["Sign in"]
    assert "wa-top" not in words_of(app)


def test_the_button_leads_to_the_provider(served, monkeypatch):
    led = []
    monkeypatch.setattr(st, "login", led.append)
    page_at("bench").button(key="sign_in").click().run()
    assert led == ["shop"]


@pytest.mark.parametrize("claims", [CLAIMS, TOM | {"email_verified": False}])
def test_who_has_no_part_sees_who_they_are_and_nothing_else(served, claims):
    served.claims = claims | {"sub": "<i>7</i>"}
    said = words_of(page_at("worklist"))
    assert "Nobody has given you a part here yet" in said
    assert "&lt;i&gt;7&lt;/i&gt;" in said
    assert 'href="auth/logout"' in said
    assert "wa-top" not in said
    assert ("not verified" in said) == ("email" in claims)


def test_who_has_a_part_stands_at_the_top_of_each_page_with_the_way_out(
    served, own_shop, monkeypatch
):
    served.claims = TOM
    said = words_of(page_at("bench"))
    assert "Tom &lt;b&gt;Lind&lt;/b&gt;" in said
    assert 'href="auth/logout"' in said
    assert "auth/logout" not in said.replace('href="auth/logout"', "", 1)


def test_pages_tell_an_owner_at_which_address_they_are_reached(served, own_shop):
    served.home.people.write_text(PEOPLE.replace("technician", "owner"))
    served.claims = TOM
    assert f"<code>{ORIGIN}</code> by those who have a part" in words_of(page_at("start"))
    assert f"here the address is <code>{ORIGIN}</code>" in words_of(page_at("tags"))


def test_at_this_machine_they_tell_how_others_could_reach_them(own_shop):
    assert "python3 -m dashboard --network" in words_of(page_at("start"))
    assert "answers this machine alone" in words_of(page_at("tags"))


def test_the_part_is_read_anew_at_each_run(served, own_shop):
    served.claims = TOM
    app = page_at("bench")
    assert "wa-top" in words_of(app)
    served.home.people.write_text("")
    assert "Nobody has given you a part" in words_of(app.run())
    served.home.people.unlink()
    assert "nobody is let in" in words_of(app.run())


def test_a_sign_in_that_is_over_or_ended_is_none(served):
    served.claims = TOM | {"iat": NOW - 11 * 3600}
    assert "A sign-in lasts" in words_of(page_at("bench"))
    served.claims = TOM
    served.sign_ins.end(TOM)
    assert "A sign-in lasts" in words_of(page_at("bench"))


def test_the_asker_is_the_person_of_the_file(served):
    served.claims = TOM
    assert signing_in.who_asks() == Asker("Tom <b>Lind</b>", "technician")


def test_a_server_open_to_others_without_sign_in_shows_nothing(monkeypatch):
    monkeypatch.setattr(st.runtime, "exists", lambda: True)
    for address in ("127.0.0.1", "::1", "localhost"):
        monkeypatch.setattr(st, "get_option", lambda _, at=address: at)
        assert signing_in.who_asks() == whoever_is_here()
    for address in ("0.0.0.0", None, "192.168.1.20"):  # noqa: S104
        monkeypatch.setattr(st, "get_option", lambda _, at=address: at)
        monkeypatch.setattr(st, "stop", _stop)
        with pytest.raises(StoppedError):
            signing_in.who_asks()


class StoppedError(Exception):
    pass


def _stop():
    raise StoppedError
