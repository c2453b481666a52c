"""Answers to advice: what they must say, when they end, and how they are counted."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from pipeline.access.answers import with_pending_answers
from pipeline.access.views import trust_view
from pipeline.access.worklist_view import WorklistAsked, worklist_found
from pipeline.home import Home
from pipeline.intake.receive import last_hand_in, receive
from pipeline.intake.settle import read_all, settle
from pipeline.intake.typed.advice_answers import Answer, save_answers
from pipeline.intake.typed.entries import EntryError, save_entry
from pipeline.statements import connect
from pipeline.warehouse.build import build
from pipeline.warehouse.publish import newest
from tests.askers import HERE
from tests.pipeline.shop_files import SHOP, hand_in, write_files

DAY = date(2026, 6, 1)
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
HEAD = "sensor_id,answered_at,answer,advised_action,until,reason,answered_by\n"


def settled(home: Home):
    connection = connect()
    settle(connection, home, read_all(connection, home))
    return connection


def taken(home: Home, folder, answers: str, **more: str):
    files = SHOP | {"advice_answers": HEAD + answers} | more
    receive(home, [write_files(folder, files)], NOW)
    return settled(home)


def aside(connection) -> list[tuple]:
    return connection.execute(
        "select row_key, column_name, reason from intake.set_aside where table_name = "
        "'advice_answers' order by all"
    ).fetchall()


@pytest.mark.parametrize(
    ("answer", "column", "words"),
    [
        ("put_off,test,2026-07-01,,", "reason", "blank; expected a reason"),
        ("overrule,test,,,", "reason", "the advice is overruled"),
        ("put_off,test,,busy,", "until", "blank; expected the date"),
        ("put_off,test,2026-05-20,busy,", "until", "not after the day of the answer, 2026-05-20"),
    ],
)
def test_an_answer_without_its_ground_is_set_aside_and_the_good_one_beside_it_lands(
    home, tmp_path, answer, column, words
):
    good = "S2,2026-05-20T09:00:00+00:00,accept,test,,,\n"
    found = taken(home, tmp_path / "a", f"S1,2026-05-20T09:00:00+00:00,{answer}\n{good}")
    ((key, named, reason),) = aside(found)
    assert (key, named) == ("S1/2026-05-20T09:00:00+00:00", column)
    assert words in reason
    standing = "select row_key from intake.standing where table_name = 'advice_answers'"
    assert found.execute(standing).fetchall() == [("S2/2026-05-20T09:00:00+00:00",)]


def test_a_date_on_an_answer_that_puts_nothing_off_is_blanked_and_listed(home, tmp_path):
    found = taken(home, tmp_path / "a", "S1,2026-05-20T09:00:00Z,accept,test,2026-07-01,,\n")
    assert [row[1] for row in aside(found)] == ["until"]
    cells = "select cells from intake.standing where table_name = 'advice_answers'"
    assert "until" not in found.execute(cells).fetchone()[0]


def test_an_answer_waits_for_its_sensor_and_can_be_withdrawn(home, tmp_path):
    found = taken(home, tmp_path / "a", "S9,2026-05-20T09:00:00Z,accept,test,,,\n")
    assert aside(found) == [
        ("S9/2026-05-20T09:00:00Z", "sensor_id", "waiting for sensors S9"),
    ]
    more = "S9,B2,grip_a,P1,unknown,,\n"
    receive(home, [write_files(tmp_path / "b", {"sensors": SHOP["sensors"] + more})], NOW)
    assert aside(settled(home)) == []
    back = "table,key,reason\nadvice_answers,S9/2026-05-20T09:00:00Z,slip of the pen\n"
    receive(home, [write_files(tmp_path / "c", {"retract": back})], NOW)
    standing = "select count(*) from intake.standing where table_name = 'advice_answers'"
    assert settled(home).execute(standing).fetchone() == (0,)


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """One build in which answers stand or were ended, each by another cause."""
    folder = tmp_path_factory.mktemp("answered")
    home = Home(folder / "home").prepare(as_of=DAY)
    sensors = SHOP["sensors"] + "".join(
        f"S{n},B2,{mount},P1,unknown,,\n"
        for n, mount in enumerate(("throttle_left", "throttle_right", "grip_a", "grip_b"), 3)
    )
    tests = SHOP["test_sessions"] + "T9,S3,s1,2026-05-21T09:00:00Z,20800,routine,5.00,,pass\n"
    repairs = SHOP["repair_outcomes"] + "R9,S4,,2026-05-20,20800,sensor_cleaned,no,opened,no\n"
    answers = (
        HEAD + "S1,2026-05-10T09:00:00Z,accept,replace,,,\n"
        "S1,2026-05-20T09:00:00Z,put_off,replace,2026-07-01,part not here yet,Ada\n"
        "S2,2026-05-20T09:00:00Z,overrule,leave,,it goes well,\n"
        "S3,2026-05-20T09:00:00Z,overrule,replace,,noise of the lead,\n"
        "S4,2026-05-20T09:00:00Z,accept,replace,,,\n"
        "S5,2026-05-20T09:00:00Z,put_off,replace,2026-06-01,no time,\n"
        "S6,2026-05-20T09:00:00Z,put_off,replace,2026-06-02,no time,\n"
    )
    files = {
        "sensors": sensors,
        "test_sessions": tests,
        "repair_outcomes": repairs,
        "advice_answers": answers,
    }
    hand_in(home, folder / "a", SHOP | files)
    return home


def test_an_answer_ends_by_a_later_one_its_date_a_test_or_a_repair(answered):
    connection = connect(newest(answered).path, read_only=True)
    ended = connection.execute(
        "select sensor_id, answer, ended_by, ended_on::varchar from marts.advice_answers "
        "where sensor_id <> 'S2' order by all"
    ).fetchall()
    connection.close()
    assert ended == [
        ("S1", "accept", "later_answer", "2026-05-20"),
        ("S1", "put_off", None, None),
        ("S3", "overrule", "test", "2026-05-21"),
        # of the same day, and handed in after the answer
        ("S4", "accept", "repair", "2026-05-20"),
        ("S5", "put_off", "date_passed", "2026-06-01"),
        ("S6", "put_off", None, None),
    ]


def test_an_answer_ends_where_the_advice_is_worse_than_the_one_answered(answered):
    rows = worklist_found(answered, HERE, WorklistAsked()).set_index("sensor_id")
    assert rows.loc["S2", "action"] != "leave"
    connection = connect(newest(answered).path, read_only=True)
    found = "select ended_by from marts.advice_answers where sensor_id = 'S2'"
    assert connection.execute(found).fetchall() == [("worse_advice",)]
    connection.close()
    assert rows["answer"].isna()["S2"]


def test_the_worklist_shows_the_answer_that_stands_and_keeps_its_advice(answered):
    rows = worklist_found(answered, HERE, WorklistAsked()).set_index("sensor_id")
    row = rows.loc["S1"]
    assert (row["answer"], row["answer_reason"], row["answered_by"]) == (
        "put_off",
        "part not here yet",
        "Ada",
    )
    assert row["answer_until"].date() == date(2026, 7, 1)
    assert row["answer_to"] == "replace"
    assert not row["answer_pending"]
    assert set(rows.index[rows["answer"].notna()]) == {"S1", "S6"}
    above = rows["defect_now"].ge(0.10)
    assert rows["above_floor"].fillna(False).equals(above.astype("boolean"))
    assert "leave" not in set(rows.loc[above, "action"])


def test_an_answer_of_the_screen_needs_its_ground_before_anything_is_saved(home):
    for answer, column in (
        (Answer("overrule", reason="  "), "reason"),
        (Answer("put_off", reason="busy"), "until"),
        (Answer("put_off", until=NOW.date(), reason="busy"), "until"),
        (Answer("ignore", reason="x"), "answer"),
    ):
        with pytest.raises(EntryError) as refused:
            save_answers(home, [("S1", "test")], answer, now=NOW)
        assert [trouble.column for trouble in refused.value.troubles] == [column]
    with pytest.raises(EntryError, match="none is chosen"):
        save_answers(home, [], Answer("accept"), now=NOW)
    assert last_hand_in(home) == 0


def test_a_typed_answer_shows_at_once_the_later_one_on_top(answered, tmp_path):
    rows = worklist_found(answered, HERE, WorklistAsked())
    home = Home(tmp_path / "typed").prepare()
    assert with_pending_answers(home, HERE, rows) is rows
    later = datetime(2026, 6, 1, 13, tzinfo=UTC)
    save_answers(home, [("S1", "replace"), ("S6", "replace")], Answer("accept"), now=NOW)
    save_answers(home, [("S6", "replace")], Answer("overrule", reason="a lead"), now=later)
    save_answers(
        home, [("S1", "leave")], Answer("overrule", reason="mild"), now=NOW.replace(hour=9)
    )
    shown = with_pending_answers(home, HERE, rows).set_index("sensor_id")
    assert shown.loc["S1", ["answer", "answer_pending"]].tolist() == ["accept", True]
    assert shown["answer_until"].isna()["S1"]
    assert shown.loc["S6", ["answer", "answer_reason"]].tolist() == ["overrule", "a lead"]
    assert shown["action"].tolist() == rows["action"].tolist()
    assert not shown.loc["S3", "answer_pending"]


def test_a_typed_answer_to_milder_advice_than_the_row_s_is_not_shown(answered, tmp_path):
    rows = worklist_found(answered, HERE, WorklistAsked())
    worst = rows[rows["action"].ne("leave")].iloc[0]["sensor_id"]
    home = Home(tmp_path / "typed").prepare()
    save_answers(home, [(worst, "leave")], Answer("accept"), now=NOW)
    shown = with_pending_answers(home, HERE, rows).set_index("sensor_id")
    assert not shown.loc[worst, "answer_pending"]


@pytest.mark.long
def test_answers_are_counted_beside_what_was_done_and_what_failed(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    for kept in (*home.advised.glob("*"), *home.published.glob("*.json")):
        kept.unlink()  # advice of the day the test is run on
    with home.one_builder():
        build(home, as_of=date(2025, 7, 10))
    rows = worklist_found(home, HERE, WorklistAsked()).set_index("sensor_id")["action"]
    given = datetime(2025, 7, 12, 9, tzinfo=UTC)
    answer = Answer("overrule", reason="it goes well")
    save_answers(home, [("S2", rows["S2"])], answer, now=given)
    failed = {
        "outcome_id": "R8",
        "sensor_id": "S2",
        "closed_on": "2025-09-01",
        "odometer_km": 22000,
        "action": "sensor_replaced",
        "fault_confirmed": "yes",
        "confirmed_by": "opened",
        "on_road": "yes",
    }
    save_entry(home, {"repair_outcomes": [failed]}, now=datetime(2025, 9, 2, tzinfo=UTC))
    with home.one_builder():
        build(home, as_of=date(2026, 1, 10))
    view = trust_view(home, HERE)
    by_answer = view.answered.set_index(["action", "answer"])
    counts = ["spell_count", "taken_off_count", "confirmed_count", "road_failure_count"]
    assert by_answer.loc[(rows["S2"], "overrule"), counts].tolist() == [1, 1, 1, 1]
    assert by_answer["spell_count"].sum() == view.followed["spell_count"].sum() == 2
    assert view.followed["overruled_count"].sum() == 1
