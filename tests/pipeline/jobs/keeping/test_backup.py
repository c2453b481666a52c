import hashlib
import io
import json
import os
import tarfile
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.asker import OWNER, Asker
from pipeline.commands import main
from pipeline.home import Home, HomeError
from pipeline.home_layouts import LAYOUT
from pipeline.intake import receive as receive_module
from pipeline.intake.deeds_check import broken_links, read_deeds
from pipeline.intake.receive import last_hand_in
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.typed.drafts import keep_draft
from pipeline.intake.typed.entries import save_entry
from pipeline.jobs.ingest import rebuild
from pipeline.jobs.keeping import backup as backup_module
from pipeline.jobs.keeping import restore as restore_module
from pipeline.jobs.keeping.backup import back_up
from pipeline.jobs.keeping.backup_format import BackupError, read_backup
from pipeline.jobs.keeping.restore import restore
from pipeline.warehouse.publish import newest
from pipeline.warehouse.record_digests import record_digests
from tests.askers import HERE

BEN = Asker("ben", OWNER)
READING = {"unit_id": "B1", "read_on": "2026-05-01", "odometer_km": 100}


@pytest.fixture
def kept(home) -> Home:
    """A small home, nothing built in it, with everything that a backup is to hold."""
    save_entry(home, {"odometer": [READING]})
    keep_settings(home, {"test_hours": 0.9}, asker=BEN)
    keep_draft(home, HERE, "0123456789abcdef", "test_sessions", {"sensor_id": "S1"})
    home.column_names.write_text("{}")
    (home.root / "people.toml").write_text("# nobody\n")
    (home.root / "network.toml").write_text('client_secret_file = "/elsewhere"\n')
    home.advised.mkdir()
    (home.advised / "000001.parquet").write_bytes(b"kept")
    return home


def _contents(root: Path) -> dict[str, bytes]:
    files = (path for path in root.rglob("*") if path.is_file() and path.name != "lock")
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in files}


def test_a_backup_comes_back_as_it_was(kept, tmp_path):
    (kept.root / "key.pem").write_text("secret")  # belongs elsewhere, and is not copied
    before = _contents(kept.root)
    made = back_up(kept, tmp_path, asker=BEN)
    assert made.warnings == []
    assert made.backup.path.name.startswith("wear-atlas-home-")
    done = restore(made.backup.path, tmp_path / "new", build=False)
    after = _contents(done.home.root)
    assert done.different == []
    assert before.pop("key.pem") == b"secret"
    record = "deeds/000001.jsonl"
    assert after.pop(record).startswith(before.pop(record))
    assert after == before
    assert [deed["deed"] for deed in read_deeds(done.home)][-1] == "restored"
    assert [(deed["deed"], deed["who"]) for deed in read_deeds(kept)][-1] == ("backed_up", "ben")
    assert broken_links(done.home) == []


def test_any_tool_can_open_and_check_it(kept, tmp_path):
    made = back_up(kept, tmp_path / "b.tar")
    with tarfile.open(made.backup.path) as tar:
        tar.extractall(tmp_path / "by hand", filter="data")
    listed = (tmp_path / "by hand" / "hashes.sha256").read_text().splitlines()
    assert len(listed) > 8
    for line in listed:
        digest, name = line.split("  ", 1)
        assert hashlib.sha256((tmp_path / "by hand" / name).read_bytes()).hexdigest() == digest
    if os.name != "nt":
        assert made.backup.path.stat().st_mode & 0o077 == 0


def test_hand_ins_saved_meanwhile_are_whole_or_not_in_it(kept, tmp_path):
    def save() -> None:
        for number in range(2, 8):
            save_entry(kept, {"odometer": [READING]})
            keep_settings(kept, {"test_hours": 0.5 + number / 100})
            keep_draft(kept, HERE, f"{number:016x}", "units", {})
            (kept.drafts / f"{number - 1:016x}.json").unlink(missing_ok=True)

    at_work = threading.Thread(target=save)
    at_work.start()
    backups = []
    while at_work.is_alive():
        backups.append(back_up(kept, tmp_path / f"{len(backups)}.tar").backup)
    at_work.join()
    assert len({backup.last_hand_in for backup in backups}) > 3
    for backup in backups:
        root = tmp_path / f"home {backup.path.stem}"
        restored = restore(backup.path, root, build=False)
        assert restored.different == []
        assert last_hand_in(restored.home) == backup.last_hand_in
        told = read_deeds(restored.home)
        assert [deed["deed"] for deed in told].count("handed_in") == backup.last_hand_in
        assert not any("how" in deed["said"] for deed in told)
        assert (
            told[-1]["stands"]["settings"]
            == hashlib.sha256(restored.home.settings.read_bytes()).hexdigest()
        )


def test_a_hand_in_that_appears_while_files_are_listed_is_left_out(kept, tmp_path, monkeypatch):
    counted = last_hand_in(kept)

    def then_one_more(home) -> int:
        save_entry(home, {"odometer": [READING]})
        return counted

    with monkeypatch.context() as patched:
        # the record is held still meanwhile: its line comes afterwards
        patched.setattr(receive_module, "make_up_if_possible", lambda home: None)
        patched.setattr(backup_module, "last_hand_in", then_one_more)
        backup = back_up(kept, tmp_path / "b.tar").backup
    assert last_hand_in(kept) == counted + 1
    restored = restore(backup.path, tmp_path / "restored", build=False)
    assert last_hand_in(restored.home) == backup.last_hand_in == counted


def test_records_built_anew_are_held_against_those_backed_up(stocked_copy, tmp_path, monkeypatch):
    published = newest(stocked_copy)
    monkeypatch.setattr(restore_module, "rebuild", lambda home, **words: published)
    kept = [*stocked_copy.given_out.iterdir(), *stocked_copy.advised.iterdir()]
    for path in kept:
        path.unlink()  # as where the build was killed before keeping them
    backup = back_up(stocked_copy, tmp_path / "b.tar").backup
    assert all(path.relative_to(stocked_copy.root).as_posix() in backup.hashes for path in kept)
    done = restore(backup.path, tmp_path / "same")
    assert done.different == []
    assert "tables with those of version" in done.compared[-1]
    digests = record_digests(published)
    changed = digests | {"test_sessions": (digests["test_sessions"][0], "0")}
    monkeypatch.setattr(restore_module, "record_digests", lambda manifest: changed)
    done = restore(backup.path, tmp_path / "other")
    assert done.different == [
        f"The records of test_sessions are not those of version {published.version}."
    ]
    later = replace(published, hand_in=published.hand_in + 1)
    monkeypatch.setattr(restore_module, "rebuild", lambda home, **words: later)
    done = restore(backup.path, tmp_path / "later")
    assert "not the records row by row" in done.compared[-1]


def test_a_restored_home_that_cannot_be_built_is_said_to_be_there(whole, tmp_path, monkeypatch):
    def fail(home: Home, **words: object) -> None:
        raise HomeError("a card is damaged")

    monkeypatch.setattr(restore_module, "rebuild", fail)
    with pytest.raises(HomeError, match=r"is restored, .* could not be built: a card is damaged"):
        restore(whole, tmp_path / "new")
    assert last_hand_in(Home(tmp_path / "new")) == 1


@pytest.mark.long
def test_a_home_in_use_is_built_anew_from_its_backup(stocked_copy, tmp_path):
    made = back_up(stocked_copy, tmp_path / "b.tar")
    done = restore(made.backup.path, tmp_path / "new")
    assert done.different == []
    assert any("tables with those of version" in what for what in done.compared)
    assert done.manifest is not None
    assert done.manifest.version == made.backup.records["version"] + 1
    assert record_digests(done.manifest)["test_sessions"][0] == 5


@pytest.mark.long
def test_backed_up_while_in_use_both_homes_build_the_same(stocked_copy, tmp_path):
    done = threading.Event()

    def save() -> None:
        for km in range(30_000, 30_200):
            if not done.is_set():
                save_entry(stocked_copy, {"odometer": [READING | {"odometer_km": km}]})

    at_work = threading.Thread(target=save)
    at_work.start()
    made = back_up(stocked_copy, tmp_path / "b.tar")
    done.set()
    at_work.join()
    for folder in stocked_copy.handed_in.iterdir():
        if folder.name.isdigit() and int(folder.name) > made.backup.last_hand_in:
            for path in folder.iterdir():
                path.unlink()
            folder.rmdir()
    restored = restore(made.backup.path, tmp_path / "new").manifest
    assert record_digests(restored) == record_digests(rebuild(stocked_copy))


def test_a_file_changed_since_it_was_handed_in_is_told_of(kept, tmp_path):
    (kept.handed_in / "000001" / "0001.csv").write_text("changed")
    made = back_up(kept, tmp_path / "b.tar")
    assert made.warnings == [
        "handed_in/000001/0001.csv is not as it was when it came: the backup holds it as it is now."
    ]
    done = restore(made.backup.path, tmp_path / "new", build=False)
    assert "is not what came with its hand-in" in done.different[0]


def test_a_home_that_cannot_be_written_can_be_backed_up(kept, tmp_path, monkeypatch):
    def refuse(*args: object, **words: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("pipeline.intake.deeds.FileLock.acquire", refuse)
    made = back_up(kept, tmp_path / "b.tar")
    assert len(made.warnings) == 1
    assert "the record of deeds does not tell of it" in made.warnings[0]
    assert made.backup.last_hand_in == 1


def test_where_a_backup_may_not_go(kept, tmp_path):
    (tmp_path / "there.tar").write_text("")
    for target, told in (
        (kept.root / "b.tar", "in the data home itself"),
        (tmp_path / "there.tar", "there already"),
        (tmp_path / "none" / "b.tar", "No such folder"),
    ):
        with pytest.raises(HomeError, match=told):
            back_up(kept, target)
    with pytest.raises(HomeError, match="no records yet"):
        back_up(Home(tmp_path / "none"), tmp_path / "b.tar")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["home", "there.tar"]


def test_no_half_of_a_backup_is_left(kept, tmp_path, monkeypatch):
    def fail(*args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup_module, "_add_file", fail)
    with pytest.raises(HomeError, match=r"b.tar could not be made: .*No space left"):
        back_up(kept, tmp_path / "b.tar")
    assert [path.name for path in tmp_path.iterdir()] == ["home"]


def test_no_half_of_a_home_is_left(whole, tmp_path, monkeypatch):
    def fail(*args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(restore_module, "copied", fail)
    before = sorted(tmp_path.iterdir())
    with pytest.raises(HomeError, match=r"new could not be restored: .*No space left"):
        restore(whole, tmp_path / "new")
    assert sorted(tmp_path.iterdir()) == before


@pytest.fixture
def whole(kept, tmp_path) -> Path:
    return back_up(kept, tmp_path / "whole.tar").backup.path


def _refused(path: Path, tmp_path: Path) -> str:
    before = sorted(tmp_path.iterdir())
    with pytest.raises(BackupError) as refused:
        restore(path, tmp_path / "new", build=False)
    assert sorted(tmp_path.iterdir()) == before
    return str(refused.value)


def test_a_backup_cut_short_anywhere_is_refused(whole, tmp_path):
    content = whole.read_bytes()
    end = content.rindex(b"hashes.sha256")
    path = tmp_path / "cut.tar"
    for length in [0, 1, 511, 512, 700, *range(1024, end + 600, 997)]:
        path.write_bytes(content[:length])
        assert str(path) in _refused(path, tmp_path)


def test_a_backup_with_any_byte_changed_is_refused_or_the_same(whole, tmp_path):
    content, path = whole.read_bytes(), tmp_path / "changed.tar"
    wanted = read_backup(whole).hashes
    refused = 0
    for place in range(0, len(content), 211):
        changed = bytearray(content)
        changed[place] ^= 0x41
        path.write_bytes(changed)
        try:
            assert read_backup(path).hashes == wanted  # a byte that says nothing, such as padding
        except BackupError:
            refused += 1
    assert refused > 20


def _tar(path: Path, files: dict[str, bytes], **changes: object) -> Path:
    with tarfile.open(path, "w") as tar:
        for name, content in files.items():
            member = tarfile.TarInfo(name)
            member.size = len(content)
            for key, value in changes.items() if name == list(files)[-2] else ():
                setattr(member, key, value)
            tar.addfile(member, io.BytesIO(content if member.isreg() else b""))
    return path


def _made_up(**files: bytes) -> dict[str, bytes]:
    head = {"wear_atlas_backup": 1, "layout": LAYOUT, "kind": "own", "last_hand_in": 0}
    card = json.dumps({"layout": LAYOUT, "kind": "own"}).encode()
    head |= {"made_at": "2026-06-01T00:00:00+00:00", "records": None}
    found = {"backup.json": json.dumps(head).encode(), "home.json": card} | files
    lines = [f"{hashlib.sha256(text).hexdigest()}  {name}\n" for name, text in found.items()]
    return found | {"hashes.sha256": "".join(lines).encode()}


def test_a_made_up_backup_stands_for_the_cases_below(tmp_path):
    done = restore(_tar(tmp_path / "b.tar", _made_up()), tmp_path / "new", build=False)
    assert done.home.kind == "own"


@pytest.mark.parametrize(
    "name",
    [
        "../out.csv",
        "/out.csv",
        "handed_in/../../out.csv",
        "handed_in//0001.csv",
        "handed_in/./0001.csv",
        "handed_in/a\nb",
        "elsewhere/file",
        "key.pem",
        "settings.toml/deep",
        "handed_in",
        "published/warehouse-000001.duckdb",
        "handed_in/a/b/c/d/e/f",
    ],
)
def test_a_name_that_belongs_in_no_home_is_refused(name, tmp_path):
    told = _refused(_tar(tmp_path / "b.tar", _made_up(**{name: b"x"})), tmp_path)
    assert repr(name) in told


@pytest.mark.parametrize(
    "kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.FIFOTYPE, tarfile.DIRTYPE]
)
def test_only_plain_files_are_taken(kind, tmp_path):
    path = _tar(
        tmp_path / "b.tar", _made_up(**{"drafts/a.json": b""}), type=kind, linkname="/etc/passwd"
    )
    assert "is not a plain file" in _refused(path, tmp_path)


def test_what_is_not_a_backup_is_refused_by_name(tmp_path):
    odd = tmp_path / "odd"
    odd.write_bytes(os.urandom(5000))
    assert "no whole backup" in _refused(odd, tmp_path)
    assert "it begins with 'home.json'" in _refused(
        _tar(tmp_path / "a.tar", {"home.json": b"{}", "x": b""}), tmp_path
    )
    files = _made_up()
    newer = json.loads(files["backup.json"]) | {"layout": LAYOUT + 1}
    files["backup.json"] = json.dumps(newer).encode()
    assert "newer Wear Atlas" in _refused(_tar(tmp_path / "n.tar", files), tmp_path)
    files = _made_up()
    del files["hashes.sha256"]
    assert "cut short" in _refused(_tar(tmp_path / "c.tar", files | {"drafts/a": b""}), tmp_path)
    files = _made_up(**{"home.json": b'{"layout": 1, "kind": "demo"}'})
    assert "of another home" in _refused(_tar(tmp_path / "d.tar", files), tmp_path)
    with pytest.raises(HomeError, match="No such file"):
        restore(tmp_path / "none.tar", tmp_path / "new")


def test_nothing_is_restored_over_what_is_there(whole, kept, tmp_path):
    with pytest.raises(HomeError, match="is not empty"):
        restore(whole, kept.root)
    (tmp_path / "new").mkdir()
    assert restore(whole, tmp_path / "new", build=False).different == []


def test_both_commands_say_what_they_did(kept, tmp_path, capsys):
    assert main(["backup", str(tmp_path / "b.tar"), "--home", str(kept.root)]) == 0
    assert "read back and found whole" in capsys.readouterr().out
    command = ["restore", str(tmp_path / "b.tar"), "--no-build", "--home"]
    assert main([*command, str(tmp_path / "new")]) == 0
    assert "No difference was found." in capsys.readouterr().out
    assert main([*command, str(tmp_path / "new")]) == 1
    assert "is not empty" in capsys.readouterr().err
