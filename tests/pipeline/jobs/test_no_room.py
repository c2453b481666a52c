"""A full disk, and a home that cannot be written: a named error, nothing lost, and it goes on after.

The disk is full for this process alone: a limit on the size of files stands for it, which fails the
same writes at the same places, with another number.
"""

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from pipeline.access.reading import reading
from pipeline.environment import CHECKOUT
from pipeline.home import Home, HomeError
from pipeline.intake.receive import handed_files, receive
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs.keeping.check_home import check_home
from pipeline.warehouse.publish import newest
from tests.askers import HERE
from tests.pipeline.shop_files import NOW, SHOP, sweep_csv, write_files

resource = pytest.importorskip("resource", reason="no limits on files here")
NOBODY = 65534
TYPED = {"shops": [{"shop_id": "s2", "name": "Ford End"}]}


@contextlib.contextmanager
def room_for(size: int):
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("size", [0, 100, 1000])
def test_a_hand_in_that_finds_no_room_is_refused_whole(home, tmp_path, size):
    folder = write_files(tmp_path / "a", {**SHOP, "sweeps": sweep_csv("T1")})
    with (
        pytest.raises(HomeError, match=r"Nothing was taken in: .*: File too large\."),
        room_for(size),
    ):
        receive(home, [folder], NOW)
    assert handed_files(home) == []
    assert [path.name for path in home.handed_in.iterdir()] == []
    assert receive(home, [folder], NOW) == 1


def test_what_is_typed_is_not_said_to_be_saved_where_there_is_no_room(home):
    with pytest.raises((HomeError, OSError), match="File too large"), room_for(20):
        save_entry(home, TYPED, now=NOW)
    assert handed_files(home) == []
    assert save_entry(home, TYPED, now=NOW) == 1


def _run(arguments: list[str], **how) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *arguments],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=False,
        **how,
    )


@pytest.mark.long
@pytest.mark.parametrize("size", [4_000, 60_000, 1_000_000, 12_000_000])
def test_a_build_that_finds_no_room_says_so_and_the_next_one_finishes_it(
    faulty_copy, tmp_path, size
):
    files = {"odometer": "unit_id,read_on,odometer_km\nB1,2025-07-01,27000\n"}
    receive(faulty_copy, [write_files(tmp_path / "a", files)], NOW)
    before = newest(faulty_copy).path.read_bytes()

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    done = _run(["rebuild", "--home", str(faulty_copy.root)], preexec_fn=limit)
    assert done.returncode == 1
    (said,) = done.stderr.strip().splitlines()[-1:]
    assert "File too large" in said
    assert "What was handed in before is kept" in said
    assert newest(faulty_copy).version == 1
    assert newest(faulty_copy).path.read_bytes() == before
    assert not list(faulty_copy.published.glob(".draft*"))
    assert _run(["rebuild", "--home", str(faulty_copy.root)]).returncode == 0
    assert newest(faulty_copy).hand_in == 2
    assert check_home(faulty_copy) == []


@pytest.fixture
def read_only_home(faulty_home):
    """A home that whoever asks may read and not write to, outside of folders of our own."""
    with tempfile.TemporaryDirectory(prefix="read-only-") as folder:
        root = Path(folder) / "home"
        shutil.copytree(faulty_home.root, root)
        Path(folder).chmod(0o755)
        for path in [root, *root.rglob("*")]:
            path.chmod(0o555 if path.is_dir() else 0o444)
        yield Home(root)
        for path in [root, *root.rglob("*")]:
            path.chmod(0o755 if path.is_dir() else 0o644)


@contextlib.contextmanager
def as_nobody():
    """Root may write anywhere: be somebody else for a moment."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_home_that_cannot_be_written_is_read_and_says_why_it_takes_nothing(
    read_only_home, tmp_path
):
    with as_nobody():
        with reading(read_only_home, HERE) as (manifest, connection):
            assert manifest.version == 1
            assert connection.execute("select count(*) from marts.worklist").fetchone()[0] > 0
        assert [found for found in check_home(read_only_home) if found.is_wrong] == []
        with pytest.raises(HomeError, match=r"Nothing was taken in: .*Permission denied"):
            save_entry(read_only_home, TYPED, now=NOW, asker=HERE)
        with (
            pytest.raises((HomeError, OSError), match=r"cannot be written|Permission denied"),
            read_only_home.one_builder(),
        ):
            pass
        assert len(handed_files(read_only_home)) == len(
            list((read_only_home.handed_in / "000001").glob("0*"))
        )
