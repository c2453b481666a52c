"""What was typed and not saved survives, whole or not at all."""

import pytest

from pipeline.intake.typed.drafts import (
    draft,
    drafts,
    drop_draft,
    keep_draft,
    keep_sweep,
    kept_sweep,
    new_draft_name,
)
from tests.askers import HERE


def test_a_draft_comes_back_as_it_was_kept(home):
    name = new_draft_name()
    keep_draft(home, HERE, name, "B1", {"supply_v": 4.98, "note": "é “x”", "wiggle_test": None})
    keep_draft(home, HERE, name, "B1", {"supply_v": 5.01, "note": "é “x”", "wiggle_test": None})
    found = draft(home, HERE, name)
    assert (found.of, found.values["supply_v"], found.values["note"]) == ("B1", 5.01, "é “x”")
    assert [one.name for one in drafts(home, HERE)] == [name]


def test_a_sweep_stands_beside_it_until_it_is_dropped(home):
    name = new_draft_name()
    keep_draft(home, HERE, name, "B1", {})
    assert kept_sweep(home, HERE, name) is None
    keep_sweep(home, HERE, name, b"t_s,signal\n")
    assert kept_sweep(home, HERE, name) == b"t_s,signal\n"
    drop_draft(home, HERE, name)
    assert draft(home, HERE, name) is None
    assert kept_sweep(home, HERE, name) is None


@pytest.mark.parametrize("name", ["../../home", "", "ABCDEF0123456789", "0123456789abcdef0"])
def test_a_name_from_outside_reaches_no_other_file(home, name):
    assert draft(home, HERE, name) is None
    with pytest.raises(ValueError, match="names no draft"):
        keep_draft(home, HERE, name, "B1", {})


@pytest.mark.parametrize("left", ["{", "7", '[{"of": "B1"}]'])
def test_a_damaged_draft_is_passed_over(home, left):
    name = new_draft_name()
    keep_draft(home, HERE, name, "B1", {})
    (home.drafts / f"{name}.json").write_text(left)
    assert draft(home, HERE, name) is None
    assert drafts(home, HERE) == []
