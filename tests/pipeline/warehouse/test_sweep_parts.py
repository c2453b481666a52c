"""Samples at rest: by shop and month, written anew only where something changed."""

import os
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pandas as pd
import pytest
from pyarrow import dataset

from pipeline.home import Home
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.keeping.check_home import check_home
from pipeline.kept_sweeps.packed import unpacked
from pipeline.kept_sweeps.places import (
    READ_AGAIN_DAYS,
    amiss,
    aside,
    current,
    is_due,
    packed_of,
    read_card,
    sweep_of,
)
from pipeline.statements import connect
from pipeline.warehouse import build as build_module
from pipeline.warehouse import sweep_parts
from pipeline.warehouse.publish import newest
from pipeline.warehouse.sweeps_at_rest import settle_files
from tests.bench.kill_bench import NUMBERS_ONLY
from tests.pipeline.damage_done import flip_a_byte, one, published_again
from tests.pipeline.shop_files import SHOP, hand_in, sweep_csv

HEAD = SHOP["test_sessions"].splitlines()[0] + "\n"
SWEPT = SHOP | {"sweeps": sweep_csv("T1", "T2")}


@pytest.fixture(autouse=True)
def only_what_is_kept(monkeypatch):
    """What is worked out of the records is of no matter here."""
    for name, given in NUMBERS_ONLY.items():
        monkeypatch.setattr(build_module, name, lambda *of, given=given, **how: given)


@pytest.fixture
def home(tmp_path) -> Home:
    return Home(tmp_path / "home").prepare(as_of=date(2026, 6, 1))


def _placed(home: Home) -> dict[str, str]:
    connection = connect(newest(home).path, read_only=True)
    found = connection.execute("select session_id, samples_name from marts.sweep_parts").fetchall()
    connection.close()
    return dict(found)


def _samples(home: Home, places: list[tuple[str, str]]) -> int:
    _, _, columns = unpacked(packed_of(home, places))
    return len(columns["t_s"])


def _files(home: Home) -> dict[str, Path]:
    found = sorted(home.sweeps_by_shop.rglob("*.parquet"))
    return {path.relative_to(home.sweeps_by_shop).as_posix(): path for path in found}


def _months(home: Home) -> list[str]:
    return [name.rpartition("/")[0] for name in _files(home)]


def _identities(home: Home) -> dict[str, tuple[int, int]]:
    return {
        name: (path.stat().st_ino, path.stat().st_mtime_ns) for name, path in _files(home).items()
    }


def _counts(home: Home) -> dict[str, int]:
    """Samples by session, as whoever reads the folder finds them."""
    pattern = f"{home.sweeps_by_shop}/*/*/*.parquet"
    found = duckdb.execute(
        "select session_id, count(*) from read_parquet(?) group by all", [pattern]
    )
    return dict(found.fetchall())


def _test(session: str, day: str, *, sensor: str = "S1", shop: str = "s1", km: int = 26000) -> str:
    return f"{session},{sensor},{shop},{day}T09:00:00+00:00,{km},routine,5.01,volt,pass\n"


def test_samples_lie_by_shop_and_month_and_no_file_of_a_hand_in_is_left(home, tmp_path):
    hand_in(home, tmp_path / "a", SWEPT)
    assert _months(home) == ["shop_id=s1/month=2023-01", "shop_id=s1/month=2024-01"]
    assert _counts(home) == {"T1": 1600, "T2": 1600}
    assert list(home.sweeps.iterdir()) == list(home.sweeps_aside.iterdir()) == []
    assert len(list(home.sweep_cards.iterdir())) == 2
    assert check_home(home) == []


def test_any_arrow_tool_finds_shop_and_month_in_the_names(home, tmp_path):
    files = {name: text.replace("s1", "007.S") for name, text in SWEPT.items()}
    hand_in(home, tmp_path / "a", files)
    table = dataset.dataset(home.sweeps_by_shop, partitioning="hive").to_table()
    assert set(table["shop_id"].to_pylist()) == {"007.S"}
    assert set(table["month"].to_pylist()) == {"2023-01", "2024-01"}
    found = duckdb.execute(
        "select distinct shop_id, month from read_parquet(?, hive_partitioning = true) order by all",
        [f"{home.sweeps_by_shop}/**/*.parquet"],
    ).fetchall()
    assert found == [("007.S", "2023-01"), ("007.S", "2024-01")]


def test_a_day_s_sweeps_write_their_own_month_alone(home, tmp_path):
    hand_in(home, tmp_path / "a", SWEPT)
    before = _identities(home)
    more = HEAD + _test("T4", "2024-01-30")
    hand_in(home, tmp_path / "b", {"test_sessions": more, "sweeps": sweep_csv("T4", rate_hz=50)})
    after = _identities(home)
    assert _months(home) == ["shop_id=s1/month=2023-01", "shop_id=s1/month=2024-01"]
    assert len(before.items() & after.items()) == 1
    assert _counts(home) == {"T1": 1600, "T2": 1600, "T4": 800}
    (old,) = before.keys() - after.keys()
    assert (home.root / aside(old)).exists()  # the version before still holds it
    rebuild(home)
    assert _identities(home) == after


def test_a_version_s_files_go_with_the_last_version_that_holds_them(home, tmp_path):
    hand_in(home, tmp_path / "a", SWEPT)
    old = _placed(home)["T2"]
    corrected = SHOP["test_sessions"].replace("2024-01-10", "2024-02-10").splitlines()
    hand_in(home, tmp_path / "b", {"test_sessions": "\n".join([corrected[0], corrected[2]]) + "\n"})
    assert _placed(home)["T2"].startswith("shop_id=s1/month=2024-02/")
    assert not (home.root / current(old)).exists()
    assert _samples(home, [(old, "T2")]) == 1600
    for _ in range(3):
        published_again(home)
        settle_files(home)
    with pytest.raises(FileNotFoundError):
        packed_of(home, [(old, "T2")])
    assert list(home.sweeps_aside.iterdir()) == []
    assert check_home(home) == []


def test_a_test_of_no_named_shop_goes_with_the_bike_s(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    more = HEAD + _test("T4", "2024-05-30", shop="")
    hand_in(home, tmp_path / "b", {"test_sessions": more, "sweeps": sweep_csv("T4")})
    assert _months(home) == ["shop_id=s1/month=2024-05"]


def test_a_sweep_that_waited_is_read_again_once_its_test_is_there(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP | {"sweeps": sweep_csv("T1", "T9")})
    assert _counts(home) == {"T1": 1600}
    assert list(home.sweeps.iterdir()) == []
    hand_in(home, tmp_path / "b", {"test_sessions": HEAD + _test("T9", "2024-06-30")})
    assert _counts(home) == {"T1": 1600, "T9": 1600}
    assert check_home(home) == []


def test_a_replaced_sweep_is_there_once_as_it_stands(home, tmp_path):
    hand_in(home, tmp_path / "a", SWEPT)
    hand_in(home, tmp_path / "b", {"sweeps": sweep_csv("T2", rate_hz=50)})
    assert _counts(home) == {"T1": 1600, "T2": 800}


def test_a_month_too_large_for_one_file_grows_at_its_end(home, tmp_path, monkeypatch):
    monkeypatch.setattr(sweep_parts, "MOST_SAMPLES", 3000)
    tests = HEAD + "".join(_test(f"L{n}", f"2024-03-{n:02}", km=26000 + n) for n in range(1, 6))
    hand_in(home, tmp_path / "a", SHOP | {"test_sessions": tests, "sweeps": sweep_csv(*_l(5))})
    before = _identities(home)
    assert len(before) == 3
    more = {"test_sessions": HEAD + _test("L6", "2024-03-06", km=26006), "sweeps": sweep_csv("L6")}
    hand_in(home, tmp_path / "b", more)
    assert len(before.items() & _identities(home).items()) == 2
    assert _counts(home) == dict.fromkeys(_l(6), 1600)


def _l(count: int) -> list[str]:
    return [f"L{number}" for number in range(1, count + 1)]


HARMS = {
    "file": lambda home: flip_a_byte(one(home.sweeps_by_shop, "**/*.parquet")),
    "file gone": lambda home: one(home.sweeps_by_shop, "**/*.parquet").unlink(),
    "card": lambda home: one(home.sweep_cards, "*.json").write_text("{"),
    "card gone": lambda home: one(home.sweep_cards, "*.json").unlink(),
}


@pytest.mark.parametrize("harm", HARMS.values(), ids=list(HARMS))
def test_a_file_come_to_harm_is_told_of_and_made_anew(home, tmp_path, harm):
    hand_in(home, tmp_path / "a", SHOP | {"sweeps": sweep_csv("T1")})
    harm(home)
    (found,) = check_home(home)
    assert found.where.startswith("sweeps_by_shop/shop_id=s1/month=2023-01/part-")
    assert not found.needs_copy
    rebuild(home)
    assert check_home(home) == []
    assert _counts(home) == {"T1": 1600}


def test_a_file_that_nobody_changed_is_read_whole_when_it_is_its_turn(home, tmp_path, monkeypatch):
    hand_in(home, tmp_path / "a", SHOP | {"sweeps": sweep_csv("T1")})
    path = one(home.sweeps_by_shop, "**/*.parquet")
    _rot(path)
    whole = read_card(one(home.sweep_cards, "*.json"))
    monkeypatch.setattr(sweep_parts, "is_due", lambda name, today: False)
    rebuild(home)
    assert amiss(home, whole, thoroughly=True) == "is damaged"
    assert [found.where for found in check_home(home)] == [f"sweeps_by_shop/{whole.name}"]
    monkeypatch.setattr(sweep_parts, "is_due", lambda name, today: True)
    rebuild(home)
    assert check_home(home) == []
    assert _counts(home) == {"T1": 1600}


def test_no_sweep_is_taken_from_a_file_that_was_not_read_whole(home, tmp_path, monkeypatch):
    hand_in(home, tmp_path / "a", SHOP | {"sweeps": sweep_csv("T1")})
    before = sweep_of(home, _placed(home)["T1"], "T1")
    _rot(one(home.sweeps_by_shop, "**/*.parquet"))
    monkeypatch.setattr(sweep_parts, "is_due", lambda name, today: False)
    more = {"test_sessions": HEAD + _test("T9", "2023-01-20", km=9200), "sweeps": sweep_csv("T9")}
    hand_in(home, tmp_path / "b", more)
    placed = _placed(home)["T1"]
    assert f"sweeps_by_shop/{placed}" not in {found.where for found in check_home(home)}
    pd.testing.assert_frame_equal(sweep_of(home, placed, "T1"), before)
    assert _counts(home) == {"T1": 1600, "T9": 1600}


@pytest.mark.parametrize("first", [date(2026, 1, 1), date(2027, 6, 30)])
@pytest.mark.parametrize("name", ["shop_id=s1/month=2023-01/part-1.parquet", "", "é"])
def test_each_file_is_read_once_in_so_many_days(name, first):
    days = [first + timedelta(days=k) for k in range(READ_AGAIN_DAYS)]
    assert sum(is_due(name, day) for day in days) == 1


def _rot(path: Path) -> None:
    """Change a byte as a disk does by itself: nobody wrote it, so no time of change tells."""
    before = path.stat()
    flip_a_byte(path)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def test_samples_that_are_gone_with_what_they_came_in_set_their_file_aside_by_name(home, tmp_path):
    hand_in(home, tmp_path / "a", SWEPT)
    came = next(home.handed_in.rglob("0006.csv"))
    assert came.read_text().startswith("session_id,t_s")
    flip_a_byte(came)
    rebuild(home)
    assert _counts(home) == {"T1": 1600, "T2": 1600}  # read before, and whole
    flip_a_byte(home.root / current(_placed(home)["T1"]))
    said = []
    rebuild(home, say=said.append)
    assert any("Samples of sweeps.csv (hand-in 1) are gone" in text for text in said)
    assert _placed(home) == {}
    assert "sweeps.csv" in home.set_aside.read_text()


def test_files_a_killed_build_left_are_used_by_the_next_or_taken_away(home, tmp_path, monkeypatch):
    def killed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(build_module, "publish", killed)
        with pytest.raises(KeyboardInterrupt):
            hand_in(home, tmp_path / "a", SWEPT)
    assert len(list(home.sweeps.iterdir())) == 1
    half = sorted(home.sweeps_aside.iterdir())
    assert len(half) == 2
    written = {path.name: path.stat().st_mtime_ns for path in half}
    rebuild(home)
    assert {path.name: path.stat().st_mtime_ns for _, path in _files(home).items()} == written
    assert list(home.sweeps.iterdir()) == list(home.sweeps_aside.iterdir()) == []


def test_a_build_killed_right_after_publishing_is_readable_and_made_up_for(
    home, tmp_path, monkeypatch
):
    with monkeypatch.context() as patched:
        patched.setattr(build_module, "settle_files", lambda home: None)
        hand_in(home, tmp_path / "a", SWEPT)
    places = [(name, session_id) for session_id, name in _placed(home).items()]
    assert _samples(home, places) == 3200
    assert not _files(home)
    settle_files(home)
    assert _samples(home, places) == 3200
    assert check_home(home) == []
