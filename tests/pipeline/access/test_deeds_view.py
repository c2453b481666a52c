from datetime import UTC, datetime

import pandas as pd
import pytest

from pipeline.access.deeds_view import DEEDS, deeds_view
from pipeline.access.scope.allowed import NotAllowedError
from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from pipeline.intake import deeds
from pipeline.intake.deeds import Version, make_up, note
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.typed.entries import save_entry

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
OWNS_ALL = Asker("ben", OWNER)
OWNS_ONE = Asker("cem", OWNER, frozenset({"s1"}))
READING = {"unit_id": "B1", "read_on": "2026-05-01", "odometer_km": 100}


@pytest.fixture
def told(home):
    save_entry(home, {"odometer": [READING, READING]}, now=NOW, asker=Asker("ana", TECHNICIAN))
    keep_settings(home, {"test_hours": 0.9}, asker=OWNS_ALL)
    note(home, "backed_up", {"file": "b.tar"}, OWNS_ONE)
    make_up(home, [Version(1, NOW.isoformat(), "2026-05-31", "shape", 1)])
    return home


def test_an_empty_record_is_an_empty_frame(home):
    assert deeds_view(home, OWNS_ALL).equals(DEEDS.empty())


def test_an_owner_of_all_sees_all_the_latest_first(told):
    rows = deeds_view(told, OWNS_ALL)
    assert rows["deed"].tolist() == ["advised", "backed_up", "settings_changed", "handed_in"]
    assert rows["who"].tolist() == ["the builder", "cem", "ben", "ana"]
    said = ["as of 2026-05-31", "b.tar", "test_hours 0.5 → 0.9", "odometer 2"]
    assert rows["said"].tolist() == said
    assert rows["number"].tolist() == [4, 3, 2, 1]
    assert rows["done_at"].iloc[3] == pd.Timestamp(NOW)
    assert len(deeds_view(told, OWNS_ALL, 1)) == 1


def test_an_owner_of_one_shop_sees_their_own_deeds_alone(told):
    assert deeds_view(told, OWNS_ONE)["who"].tolist() == ["cem"]


@pytest.mark.parametrize("role", [TECHNICIAN, OPERATOR])
def test_it_is_for_owners(told, role):
    with pytest.raises(NotAllowedError):
        deeds_view(told, Asker("ana", role))


def test_the_record_is_read_over_all_its_files(home, monkeypatch):
    monkeypatch.setattr(deeds, "FULL_BYTES", 600)
    for _ in range(5):
        save_entry(home, {"odometer": [READING]}, now=NOW, asker=OWNS_ALL)
    assert len(deeds.record_files(home)) > 1
    assert deeds_view(home, OWNS_ALL)["number"].tolist() == [5, 4, 3, 2, 1]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"files": ["a.csv", "b.csv"], "file_count": 5, "hand_in": 7}, "a.csv, b.csv and 3 more"),
        ({"answers": {"accept": 2}, "rows": {"advice_answers": 2}}, "accept 2"),
        ({"file": "b.tar", "files": 23, "hand_in": "7"}, "b.tar"),
        ({"settings": {"test_hours": 3}, "rows": [1], "answers": "x"}, None),
        ({"how": "settings.toml was found changed"}, "settings.toml was found changed"),
        ({}, None),
    ],
)
def test_whatever_a_line_says_can_be_shown(home, said, words):
    note(home, "of a later day", said, OWNS_ALL)
    (row,) = deeds_view(home, OWNS_ALL).to_dict("records")
    assert row["said"] == words if words else pd.isna(row["said"])
