"""Every page, opened by who does not see all, with what is another's in its address."""

from __future__ import annotations

import re

import pytest

from dashboard.surround import PAGES
from pipeline.access.scope.allowed import allowed
from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from tests.dashboard.page_app import page_at, words_of
from tests.pipeline.access.test_scope import two_owners  # noqa: F401 - a fixture

NQR = Asker("nqr owner", OWNER, frozenset({"nqr"}))
HAND = Asker("nqr hand", TECHNICIAN, frozenset({"nqr"}))
RQD = Asker("rqd", OPERATOR, None, frozenset({"rqd"}))
OTHERS = re.compile("sqv|bqx")
#: Every page with addresses that name another's records.
ADDRESSES = [
    ("worklist", {}),
    ("worklist", {"q": "sqv", "shop": "sqv", "fleet": "bqx"}),
    ("bench", {}),
    ("bench", {"unit": "sqv-1"}),
    ("register", {}),
    ("register", {"unit": "sqv-1"}),
    ("job", {"unit": "sqv-1"}),
    ("tags", {}),
    ("bike", {"unit": "sqv-1"}),
    ("session", {"session": "sqv-1-T1"}),
    ("session", {"session": "sqv-1-T3"}),
    ("trust", {}),
    ("wear", {"life": "sqv-1-S"}),
    ("wear", {}),
    ("costs", {}),
    ("parts", {"shop": "sqv", "part": "P1"}),
    ("parts", {}),
    ("checks", {}),
    ("fleet", {"fleet": "bqx", "shop": "sqv"}),
    ("repairs", {}),
    ("hand_in", {}),
    ("settings", {}),
    ("start", {}),
]
#: The other pages are left to the long run.
_SHORT = [("worklist", {}), ("bike", {"unit": "sqv-1"}), ("settings", {})]
NOT_FOR = {
    TECHNICIAN: {"costs", "parts", "checks", "fleet", "repairs", "settings", "start"},
    OWNER: {"settings", "start"},
    OPERATOR: {
        *("worklist", "bench", "register", "job", "tags", "trust", "wear", "costs", "parts"),
        *("repairs", "hand_in", "settings", "start"),
    },
}


@pytest.fixture
def asks(two_owners, monkeypatch):  # noqa: F811 - the fixture above
    """Let somebody be the one who asks, whatever module asks it."""
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(two_owners.root))
    monkeypatch.setattr("dashboard.surround.take_up_if_due", lambda home: None)

    def be(asker: Asker) -> None:
        for module in ("records", "surround", "signing_in", "pages.start"):
            monkeypatch.setattr(f"dashboard.{module}.who_asks", lambda: asker)

    return be


def everything_on(app) -> str:
    """Words, choices, values and downloads of a page, apart from its own address."""
    said = [words_of(app)]
    for kind in ("selectbox", "multiselect", "radio", "text_input", "button", "markdown"):
        for widget in getattr(app, kind):
            said += [str(getattr(widget, name, "")) for name in ("label", "options", "value")]
    said += [frame.value.to_csv() for frame in app.dataframe]
    return "\n".join(said)


@pytest.mark.parametrize(
    ("page", "address"),
    [pytest.param(*one, marks=() if one in _SHORT else pytest.mark.long) for one in ADDRESSES],
)
def test_an_owners_page_shows_nothing_of_another_shop(asks, page, address):
    asks(NQR)
    _holds(page, address, NQR, OTHERS)


@pytest.mark.long
@pytest.mark.parametrize("asker", [HAND, RQD], ids=lambda asker: asker.role)
@pytest.mark.parametrize(("page", "address"), ADDRESSES)
def test_a_page_shows_nothing_of_anothers(asks, asker, page, address):
    asks(asker)
    marks = OTHERS if asker is HAND else re.compile(r"nqr-\d|sqv-\d|bqx")
    _holds(page, address, asker, marks)


def _holds(page: str, address: dict[str, str], asker: Asker, others: re.Pattern) -> None:
    said = everything_on(page_at(page, **address))
    for asked in address.values():  # a page may say that it has no such thing
        said = said.replace(asked, "")
    found = others.search(said)
    assert not found, said[max(0, found.start() - 300) : found.end() + 100]
    refused = "This page is not for your part" in said
    assert refused == (page in NOT_FOR[asker.role]), said[:500]
    assert not leads_nowhere(said, asker)


def leads_nowhere(said: str, asker: Asker) -> set[str]:
    """Pages that are linked to and that the asker's part may not open."""
    closed = {page.address for page in PAGES if not allowed(asker, page.view)}
    closed |= {"register", "job", "tags"} if asker.role == OPERATOR else set()
    return closed & set(re.findall(r'href="([^"?]*)', said))


@pytest.mark.parametrize(
    ("asker", "page", "address"),
    [(HAND, "worklist", {}), (RQD, "bike", {"unit": "rqd-nqr"}), (RQD, "fleet", {})],
    ids=["worklist", "bike", "fleet"],
)
def test_no_link_leads_to_a_page_of_another_part(asks, asker, page, address):
    asks(asker)
    said = words_of(page_at(page, **address))
    assert "This page is not for your part" not in said
    assert not leads_nowhere(said, asker)


def test_a_page_that_cannot_be_shown_offers_only_ones_own(asks):
    asks(RQD)
    said = words_of(page_at("bike", unit="no such bike"))
    assert "Nothing to show here" in said
    assert not leads_nowhere(said, RQD)


def test_only_what_ones_part_opens_is_offered(asks):
    asks(RQD)
    said = words_of(page_at("fleet"))
    assert 'href="checks"' in said
    assert 'href="parts"' not in said
    assert 'href="fleet" class="wa-name"' in said
    assert "RQD NQR" in everything_on(page_at("fleet"))


def test_too_few_shops_are_told_where_all_would_speak_together(asks):
    asks(NQR)
    said = words_of(page_at("trust"))
    assert "Too few shops stand behind this" in said
    assert "at least 5 shops and 30 sensors" in said


def test_only_ones_own_consents_are_shown_and_offered(asks):
    asks(NQR)
    app = page_at("parts")
    app.session_state["consent_fold"] = True
    said = everything_on(app.run())
    assert "Parts to third: you agree; it waits for the other owner." in said
    assert "elsewhere" in said
    assert not OTHERS.search(said)
