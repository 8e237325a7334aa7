"""The store in a SQLite file."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from model.clock import utc_now
from model.events import EVENT_COLUMNS
from model.problems import StoreError
from model.store import open_store
from model.store.migrations import MIGRATIONS
from model.store.sqlite import SqliteStore
from tests.model.builders import an_event
from tests.model.store.promises import KeptStorePromises


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


class TestSqlite(KeptStorePromises):
    @pytest.fixture
    def open_log(self, path):
        return lambda clock: SqliteStore(path, clock)


def by_hand(path: Path) -> closing[sqlite3.Connection]:
    """The file, opened by some other tool."""
    return closing(sqlite3.connect(path, isolation_level=None))


@pytest.fixture
def kept(path: Path) -> Path:
    """A log with one event in it, closed."""
    with open_store(path) as log:
        log.append([an_event("place", quantity="12.50", event_id="first")])
    return path


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET quantity = '1'",
        "DELETE FROM events",
        "INSERT OR REPLACE INTO events SELECT * FROM events",
        'REPLACE INTO events (seq, event_id, recorded_at, at, "by", unit, span, activity, kind,'
        " quantity, measure_unit, reason, note, voids)"
        " VALUES (9, 'first', '', '', '', '', '', '', '', '', '', '', '', '')",
    ],
)
def test_no_tool_can_change_or_delete_an_event(kept: Path, statement: str):
    with by_hand(kept) as connection:
        with pytest.raises(sqlite3.DatabaseError, match="append-only"):
            connection.execute(statement)
        assert connection.execute("SELECT event_id, quantity FROM events").fetchall() == [
            ("first", "12.50")
        ]


def test_the_log_stays_readable_with_any_tool(kept: Path):
    with by_hand(kept) as connection:
        names = [row[1] for row in connection.execute("PRAGMA table_info(events)")]
        at, quantity = connection.execute("SELECT at, quantity FROM events").fetchone()
    assert set(names) == set(EVENT_COLUMNS)
    assert (at, quantity) == ("2026-03-02T08:00:00.000000", "12.50")


def test_what_is_confirmed_is_on_the_disk(path: Path):
    with SqliteStore(path, utc_now) as log:
        assert log._writer.execute("PRAGMA synchronous").fetchone() == (2,)  # 2 is FULL
        assert log._writer.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_log_carries_the_version_of_its_last_step(kept: Path):
    with by_hand(kept) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)


def test_a_log_of_the_first_version_opens_and_keeps_its_events(path: Path):
    with by_hand(path) as connection:
        for statement in MIGRATIONS[0]:
            connection.execute(statement)
        connection.execute("PRAGMA user_version = 1")
        row = ("old", 1, "2026-03-02T08:00:00.000000Z", "2026-03-02T08:00:00.000000", "R. Alder",
               "E01", "", "falsework", "start", "", "", "", "", "")  # fmt: skip
        columns = ", ".join(f'"{name}"' for name in EVENT_COLUMNS)
        connection.execute(f"INSERT INTO events ({columns}) VALUES ({', '.join('?' * 14)})", row)
    with open_store(path) as log:
        assert [event.event_id for event in log.events()] == ["old"]
        log.append([an_event()])


def test_a_newer_log_is_refused_and_left_alone(kept: Path):
    with by_hand(kept) as connection:
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    before = kept.read_bytes()
    with pytest.raises(StoreError, match="newer version of this program"):
        open_store(kept)
    assert kept.read_bytes() == before


def test_another_database_is_refused_and_left_alone(path: Path):
    with by_hand(path) as connection:
        connection.execute("CREATE TABLE recipes (name)")
    with pytest.raises(StoreError, match="not an event log"):
        open_store(path)
    with by_hand(path) as connection:
        assert connection.execute("SELECT name FROM sqlite_schema").fetchall() == [("recipes",)]


def test_a_file_that_is_no_database_is_refused_and_left_alone(path: Path):
    path.write_text("these are not the events you are looking for\n" * 100)
    with pytest.raises(StoreError, match="not an event log, or it is damaged"):
        open_store(path)
    assert path.read_text().startswith("these")


def test_a_damaged_log_says_to_restore_a_backup(kept: Path):
    with open_store(kept) as log:
        log.append([an_event(note="x" * 1000) for _ in range(500)])
    page = 4096
    spoiled = bytearray(kept.read_bytes())
    spoiled[page:] = b"\xff" * (len(spoiled) - page)
    kept.write_bytes(spoiled)
    with pytest.raises(StoreError, match="restore the last backup"), open_store(kept) as log:
        log.frame()


def test_a_log_held_by_another_program_says_to_try_again(kept: Path):
    with SqliteStore(kept, utc_now, wait_s=0.05) as log, by_hand(kept) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="Try again"):
            log.append([an_event()])
        assert log.last_seq() == 1  # reading goes on
        other.execute("ROLLBACK")
        log.append([an_event()])
        assert log.last_seq() == 2


def test_a_full_disk_writes_nothing_of_the_batch(kept: Path):
    with SqliteStore(kept, utc_now) as log:
        pages = log._writer.execute("PRAGMA page_count").fetchone()[0]
        log._writer.execute(f"PRAGMA max_page_count = {pages + 4}")
        with pytest.raises(StoreError, match="disk is full"):
            log.append([an_event(note="x" * 1000) for _ in range(500)])
        assert log.last_seq() == 1
        log.append([an_event()])


def test_a_missing_folder_is_named(tmp_path: Path):
    with pytest.raises(StoreError, match="does not exist"):
        open_store(tmp_path / "nowhere" / "log.sqlite")


def test_a_folder_in_place_of_the_file_is_refused(tmp_path: Path):
    with pytest.raises(StoreError, match="cannot be opened"):
        open_store(tmp_path)


def test_a_closed_log_says_so(kept: Path):
    log = open_store(kept)
    log.close()
    with pytest.raises(StoreError, match="open it again"):
        log.last_seq()
