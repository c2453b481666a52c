"""The page to hand files in, on a shop with faults: before, after, corrected, empty."""

from __future__ import annotations

import pandas as pd
import pytest

from dashboard.parts import arriving_part, correct_part
from dashboard.parts.correct_part import OFF, WRONG, corrections, to_edit, wrong_words
from pipeline.access.set_aside_rows import SetAsideRow
from pipeline.home import DEMO, Home
from pipeline.intake.column_names import read_column_names
from pipeline.intake.hand_in_cards import card_of, hand_in_folders
from pipeline.intake.receive import handed_files, last_hand_in
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.start_own import start_own
from tests.askers import HERE
from tests.dashboard.page_app import page_at, words_of
from tests.pipeline.faulty_shop import faulty_copy, faulty_home
from tests.pipeline.intake.loggers.recorded import candump_text, sweep_volts, wav_bytes

__all__ = ["faulty_copy", "faulty_home"]

UNITS = b"Bike no;shop_id;model_code;Colour\nB7;s1;alder;red\n"


@pytest.fixture
def begun(monkeypatch):
    """Homes for which a build was begun; none runs."""
    homes: list[Home] = []
    monkeypatch.setattr(arriving_part, "take_up", homes.append)
    monkeypatch.setattr("dashboard.surround.take_up_if_due", lambda home: None)
    return homes


@pytest.fixture
def shop(faulty_copy, monkeypatch, begun) -> Home:
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(faulty_copy.root))
    return faulty_copy


def dropped(app, *files: tuple[str, bytes]):
    field = app.file_uploader[0]
    field.set_value([(name, content, "text/csv") for name, content in files])
    app.run()
    assert not app.exception
    return app


def test_what_may_be_handed_in_and_what_is_set_aside_are_listed(shop):
    text = words_of(page_at("hand_in"))
    assert "must have unit_id, read_on, odometer_km" in text
    assert "odometer.csv:4" in words_of(_table("odometer"))
    assert "on_hand is “1.5”: expected a whole number" in words_of(_table("stock"))
    assert "waiting for test_sessions T9" in text
    assert "2 odometer readings on record" in words_of(_kind("odometer"))


def _table(name: str):
    app = page_at("hand_in")
    return app.selectbox(key="correct_table").set_value(name).run()


def _kind(kind: str):
    app = page_at("hand_in")
    return app.radio(key="records_kind").set_value(kind).run()


def _field(app, kind: str, ending: str):
    (found,) = [one for one in getattr(app, kind) if one.key and one.key.endswith(ending)]
    return found


def test_a_recording_is_asked_about_read_as_a_sweep_and_kept_beside_it(shop, begun):
    log = candump_text(8.0).encode()
    app = dropped(page_at("hand_in"), ("ride.log", log))
    assert "CAN log (candump text)" in words_of(app)
    _field(app, "button", "_set").click().run()
    assert "Say which bench test it belongs to" in words_of(app)
    _field(app, "text_input", "_session").input("T1")
    _field(app, "button", "_set").click().run()
    text = words_of(app)
    assert "Recorded sweeps (sweeps): 156 rows, all can be read." in text
    assert "sweep_channel has to be percent" in text
    assert "drop-outs shorter than 125 ms could have been missed" in text
    app.button(key="hand_in_now").click().run()
    assert not app.exception
    card = card_of(max(hand_in_folders(shop)))
    assert [file["name"] for file in card["files"]] == ["sweeps-T1.parquet"]
    (kept,) = card["workbooks"]
    assert (max(hand_in_folders(shop)) / kept["stored"]).read_bytes() == log


@pytest.mark.long
def test_sound_that_loses_slow_levels_is_sent_to_the_bench(shop):
    sound = wav_bytes([sweep_volts(8_000)[1] / 6], 8_000)
    app = dropped(page_at("hand_in"), ("a.wav", sound))
    _field(app, "text_input", "_session").input("T1")
    _field(app, "number_input", "_full_scale_v").set_value(6.0)
    _field(app, "button_group", "_levels").set_value("lost")
    _field(app, "button", "_set").click().run()
    assert "At the bench it can be kept with its test, unjudged" in words_of(app)
    app.button(key="recording_again_a.wav").click().run()
    _field(app, "button_group", "_levels").set_value("kept")
    _field(app, "button", "_set").click().run()
    assert "all can be read" in words_of(app)


def test_a_table_of_one_sweep_that_names_no_test_is_asked_for_it(shop):
    content = b"clock;probe\n0,0;0,5\n0,1;0,6\n"
    app = dropped(page_at("hand_in"), ("sweeps-mine.csv", content))
    assert "no column session_id" in words_of(app)
    _field(app, "text_input", "_session").input("T1")
    _field(app, "button", "_set").click().run()
    assert "Recorded sweeps (sweeps): 2 rows, all can be read." in words_of(app)
    assert app.button(key="recording_again_sweeps-mine.csv")
    assert read_column_names(shop, HERE) == {"sweeps": {"clock": "t_s", "probe": "signal"}}


def test_files_are_looked_through_named_and_handed_in(shop, begun):
    app = dropped(page_at("hand_in"), ("units.csv", UNITS), ("photo.jpg", b"\xff"))
    text = words_of(app)
    assert "files that end in .jpg are not read here" in text
    assert "1 row, of which 0 can be read and 1 would be set aside" in text
    app.selectbox(key="name_units_Bike no").set_value("unit_id")
    app.button(key="names_set_units").click().run()
    assert read_column_names(shop, HERE) == {"units": {"Bike no": "unit_id", "Colour": ""}}
    text = words_of(app)
    assert "Read under other names: “Bike no” as unit_id." in text
    assert "1 row can come in." in text
    assert "Left out: photo.jpg." in text
    app.button(key="hand_in_now").click().run()
    assert "Hand-in 2 is kept." in words_of(app)
    assert begun == [shop]
    (file,) = handed_files(shop, after=1)
    assert (file.name, file.path.read_bytes()) == ("units.csv", UNITS)
    rebuild(shop)
    app.run()
    assert "1 row handed in: 1 accepted, 0 set aside." in words_of(app)


def test_one_of_our_columns_stands_for_one_of_theirs(shop):
    app = dropped(page_at("hand_in"), ("units.csv", UNITS))
    for name in ("Bike no", "Colour"):
        app.selectbox(key=f"name_units_{name}").set_value("unit_id")
    app.button(key="names_set_units").click().run()
    assert "More than one column is to stand for unit_id" in words_of(app)
    assert read_column_names(shop, HERE) == {}


def test_a_file_of_no_table_is_asked_about(shop):
    app = dropped(page_at("hand_in"), ("bikes.csv", b"unit_id,shop_id,model_code\nB7,s1,alder\n"))
    assert "Say below what its rows are." in words_of(app)
    assert "None of these can be handed in as it is." in words_of(app)
    app.selectbox(key="table_of_bikes.csv").set_value("units")
    app.button(key="hand_in_tables_set").click().run()
    assert "Bikes (units): 1 row, all can be read." in words_of(app)
    app.button(key="hand_in_now").click().run()
    assert [file.name for file in handed_files(shop, after=1)] == ["units-bikes.csv"]


def test_two_files_of_one_name_are_both_taken(shop):
    stock = b"shop_id,part_no,counted_on,on_hand\ns1,P1,2026-02-0%d,3\n"
    app = dropped(page_at("hand_in"), ("stock.csv", stock % 1), ("stock.csv", stock % 2))
    app.button(key="hand_in_now").click().run()
    names = [file.name for file in handed_files(shop, after=1)]
    assert names == ["stock.csv", "stock (2).csv"]


def test_a_damaged_list_of_names_is_said(shop):
    shop.column_names.write_text("{")
    app = page_at("hand_in")
    assert "column_names.json is damaged" in words_of(app)


def test_remembered_names_can_be_changed_and_forgotten(shop):
    shop.column_names.write_text('{"units": {"Bike no": "unit_id"}}')
    app = page_at("hand_in")
    app.session_state["names_fold"] = True
    app.run()
    app.selectbox(key="names_new_units_Bike no").set_value("label")
    app.button(key="names_change_set").click().run()
    assert read_column_names(shop, HERE) == {"units": {"Bike no": "label"}}
    app.selectbox(key="names_new_units_Bike no").set_value("ask again")
    app.button(key="names_change_set").click().run()
    assert read_column_names(shop, HERE) == {}


def test_corrected_rows_are_handed_in_again(shop, begun, monkeypatch):
    _edits(monkeypatch, on_hand="2")
    app = _table("stock")
    app.button(key="correct_save").click().run()
    text = words_of(app)
    assert "1 row of stock counts handed in again." in text
    assert last_hand_in(shop) == 2
    assert begun == [shop]
    assert "stock" not in app.selectbox(key="correct_table").options[0]


def test_a_correction_that_cannot_stand_is_named_and_not_saved(shop, begun, monkeypatch):
    _edits(monkeypatch, on_hand="some")
    app = _table("stock")
    app.button(key="correct_save").click().run()
    assert "Row 1: On hand: “some”, expected a whole number" in words_of(app)
    assert "Nothing was saved." in words_of(app)
    assert (last_hand_in(shop), begun) == (1, [])


def test_unchanged_rows_are_not_handed_in(shop):
    app = _table("stock")
    app.button(key="correct_save").click().run()
    assert "No row was changed or taken off." in words_of(app)
    assert last_hand_in(shop) == 1


def _edits(monkeypatch, **cells: str) -> None:
    """Stand in for the hands that type into the table."""
    monkeypatch.setattr(
        correct_part, "_editor", lambda rows, kept, key: to_edit(rows, kept).assign(**cells)
    )


ROW = SetAsideRow(
    "stock",
    "s1/P1/x",
    "stock.csv:2",
    {"shop_id": "s1", "part_no": "P1", "on_hand": "1.5"},
    "counted_on: blank; a value is required | on_hand: expected a whole number",
)


def test_the_columns_that_are_wrong_come_first_with_the_reason_beside():
    frame = to_edit([ROW], {})
    assert list(frame.columns) == [
        "Row", "counted_on", "on_hand", WRONG, OFF, "shop_id", "part_no", "on_order",
        "order_due_on",
    ]  # fmt: skip
    assert wrong_words(ROW) == (
        "counted_on: blank; a value is required; on_hand is “1.5”: expected a whole number"
    )


def test_only_what_was_changed_or_taken_off_is_a_correction():
    frame = to_edit([ROW, ROW, ROW], {})
    frame.loc[1, "on_hand"] = " 2 "
    frame.loc[2, OFF] = True
    frame.loc[0, "on_order"] = None
    found = corrections([ROW] * 3, frame)
    assert [number for number, _ in found] == [2, 3]
    assert found[0][1].cells["on_hand"] == "2"
    assert found[1][1].cells is None


def test_what_was_typed_and_could_not_stand_is_kept():
    frame = to_edit([ROW], {ROW.place: {"on_hand": "some"}})
    assert frame["on_hand"].tolist() == ["some"]
    assert isinstance(frame, pd.DataFrame)


def test_an_empty_home_has_nothing_set_aside_and_no_records(tmp_path, monkeypatch, begun):
    home = Home(tmp_path / "own")
    start_own(home)
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(home.root))
    text = words_of(page_at("hand_in"))
    assert "Nothing is set aside" in text
    assert "No test, repair or odometer reading is on record yet." in text
    assert "Nothing was handed in yet." in text


def test_in_the_demo_it_is_said_that_files_go_into_the_demo(shop):
    card = shop.root / "home.json"
    card.write_text(card.read_text().replace('"own"', f'"{DEMO}"'))
    assert "goes into the demo" in words_of(page_at("hand_in"))


def test_more_than_a_page_may_take_is_refused_with_the_way_beyond(shop, monkeypatch):
    monkeypatch.setattr("dashboard.upload_limits.file_limit_mb", lambda: 1)
    rows = b"unit_id,shop_id,model_code\n" + b"B7,s1,alder\n" * 100_000
    app = dropped(page_at("hand_in"), ("units.csv", rows))
    text = words_of(app)
    assert "units.csv has 1.1 MB; expected at most 1 MB" in text
    assert "python3 -m pipeline ingest FILE" in text
    assert not [button for button in app.button if button.key == "hand_in_now"]


def test_so_is_too_much_at_once(shop, monkeypatch):
    monkeypatch.setattr("dashboard.upload_limits.file_limit_mb", lambda: 1)
    files = [(f"units-{n}.csv", UNITS * 18_000) for n in range(3)]
    assert "Together the files have" in words_of(dropped(page_at("hand_in"), *files))
