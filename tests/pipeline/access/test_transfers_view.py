"""An owner is told of consents what concerns their own shops, from both sides."""

import pytest

from pipeline.access.scope.allowed import NotAllowedError
from pipeline.access.transfers_view import AGREED, CONSENTS, OFFERED, WAITS, transfers_view
from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from pipeline.home import Home
from tests.askers import HERE

NORTH = Asker("ana", OWNER, frozenset({"north"}))
SAID = """\
[transfers]
north = ["mill", "east"]
mill = ["north", "harbour"]
harbour = ["east"]
[transfers_taken]
mill = ["north"]
harbour = ["mill", "north"]
"""


@pytest.fixture
def home(tmp_path):
    home = Home(tmp_path)
    home.settings.write_text(SAID)
    return home


def seen(home: Home, asker: Asker) -> list[tuple]:
    return list(transfers_view(home, asker).itertuples(index=False, name=None))


def test_each_state_from_the_own_shops_side(home):
    assert seen(home, NORTH) == [
        ("north", "mill", False, OFFERED),
        ("north", "east", True, WAITS),
        ("north", "harbour", True, OFFERED),
        ("north", "mill", True, AGREED),
    ]


def test_what_others_say_of_others_is_not_told(home):
    harbour = seen(home, Asker("cem", OWNER, frozenset({"harbour"})))
    assert harbour == [
        ("harbour", "mill", False, AGREED),
        ("harbour", "north", False, WAITS),
        ("harbour", "east", True, WAITS),
    ]
    assert seen(home, Asker("no", OWNER, frozenset())) == []


def test_who_sees_all_sees_each_pair_from_both_sides(home):
    rows = seen(home, HERE)
    assert ("mill", "north", False, AGREED) in rows
    assert ("east", "harbour", False, OFFERED) in rows
    assert len(rows) == 12


def test_without_settings_nothing_is_said(tmp_path):
    assert transfers_view(Home(tmp_path), HERE).equals(CONSENTS.empty())


@pytest.mark.parametrize("role", [TECHNICIAN, OPERATOR])
def test_it_is_for_owners(home, role):
    with pytest.raises(NotAllowedError):
        transfers_view(home, Asker("ana", role))
