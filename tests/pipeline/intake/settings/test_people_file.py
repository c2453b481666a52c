import tomllib

import pytest

from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from pipeline.home import Home
from pipeline.intake.settings.people_file import TEMPLATE, PeopleFileError, asker_of, read_people

ANA = """
[[person]]
name = "Ana Ruiz"
email = "Ana@Workshop.example"
part = "owner"
shops = "all"
"""
TOM = """
[[person]]
name = "Tom Lind"
subject = "8f3c2a"
part = "technician"
shops = ["north-street", "harbour"]
"""
ROSA = """
[[person]]
name = "Rosa Kern"
email = "rosa@couriers.example"
part = "operator"
fleets = ["couriers"]
"""


@pytest.fixture
def home(tmp_path):
    return Home(tmp_path)


def _verified(email):
    return {"sub": "1", "email": email, "email_verified": True}


def test_each_has_the_part_that_the_file_gives_them(home):
    home.people.write_text(ANA + TOM + ROSA)
    assert asker_of(home, _verified("ana@workshop.example")) == Asker("Ana Ruiz", OWNER)
    tom = asker_of(home, {"sub": "8f3c2a"})
    assert tom == Asker("Tom Lind", TECHNICIAN, frozenset({"north-street", "harbour"}))
    rosa = asker_of(home, _verified("ROSA@couriers.example"))
    assert rosa == Asker("Rosa Kern", OPERATOR, None, frozenset({"couriers"}))
    assert not read_people(home).problems


@pytest.mark.parametrize(
    "claims",
    [
        {},
        {"sub": "1", "email": "ana@workshop.example"},
        {"sub": "1", "email": "ana@workshop.example", "email_verified": False},
        {"sub": "1", "email": "ana@workshop.example", "email_verified": "true"},
        {"sub": "1", "email": "ana@workshop.example", "email_verified": 1},
        {"sub": "1", "email": None, "email_verified": True},
        {"sub": "1", "email": "else@workshop.example", "email_verified": True},
        {"sub": "ana@workshop.example"},
        {"sub": "8F3C2A"},
        {"sub": None},
    ],
)
def test_who_is_not_known_for_certain_has_no_part(home, claims):
    home.people.write_text(ANA + TOM)
    assert asker_of(home, claims) is None


def test_a_change_of_the_file_counts_at_once(home):
    home.people.write_text(ANA)
    assert asker_of(home, _verified("ana@workshop.example"))
    home.people.write_text(TOM)
    assert asker_of(home, _verified("ana@workshop.example")) is None


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (ANA.replace('name = "Ana Ruiz"\n', ""), "name is missing"),
        (ANA.replace("owner", "boss"), "part is 'boss', expected one of technician"),
        (ANA.replace('part = "owner"\n', ""), "part is None"),
        (ANA.replace('shops = "all"\n', ""), "shops is None, expected a list of shops"),
        (ANA.replace('"all"', '"north-street"'), "shops is 'north-street'"),
        (ANA.replace('"all"', "[]"), "shops is []"),
        (ANA.replace('"all"', "[7]"), "shops is [7]"),
        (ANA.replace("shops", "fleets"), "fleets does not go with part 'owner'"),
        (ROSA.replace("fleets", "shops"), "shops does not go with part 'operator'"),
        (ANA.replace('email = "Ana@Workshop.example"', "email = 7"), "email is 7"),
        (ANA.replace("Ana@Workshop.example", "ana"), "email is 'ana'"),
        (ANA + 'subject = "1"\n', "either email or subject"),
        (ANA + 'role = "owner"\n', "role is no key"),
    ],
)
def test_an_entry_that_cannot_stand_lets_nobody_in_and_the_others_hold(home, entry, told):
    home.people.write_text(TOM + entry)
    people = read_people(home)
    (problem,) = people.problems
    assert problem.startswith("people.toml, person 2: ")
    assert told in problem
    assert asker_of(home, _verified("ana@workshop.example")) is None
    assert asker_of(home, {"sub": "8f3c2a"})


@pytest.mark.parametrize(
    ("second", "what"),
    [
        (ANA.replace("Ana Ruiz", "Another"), "email 'ana@workshop.example'"),
        (TOM.replace("Tom Lind", "Ana Ruiz"), "name 'Ana Ruiz'"),
    ],
)
def test_of_two_that_cannot_be_told_apart_neither_has_a_part(home, second, what):
    home.people.write_text(ANA + second + ROSA)
    people = read_people(home)
    assert [person.asker.name for person in people.persons] == ["Rosa Kern"]
    assert [what in problem for problem in people.problems] == [True, True]


def test_a_file_that_is_missing_or_broken_gives_nobody_a_part(home):
    with pytest.raises(PeopleFileError, match="is missing"):
        asker_of(home, {"sub": "1"})
    home.people.write_text("[[person]\n")
    with pytest.raises(PeopleFileError, match="cannot be read"):
        asker_of(home, {"sub": "1"})
    home.people.write_text('person = "Ana"\n')
    assert read_people(home).persons == ()
    assert "write [[person]]" in read_people(home).problems[0]


def test_the_template_gives_nobody_a_part_and_its_examples_stand(home):
    assert tomllib.loads(TEMPLATE) == {}
    body = TEMPLATE.split("#\n", 1)[1]
    home.people.write_text(
        "\n".join(line.removeprefix("# ").strip("#") for line in body.splitlines())
    )
    people = read_people(home)
    assert len(people.persons) == 3
    assert not people.problems
