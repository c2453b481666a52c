"""Each owner says for their own shops whom parts may go to; nobody else's line is touched."""

import threading

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as tried
from hypothesis import strategies as st

from models.plans.settings import PlanSettings, declared
from pipeline.access.deeds_view import deeds_view
from pipeline.access.scope.allowed import NotAllowedError
from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from pipeline.home import Home, HomeError
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.settings.settings_file import read_settings, settings_text
from pipeline.intake.settings.transfer_consents import MOST_SHOPS, keep_consent, said_by
from pipeline.intake.typed.entries import EntryError
from tests.askers import HERE

NORTH = Asker("ana", OWNER, frozenset({"north", "east"}))
MILL = Asker("ben", OWNER, frozenset({"mill"}))
OWN = """\
# what Ida and I agreed on in spring
[costs]
test_hours = 0.7  # with the apprentice

[transfers]
# the giver's owner says so
north = ["mill"]   # Ida, "half"
harbour = ["north", "mill"]

[transfers_taken]
harbour = [
  "mill",  # since spring
]
"""


@pytest.fixture
def home(tmp_path):
    return Home(tmp_path)


def text_of(home: Home) -> str:
    return home.settings.read_text(encoding="utf-8")


def test_both_consents_make_a_pair(home):
    keep_consent(home, "north", ["mill", "east"], [], asker=NORTH)
    assert read_settings(home).transfers == ()
    keep_consent(home, "mill", [], ["north"], asker=MILL)
    assert read_settings(home).transfers == (("north", "mill"),)
    keep_consent(home, "mill", [], [], asker=MILL)
    assert read_settings(home).transfers == ()


def test_only_the_shops_own_lines_change(home):
    home.settings.write_text(OWN)
    keep_consent(home, "north", ["mill", "bay.2"], ["harbour"], asker=NORTH)
    expected = OWN.replace('north = ["mill"]  ', 'north = ["mill", "bay.2"]  ')
    assert text_of(home) == expected + 'north = ["harbour"]\n'
    keep_consent(home, "north", [], ["harbour"], asker=NORTH)
    assert 'north = []   # Ida, "half"\n' in text_of(home)


def test_comments_within_a_list_stay_above_it(home):
    home.settings.write_text(OWN)
    keep_consent(home, "harbour", ["north", "mill"], ["mill", "north"], asker=HERE)
    told = '[transfers_taken]\n# since spring\nharbour = ["mill", "north"]\n'
    assert text_of(home) == OWN.partition("[transfers_taken]")[0] + told


def test_the_file_keeps_its_byte_order_mark_and_its_line_ends(home):
    home.settings.write_bytes(b"\xef\xbb\xbf" + OWN.replace("\n", "\r\n").encode())
    keep_consent(home, "north", ["bay"], [], asker=NORTH)
    changed = OWN.replace('north = ["mill"]', 'north = ["bay"]').replace("\n", "\r\n")
    assert home.settings.read_bytes() == b"\xef\xbb\xbf" + changed.encode()


def test_where_there_is_no_file_it_is_laid_out_whole(home):
    keep_consent(home, "north", ["mill"], ["mill"], asker=NORTH)
    assert set(declared()) <= set(text_of(home).replace("=", " ").split())
    assert said_by(read_settings(home), "north") == (["mill"], ["mill"])


def test_what_is_said_already_leaves_the_file_and_the_record_untouched(home):
    home.settings.write_text(OWN)
    stamp = home.settings.stat().st_mtime_ns
    keep_consent(home, "north", [" mill ", "mill", ""], [], asker=NORTH)
    assert home.settings.stat().st_mtime_ns == stamp
    assert deeds_view(home, HERE).empty


@pytest.mark.parametrize(
    ("asker", "shop"),
    [
        (NORTH, "mill"),
        (NORTH, "nowhere"),
        (Asker("no", OWNER, frozenset()), "north"),
        (Asker("hand", TECHNICIAN, frozenset({"north"})), "north"),
        (Asker("all hands", TECHNICIAN), "north"),
        (Asker("fleet", OPERATOR, None, frozenset({"north"})), "north"),
        (Asker("fleets", OPERATOR), "north"),
    ],
)
def test_nobody_else_says_it_for_a_shop(home, asker, shop):
    home.settings.write_text(OWN)
    with pytest.raises(NotAllowedError, match="is for") as refused:
        keep_consent(home, shop, ["harbour"], [], asker=asker)
    assert shop not in str(refused.value)
    assert text_of(home) == OWN


@pytest.mark.parametrize(
    ("gives", "takes", "told"),
    [
        (["mill", "a b"], [], "gives_to: “a b”, expected 1 to 64 of letters"),
        ([], ['x"]\n[costs]'], "takes_from: "),
        (["x" * 65], [], "expected 1 to 64 of letters"),
        (["mill"], ["north"], "takes_from: “north”, is this shop itself"),
        ([f"s{n}" for n in range(MOST_SHOPS + 1)], [], f"expected {MOST_SHOPS} at the most"),
        (["\ud800"], [], "holds half of a character"),
    ],
)
def test_what_cannot_stand_is_named_and_nothing_is_written(home, gives, takes, told):
    home.settings.write_text(OWN)
    with pytest.raises(EntryError) as refused:
        keep_consent(home, "north", gives, takes, asker=NORTH)
    assert told in str(refused.value)
    assert text_of(home) == OWN


@pytest.mark.parametrize(
    "text",
    [
        '[costs]\ncurrency = """crowns\n',
        'transfers = { harbour = ["mill"] }\n',
        "[transfers_taken]\n[transfers_taken]\nmill = 5\n[[transfers]]\nmill = 5\n",
    ],
)
def test_a_file_that_cannot_be_changed_here_is_said_and_stays(home, text):
    home.settings.write_text(text)
    with pytest.raises(HomeError, match=r"[Nn]othing was changed"):
        keep_consent(home, "north", ["mill"], ["mill"], asker=NORTH)
    assert text_of(home) == text


@pytest.mark.parametrize("line", ['north = "mill"', 'north = ["mill', "'north' = 5"])
def test_an_own_line_that_could_not_be_read_is_mended(home, line):
    home.settings.write_text(f"[transfers]\n{line}\nbay = ['mill']\n")
    assert read_settings(home).given == (("bay", "mill"),)
    keep_consent(home, "north", ["mill"], [], asker=NORTH)
    assert set(read_settings(home).given) == {("bay", "mill"), ("north", "mill")}
    assert text_of(home).count("north") == 1


def test_a_shop_may_be_called_as_a_setting_is(home):
    home.settings.write_text(OWN)
    keep_consent(home, "test_hours", ["costs"], ["test_hours2"], asker=HERE)
    found = read_settings(home)
    assert found.settings == PlanSettings(test_hours=0.7)
    assert said_by(found, "test_hours") == (["costs"], ["test_hours2"])
    assert keep_settings(home, {"test_hours": 0.9}) == {}
    assert said_by(read_settings(home), "test_hours") == (["costs"], ["test_hours2"])


def test_the_record_tells_who_consented_to_what_and_no_other_owner_reads_it(home):
    home.settings.write_text(OWN)
    keep_consent(home, "north", ["mill", "bay"], ["mill"], asker=NORTH)
    row = deeds_view(home, HERE).iloc[0]
    assert (row["who"], row["role"], row["deed"]) == ("ana", OWNER, "settings_changed")
    assert row["said"] == (
        "north gives parts to mill → mill, bay; north takes parts from none → mill"
    )
    assert deeds_view(home, NORTH)["said"].tolist() == [row["said"]]
    assert deeds_view(home, MILL).empty
    keep_consent(home, "mill", [], ["north"], asker=MILL)
    assert deeds_view(home, HERE)["who"].tolist() == ["ben", "ana"]  # nothing found changed
    assert len(deeds_view(home, NORTH)) == 1


def test_owners_who_say_it_at_once_undo_nothing_of_one_another(home):
    home.settings.write_text(OWN)
    shops = [f"shop{n}" for n in range(6)]
    asks = [Asker(shop, OWNER, frozenset({shop})) for shop in shops]
    together = [
        threading.Thread(
            target=keep_consent, args=(home, a.name, ["mill"], []), kwargs={"asker": a}
        )
        for a in asks
    ]
    for one in together:
        one.start()
    for one in together:
        one.join()
    given = read_settings(home).given
    assert {(shop, "mill") for shop in shops} <= set(given)
    assert ("harbour", "north") in given


IDS = st.text("abcXYZ019._-", min_size=1, max_size=12)


@tried(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    shop=IDS,
    gives=st.lists(IDS, max_size=4),
    takes=st.lists(IDS, max_size=4),
    text=st.sampled_from(
        [OWN, OWN.replace("\n", "\r\n"), "", settings_text(PlanSettings(), (("a", "b"),))]
    ),
    name=st.sampled_from(["{}", '"{}"', "'{}'"]),
)
def test_what_was_kept_is_read_and_all_else_stays(
    tmp_path_factory, monkeypatch, shop, gives, takes, text, name
):
    # the reader of numbers opens a database each time, and has tests of its own
    monkeypatch.setattr(
        "pipeline.intake.settings.transfer_consents.entry_troubles", lambda rows: []
    )
    home = Home(tmp_path_factory.mktemp("consents"))
    line = f'{name.format(shop)} = ["before"]'
    home.settings.write_text(text.replace("[transfers]", f"[transfers]\n{line}", 1), newline="")
    before = read_settings(home)
    gives, takes = ([other for other in found if other != shop] for found in (gives, takes))
    keep_consent(home, shop, gives, takes, asker=HERE)
    found = read_settings(home)
    said_gives, said_takes = said_by(found, shop)
    assert set(said_gives) == set(gives)
    assert set(said_takes) == set(takes)
    assert found.settings == before.settings
    assert [p for p in found.given if p[0] != shop] == [p for p in before.given if p[0] != shop]
    assert [p for p in found.taken if p[1] != shop] == [p for p in before.taken if p[1] != shop]
    for kept in ("# what Ida and I agreed on in spring", 'harbour = ["north", "mill"]'):
        assert (kept in text) == (kept in text_of(home)) or shop == "harbour"
