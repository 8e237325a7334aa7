"""A project folder in one file, and back."""

from __future__ import annotations

import sqlite3
import threading
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from model.problems import StoreError
from model.store import open_accounts, open_store
from model.store.backup import BackedUp, back_up, restore
from tests.model.builders import an_event
from tests.model.people import PASSWORD, a_membership

DATABASES = ("log.sqlite", "accounts.sqlite")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project folder with a log of 20 events, accounts, and a file in a folder of its own."""
    folder = tmp_path / "job"
    (folder / "attached").mkdir(parents=True)
    (folder / "project.toml").write_text("[project]\nname = 'Mud flat'\n")
    (folder / "attached" / "ticket.jpg").write_bytes(bytes(range(256)))
    with closing(sqlite3.connect(folder / "accounts.sqlite")) as accounts:
        accounts.execute("CREATE TABLE accounts (name)")
    (folder / "accounts.sqlite").chmod(0o600)
    with open_store(folder / "log.sqlite") as log:
        log.append([an_event("note") for _ in range(20)])
    return folder


def files_in(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and ".sqlite" not in path.name
    }


def left_behind(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.endswith(".part")]


def test_what_was_backed_up_comes_back(folder: Path, tmp_path: Path):
    said = back_up(folder, tmp_path / "kept.zip", DATABASES)
    back = tmp_path / "back"
    assert restore(tmp_path / "kept.zip", back, DATABASES) == said == BackedUp(4, 20)
    assert files_in(back) == files_in(folder)
    with open_store(folder / "log.sqlite") as log, open_store(back / "log.sqlite") as again:
        assert again.events() == log.events()
        again.append([an_event("note")])
    assert (back / "accounts.sqlite").stat().st_mode & 0o777 == 0o600
    assert left_behind(tmp_path) == []


def test_a_phone_that_was_signed_in_has_to_sign_in_again_after_a_restore(folder, tmp_path: Path):
    (folder / "accounts.sqlite").unlink()
    people = a_membership(book=open_accounts(folder / "accounts.sqlite"))
    people.add("Ines Alder", "owner", PASSWORD)
    key, ines = people.sign_in("Ines Alder", PASSWORD, "203.0.113.7")
    back_up(folder, tmp_path / "kept.zip", DATABASES)
    assert people.of_session(key) == ines
    people.sign_out_everywhere(ines)
    people.close()
    restore(tmp_path / "kept.zip", tmp_path / "back", DATABASES)
    again = a_membership(book=open_accounts(tmp_path / "back" / "accounts.sqlite"))
    assert again.of_session(key) is None
    again.sign_in("Ines Alder", PASSWORD, "203.0.113.7")
    again.close()


def test_nobody_else_reads_accounts_while_they_are_written(
    folder: Path, tmp_path: Path, monkeypatch
):
    seen: dict[str, int] = {}

    def watched(name: str) -> None:
        real = getattr(zipfile.ZipFile, name)

        def looked_at(archive, *given, **more):
            for path in tmp_path.rglob("*"):
                if ".zip." in path.name or (".part" in str(path) and "accounts" in path.name):
                    seen[path.name] = path.stat().st_mode & 0o777
            return real(archive, *given, **more)

        monkeypatch.setattr(zipfile.ZipFile, name, looked_at)

    watched("write")
    watched("extract")
    back_up(folder, tmp_path / "kept.zip", DATABASES)
    restore(tmp_path / "kept.zip", tmp_path / "back", DATABASES)
    assert len(seen) == 2
    assert set(seen.values()) == {0o600}


def test_a_log_is_backed_up_whole_while_others_write_to_it(folder: Path, tmp_path: Path):
    done = threading.Event()
    confirmed: list[str] = []

    with open_store(folder / "log.sqlite") as log:

        def write() -> None:
            while not done.is_set():
                batch = [an_event("note", note="x" * 500) for _ in range(3)]
                log.append(batch)
                confirmed.extend(event.event_id for event in batch)

        writer = threading.Thread(target=write)
        writer.start()
        try:
            for number in range(4):
                before = list(confirmed)
                said = back_up(folder, tmp_path / f"{number}.zip", DATABASES)
                restore(tmp_path / f"{number}.zip", tmp_path / f"back{number}", DATABASES)
                with open_store(tmp_path / f"back{number}" / "log.sqlite") as again:
                    ids = [event.event_id for event in again.events()]
                assert set(before) <= set(ids), "confirmed before the backup began"
                assert (said.events - 20) % 3 == 0, "a batch is there whole or not at all"
                assert len(ids) == said.events
        finally:
            done.set()
            writer.join()


def test_a_backup_is_readable_with_any_zip_and_sqlite_tool(folder: Path, tmp_path: Path):
    back_up(folder, tmp_path / "kept.zip", DATABASES)
    with zipfile.ZipFile(tmp_path / "kept.zip") as archive:
        assert archive.testzip() is None
        assert sorted(archive.namelist()) == [
            "accounts.sqlite", "attached/ticket.jpg", "log.sqlite", "project.toml",
        ]  # fmt: skip
        archive.extract("log.sqlite", tmp_path / "by_hand")
    with closing(sqlite3.connect(tmp_path / "by_hand" / "log.sqlite")) as log:
        assert log.execute("SELECT count(*) FROM events").fetchone() == (20,)


def test_others_may_not_read_a_backup(folder: Path, tmp_path: Path):
    back_up(folder, tmp_path / "kept.zip", DATABASES)
    assert (tmp_path / "kept.zip").stat().st_mode & 0o077 == 0


def test_a_folder_without_a_log_is_backed_up_too(folder: Path, tmp_path: Path):
    for path in folder.glob("*.sqlite*"):
        path.unlink()
    assert back_up(folder, tmp_path / "kept.zip", DATABASES) == BackedUp(2, 0)
    assert restore(tmp_path / "kept.zip", tmp_path / "back", DATABASES) == BackedUp(2, 0)


def test_a_backup_is_never_written_over_anything(folder: Path, tmp_path: Path):
    (tmp_path / "kept.zip").write_text("last week's")
    with pytest.raises(StoreError, match="there already"):
        back_up(folder, tmp_path / "kept.zip", DATABASES)
    assert (tmp_path / "kept.zip").read_text() == "last week's"
    assert left_behind(tmp_path) == []


def test_a_backup_does_not_lie_in_the_folder_it_keeps(folder: Path):
    with pytest.raises(StoreError, match="somewhere else"):
        back_up(folder, folder / "attached" / "kept.zip", DATABASES)


def test_a_folder_that_is_no_project_is_refused(tmp_path: Path):
    (tmp_path / "photos").mkdir()
    with pytest.raises(StoreError, match=r"no project\.toml"):
        back_up(tmp_path / "photos", tmp_path / "kept.zip", DATABASES)


def test_a_damaged_log_is_not_passed_off_as_a_backup(folder: Path, tmp_path: Path):
    log = folder / "log.sqlite"
    spoiled = bytearray(log.read_bytes())
    spoiled[4096:] = b"\xff" * (len(spoiled) - 4096)
    log.write_bytes(spoiled)
    with pytest.raises(StoreError, match="last good backup"):
        back_up(folder, tmp_path / "kept.zip", DATABASES)
    assert not (tmp_path / "kept.zip").exists()
    assert left_behind(tmp_path) == []


def test_nothing_is_restored_over_a_folder_in_use(folder: Path, tmp_path: Path):
    back_up(folder, tmp_path / "kept.zip", DATABASES)
    before = files_in(folder)
    with pytest.raises(StoreError, match="not empty"):
        restore(tmp_path / "kept.zip", folder, DATABASES)
    assert files_in(folder) == before


def spoil(path: Path) -> None:
    """Turn over a byte in the middle."""
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    path.write_bytes(content)


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-200])


def write_text(path: Path) -> None:
    path.write_text("these are not the files you are looking for")


@pytest.mark.parametrize("harm", [spoil, cut, write_text])
def test_a_spoiled_backup_says_so_and_leaves_nothing(folder: Path, tmp_path: Path, harm):
    kept = tmp_path / "kept.zip"
    back_up(folder, kept, DATABASES)
    harm(kept)
    with pytest.raises(StoreError, match="damaged"):
        restore(kept, tmp_path / "back", DATABASES)
    assert not (tmp_path / "back").exists()
    assert left_behind(tmp_path) == []


@pytest.mark.parametrize("name", ["../outside.txt", "/outside.txt", "attached/../../outside.txt"])
def test_a_file_that_would_land_outside_the_folder_is_refused(tmp_path: Path, name: str):
    with zipfile.ZipFile(tmp_path / "made_up.zip", "w") as archive:
        archive.writestr("project.toml", "")
        archive.writestr(name, "mine now")
    with pytest.raises(StoreError, match="no backup"):
        restore(tmp_path / "made_up.zip", tmp_path / "back", DATABASES)
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["made_up.zip"]


def test_a_missing_place_is_named(folder: Path, tmp_path: Path):
    with pytest.raises(StoreError, match="does not exist"):
        back_up(folder, tmp_path / "nowhere" / "kept.zip", DATABASES)
    back_up(folder, tmp_path / "kept.zip", DATABASES)
    with pytest.raises(StoreError, match="does not exist"):
        restore(tmp_path / "kept.zip", tmp_path / "nowhere" / "back", DATABASES)
