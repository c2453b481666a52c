import multiprocessing
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipeline.asker import OWNER, TECHNICIAN, Asker
from pipeline.home import Home, HomeError
from pipeline.intake import deeds
from pipeline.intake.column_names import remember_column_names
from pipeline.intake.deeds import Version, make_up, note
from pipeline.intake.deeds_check import broken_links, read_deeds
from pipeline.intake.receive import receive
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.typed.advice_answers import Answer, save_answers
from pipeline.intake.typed.entries import save_entry
from pipeline.intake.typed.fleet_entries import take_back_windows

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
ANA = Asker("ana", TECHNICIAN)
BEN = Asker("ben", OWNER)
READING = {"unit_id": "B1", "read_on": "2026-05-01", "odometer_km": 100}


def _file(home: Home) -> Path:
    return home.deeds / "000001.jsonl"


def _told(home: Home) -> list[tuple[str, str]]:
    return [(deed["deed"], deed["who"]) for deed in read_deeds(home)]


def test_each_deed_is_told_with_who_did_it(home, tmp_path):
    save_entry(home, {"odometer": [READING]}, now=NOW, asker=ANA)
    save_answers(home, [("S1", "test")], Answer("overrule", reason="sold"), now=NOW, asker=BEN)
    take_back_windows(home, ["B1/2026-06-01/2026-06-02"], "in use", now=NOW, asker=ANA)
    keep_settings(home, {"test_hours": 0.9}, asker=BEN)
    remember_column_names(home, "units", {"Plate": "label"}, asker=BEN)
    (tmp_path / "odometer.csv").write_text("unit_id,read_on,odometer_km\nB1,2026-05-02,120\n")
    receive(home, [tmp_path / "odometer.csv"], NOW)
    assert _told(home) == [
        ("handed_in", "ana"),
        ("answered", "ben"),
        ("retracted", "ana"),
        ("settings_changed", "ben"),
        ("columns_named", "ben"),
        ("handed_in", "this machine"),
    ]
    told = [deed["said"] for deed in read_deeds(home)]
    assert told[0]["rows"] == {"odometer": 1}
    assert told[1]["answers"] == {"overrule": 1}
    assert told[3]["settings"] == {"test_hours": [0.5, 0.9]}
    assert told[5]["files"] == ["odometer.csv"]
    assert broken_links(home) == []


def test_what_a_kill_left_out_is_made_up_from_the_card(home, monkeypatch):
    with monkeypatch.context() as killed:
        killed.setattr("pipeline.intake.receive.make_up_if_possible", lambda home: None)
        save_entry(home, {"odometer": [READING]}, now=NOW, asker=ANA)
        save_entry(home, {"odometer": [READING]}, now=NOW, asker=BEN)
    assert _told(home) == []
    make_up(home)
    make_up(home)  # once is enough
    assert _told(home) == [("handed_in", "ana"), ("handed_in", "ben")]
    assert [deed["at"] for deed in read_deeds(home)] == [NOW.isoformat()] * 2


def test_a_full_disk_keeps_no_hand_in_from_being_saved(home, monkeypatch):
    with monkeypatch.context() as full:
        full.setattr(deeds.os, "write", lambda number, content: _no_space())
        assert save_entry(home, {"odometer": [READING]}, now=NOW, asker=ANA) == 1
    assert save_entry(home, {"odometer": [READING]}, now=NOW, asker=BEN) == 2
    assert _told(home) == [("handed_in", "ana"), ("handed_in", "ben")]
    assert broken_links(home) == []


def _no_space() -> int:
    raise OSError(28, "No space left on device")


def test_no_setting_changes_that_nobody_stands_for(home, monkeypatch):
    keep_settings(home, {"test_hours": 0.9}, asker=BEN)
    before = home.settings.read_bytes()
    with monkeypatch.context() as full:
        full.setattr(deeds.os, "write", lambda number, content: _no_space())
        with pytest.raises(OSError, match="No space"):
            keep_settings(home, {"test_hours": 0.8}, asker=BEN)
    assert home.settings.read_bytes() == before
    home.settings.write_bytes(before.replace(b"0.9", b"0.7"))  # in an editor
    make_up(home)
    last = read_deeds(home)[-1]
    assert (last["deed"], last["who"]) == ("settings_changed", "")
    assert last["said"] == {"how": "settings.toml was found changed"}


def test_a_version_is_told_of_once_and_made_up_later(home):
    versions = [Version(n, f"2026-06-0{n}T00:00:00+00:00", "2026-06-01", "s", 1) for n in (2, 1)]
    make_up(home, versions[1:])
    make_up(home, versions)
    make_up(home, versions)
    assert [deed["said"]["version"] for deed in read_deeds(home)] == [1, 2]
    assert _told(home)[0] == ("advised", "the builder")


@pytest.mark.parametrize("kept", [1, 20, -2, -1])
def test_a_line_cut_short_is_followed_by_one_that_says_so(home, kept):
    note(home, "one", {}, ANA)
    note(home, "two", {}, ANA)
    whole = _file(home).read_bytes()
    first = whole.index(b"\n") + 1
    cut = whole[: first + kept] if kept > 0 else whole[:kept]
    _file(home).write_bytes(cut)
    note(home, "three", {}, BEN)
    assert broken_links(home) == []
    assert _file(home).read_bytes().startswith(cut)  # only ever added to
    assert _told(home)[-1] == ("three", "ben")


def test_a_changed_dropped_or_slipped_in_line_is_seen(home):
    for name in ("one", "two", "three", "four"):
        note(home, name, {}, ANA)
    lines = _file(home).read_bytes().splitlines(keepends=True)

    def seen(*changed: bytes) -> str:
        _file(home).write_bytes(b"".join(changed))
        return " ".join(broken_links(home))

    assert seen(*lines) == ""
    assert "line 3" in seen(lines[0], lines[1].replace(b"ana", b"ben"), *lines[2:])
    assert "deed 3 stands behind deed 1" in seen(lines[0], *lines[2:])
    assert "line 4" in seen(*lines[1:], lines[0])
    assert "line 3" in seen(*lines[:2], *lines[1:])
    assert "line 2: the line cannot be read" in seen(lines[0], b"{}\n", *lines[2:])


def test_a_hand_in_changed_behind_the_record_is_seen(home):
    save_entry(home, {"odometer": [READING]}, now=NOW, asker=ANA)
    card = home.handed_in / "000001" / "hand_in.json"
    card.write_text(card.read_text().replace("ana", "ben"))
    assert "not as it was when hand-in 1 came" in broken_links(home)[0]
    card.unlink()
    assert "is gone" in broken_links(home)[0]


def test_a_damaged_card_holds_up_no_deed_before_it(home):
    save_entry(home, {"odometer": [READING]}, now=NOW, asker=ANA)
    save_entry(home, {"odometer": [READING]}, now=NOW, asker=ANA)
    (home.deeds / "000001.jsonl").unlink()
    card = home.handed_in / "000002" / "hand_in.json"
    whole = card.read_bytes()
    card.write_bytes(b"{")
    with pytest.raises(HomeError, match="damaged"):
        make_up(home)
    assert len(read_deeds(home)) == 1
    card.write_bytes(whole)
    make_up(home)
    assert len(read_deeds(home)) == 2
    assert broken_links(home) == []


def test_files_do_not_grow_without_end_and_stay_one_chain(home, monkeypatch):
    monkeypatch.setattr(deeds, "FULL_BYTES", 900)
    for number in range(12):
        note(home, f"deed {number}", {}, ANA)
    assert len(deeds.record_files(home)) > 2
    assert [deed["deed"] for deed in read_deeds(home)] == [f"deed {n}" for n in range(12)]
    assert broken_links(home) == []


def test_a_long_line_is_written_behind(home):
    note(home, "long", {"text": "x" * 200_000}, ANA)
    note(home, "short", {}, ANA)
    assert broken_links(home) == []


def _note_many(root: str, name: str) -> None:
    for _ in range(15):
        note(Home(Path(root)), "deed", {}, Asker(name, OWNER))


def test_processes_at_once_write_one_chain(home):
    context = multiprocessing.get_context("fork" if os.name != "nt" else "spawn")
    at_work = [context.Process(target=_note_many, args=(str(home.root), n)) for n in "ab"]
    for process in at_work:
        process.start()
    for process in at_work:
        process.join()
    assert sorted(who for _, who in _told(home)) == ["a"] * 15 + ["b"] * 15
    assert broken_links(home) == []
