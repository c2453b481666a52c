"""Runs remembered from build to build are those of all that was ever advised."""

import os
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from pipeline.statements import connect
from pipeline.warehouse import advised
from pipeline.warehouse.advised_runs import KnownRuns, can_go_on, find_runs, remembered_runs

FIRST = date(2026, 1, 1)


def advise(folder, version, day, actions):
    """A file of what one version advised: ``actions`` by sensor."""
    rows = pd.DataFrame(
        {
            "version": version,
            "as_of": day,
            "sensor_id": list(actions),
            "action": list(actions.values()),
            "defect_now": None if version % 5 == 0 else 0.01 * version,
            "by_lot": None if version % 4 == 0 else version % 7 == 0,
        }
    )
    folder.mkdir(exist_ok=True)
    path = folder / f"{version:06d}.parquet"
    kinds = {"as_of": "date32[pyarrow]", "defect_now": "float64", "by_lot": "boolean"}
    rows.astype(kinds).to_parquet(path)
    return path


def runs(kept, files, day, *, read=None):
    """All runs up to a day; ``read`` takes the files that were read."""
    known = remembered_runs(kept, files)
    with connect() as connection:
        if not can_go_on(connection, known, files, day):
            known = KnownRuns()
        if read is not None:
            read[:] = [path.name for path in files if path not in known.files]
        find_runs(connection, kept, known, files, day)
        return connection.execute("from advised_runs order by sensor_id, first_on").df()


def by_hand(files, day):
    """The same, row after row."""
    given = pd.concat([pd.read_parquet(path) for path in files])
    given = given[given["as_of"] <= day].sort_values(["sensor_id", "as_of", "version"])
    given = given.drop_duplicates(["sensor_id", "as_of"], keep="last")
    found: list[dict] = []
    for row in given.to_dict("records"):
        last = found[-1] if found else {}
        if (last.get("sensor_id"), last.get("action")) == (row["sensor_id"], row["action"]):
            last["last_on"] = row["as_of"]
            last["by_lot"] = _either(last["by_lot"], row["by_lot"])
            if pd.isna(last["defect_at_first"]):  # the first chance that was known
                last["defect_at_first"] = row["defect_now"]
            continue
        own = {"sensor_id": row["sensor_id"], "action": row["action"], "first_on": row["as_of"]}
        own |= {"last_on": row["as_of"], "defect_at_first": row["defect_now"]}
        found.append(own | {"by_lot": row["by_lot"]})
    frame = pd.DataFrame(found, columns=KnownRuns().runs.columns)
    return frame.astype({"first_on": "datetime64[us]", "last_on": "datetime64[us]"})


def _either(one, other):
    """As SQL's ``bool_or``, which passes blanks over."""
    told = [flag for flag in (one, other) if not pd.isna(flag)]
    return any(told) if told else None


def same(found, expected):
    flags = (frame["by_lot"].astype("boolean").tolist() for frame in (found, expected))
    assert next(flags) == next(flags)
    pd.testing.assert_frame_equal(
        found.drop(columns="by_lot"), expected.drop(columns="by_lot"), check_dtype=False
    )


@pytest.mark.parametrize("seed", range(2))
def test_day_after_day_they_are_those_of_all_files(tmp_path, seed):
    """Sensors come and go, some days are built twice, and now and then the clock is set back."""
    rng = np.random.default_rng(seed)
    day, files, kept, read = FIRST, [], tmp_path / "kept", []
    for version in range(1, 26):
        day += timedelta(
            days=int(rng.choice([-3, 0, 1, 1, 1, 2], p=[0.05, 0.15, 0.2, 0.2, 0.2, 0.2]))
        )
        if files:
            same(runs(kept, files, day, read=read), by_hand(files, day))
        sensors = [f"s{k}" for k in range(6) if rng.random() < 0.8] or ["s0"]
        actions = {sensor: str(rng.choice(["leave", "leave", "test"])) for sensor in sensors}
        files.append(advise(tmp_path / "advised", version, day, actions))


def test_only_the_last_day_s_files_are_read_again(tmp_path):
    files, read = [], []
    for k in range(10):
        files.append(advise(tmp_path / "advised", k + 1, FIRST + timedelta(days=k), {"s": "test"}))
        runs(tmp_path / "kept", files, FIRST + timedelta(days=k + 1), read=read)
    assert read == [path.name for path in files[-2:]]
    runs(tmp_path / "kept", files, FIRST + timedelta(days=10), read=read)
    assert read == [files[-1].name]


@pytest.mark.parametrize("harm", ["changed", "gone", "card"])
def test_where_something_is_not_as_it_was_all_are_read(tmp_path, harm):
    days = [FIRST + timedelta(days=k) for k in range(5)]
    folder, kept, read = tmp_path / "advised", tmp_path / "kept", []
    files = [advise(folder, k + 1, day, {"s": "test"}) for k, day in enumerate(days)]
    runs(kept, files, days[-1])
    assert len(remembered_runs(kept, files).files) == 4
    if harm == "changed":
        advise(folder, 2, days[1], {"s": "leave", "other": "test"})
    elif harm == "gone":
        files.pop(1).unlink()
    else:
        (kept / "advised_runs_runs.parquet").write_bytes(b"cut")
    found = runs(kept, files, days[-1], read=read)
    assert read == [path.name for path in files]
    same(found, by_hand(files, days[-1]))


def test_advice_of_days_to_come_is_passed_over_until_they_come(tmp_path):
    days = [FIRST, FIRST + timedelta(days=1), FIRST + timedelta(days=9)]
    folder, kept = tmp_path / "advised", tmp_path / "kept"
    files = [advise(folder, k + 1, day, {"s": "test"}) for k, day in enumerate(days)]
    for day in (days[1], days[1] + timedelta(days=1), days[2]):
        same(runs(kept, files, day), by_hand(files, day))


def test_with_nothing_advised_there_are_none(tmp_path):
    assert runs(tmp_path / "kept", [], FIRST).empty
    with connect() as connection:
        find_runs(connection, tmp_path / "kept", KnownRuns(), [], FIRST)
        kinds = connection.execute("describe advised_runs").df().set_index("column_name")
    assert kinds.loc["first_on", "column_type"] == "DATE"
    assert kinds.loc["by_lot", "column_type"] == "BOOLEAN"


@pytest.fixture
def rotten(home, monkeypatch):
    """Advice of five days, of whose second the disk gives back other bytes unasked."""
    monkeypatch.setattr(advised, "run", lambda *_: None)  # what came of it is not asked here
    days = [FIRST + timedelta(days=k) for k in range(5)]
    files = [advise(home.advised, k + 1, day, {f"s{k}": "test"}) for k, day in enumerate(days)]
    assert follow(home, days[-1]) == (["s0", "s1", "s2", "s3", "s4"], [])
    about = files[1].stat()
    files[1].write_bytes(b"x" * about.st_size)
    os.utime(files[1], ns=(about.st_atime_ns, about.st_mtime_ns))
    return home


def follow(home, day):
    """Whose advice is followed, and what could not be read."""
    with connect() as connection:
        told = advised.follow_advised(connection, home, day)
        found = connection.execute("from advised_runs order by sensor_id").df()["sensor_id"]
    return found.tolist(), [sentence.split(" advised")[0] for sentence in told]


def test_until_its_turn_what_a_file_said_when_it_was_whole_counts(rotten, monkeypatch):
    monkeypatch.setattr(advised, "is_due", lambda *_: False)
    assert follow(rotten, date(2026, 1, 5)) == (["s0", "s1", "s2", "s3", "s4"], [])


def test_in_its_turn_it_is_told_of_and_left_out(rotten, monkeypatch):
    monkeypatch.setattr(advised, "is_due", lambda *_: True)
    assert follow(rotten, date(2026, 1, 5)) == (["s0", "s2", "s3", "s4"], ["What version 2"])


def test_so_it_is_where_all_files_are_read_again(rotten, monkeypatch):
    monkeypatch.setattr(advised, "is_due", lambda *_: False)
    assert follow(rotten, date(2026, 1, 3)) == (["s0", "s2"], ["What version 2"])


def test_a_folder_that_cannot_be_written_is_done_without(tmp_path):
    files = [
        advise(tmp_path / "advised", k + 1, FIRST + timedelta(days=k), {"s": "test"})
        for k in range(3)
    ]
    (tmp_path / "kept").write_text("a file where a folder should be")
    same(runs(tmp_path / "kept", files, FIRST + timedelta(days=3)), by_hand(files, date.max))
