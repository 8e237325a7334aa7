"""The log in one SQLite file: the usual store of a project folder.

Write-ahead logging with full synchronisation: an event that was confirmed is on the disk.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from model.clock import Clock
from model.problems import StoreError
from model.store.interface import Store
from model.store.migrations import MIGRATIONS, migrate
from model.store.rows import Row
from model.store.statements import EventTable

WAIT_S = 10.0
"""How long to wait for another program that is writing."""


class SqliteStore(Store):
    """A log in a SQLite file.

    Parameters
    ----------
    path
        The file; it is made if it does not exist, its folder must.
    clock
        Gives the moment an event is recorded.
    wait_s
        Seconds to wait for another program that is writing.

    Raises
    ------
    StoreError
        When the file cannot be opened, is damaged, or is newer than this program.

    Notes
    -----
    One connection writes and one reads, each used by one thread at a time; readers are not
    held up by a writer.
    """

    def __init__(self, path: Path, clock: Clock, *, wait_s: float = WAIT_S) -> None:
        super().__init__(clock)
        self._path = path
        self._wait_s = wait_s
        self._write_lock, self._read_lock = threading.Lock(), threading.Lock()
        self._writer = self._connect()
        try:
            self._prepare()
            self._reader = self._connect()
        except StoreError:
            self._writer.close()
            raise

    def last_seq(self) -> int:
        """Return the ``seq`` of the last event, 0 when there is none."""
        with self._reading() as table:
            return table.last_seq()

    def close(self) -> None:
        """Close the file; the write-ahead log is folded into it."""
        with self._write_lock, self._read_lock, self._as_store_errors():
            self._reader.close()
            self._writer.close()

    def _connect(self) -> sqlite3.Connection:
        if not self._path.parent.is_dir():
            raise StoreError(f"The folder of {self._path} does not exist. Make it first.")
        with self._as_store_errors():
            connection = sqlite3.connect(
                self._path, timeout=self._wait_s, isolation_level=None, check_same_thread=False
            )
            try:
                # Full, because a confirmed event must survive a power cut.
                connection.execute("PRAGMA synchronous = FULL")
                connection.execute("PRAGMA user_version")
            except sqlite3.Error:
                connection.close()
                raise
        return connection

    def _prepare(self) -> None:
        with self._as_store_errors():
            version = int(self._writer.execute("PRAGMA user_version").fetchone()[0])
        if version != len(MIGRATIONS):
            with self._transaction():
                migrate(self._writer, self._path.name)
        with self._as_store_errors():
            self._writer.execute("PRAGMA journal_mode = WAL")

    def _read(self, after_seq: int, unit: str = "") -> list[Row]:
        with self._reading() as table:
            return table.rows(after_seq, unit)

    @contextmanager
    def _reading(self) -> Iterator[EventTable]:
        with self._read_lock, self._as_store_errors():
            yield EventTable(self._reader, "?")

    @contextmanager
    def _writing(self) -> Iterator[EventTable]:
        with self._write_lock, self._transaction():
            yield EventTable(self._writer, "?")

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        """Take the write lock at once, so that what is judged is what is written to."""
        with self._as_store_errors():
            self._writer.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._writer.execute("COMMIT")
            finally:
                if self._writer.in_transaction:
                    self._writer.execute("ROLLBACK")

    @contextmanager
    def _as_store_errors(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"{self._path.name}: {_advice(error, self._wait_s)}") from error


def _advice(error: sqlite3.Error, wait_s: float) -> str:
    """Say what went wrong and what to do about it."""
    said = str(error)
    code = getattr(error, "sqlite_errorcode", None) or 0
    known = {
        sqlite3.SQLITE_BUSY: f"another program has been writing for more than {wait_s:g} s. "
        "Try again; if it stays so, close the other program.",
        sqlite3.SQLITE_LOCKED: "another program holds the log. Try again.",
        sqlite3.SQLITE_CORRUPT: "the log is damaged. Keep the file and restore the last backup.",
        sqlite3.SQLITE_NOTADB: "this is not an event log, or it is damaged. Keep the file and "
        "restore the last backup.",
        sqlite3.SQLITE_FULL: "the disk is full and nothing of this batch was written. Make room "
        "and send it again.",
        sqlite3.SQLITE_READONLY: "the file may not be written. Give this user the right to write "
        "to it and its folder.",
        sqlite3.SQLITE_CANTOPEN: "the file cannot be opened. See that it is a file and that this "
        "user may write to it and its folder.",
        sqlite3.SQLITE_IOERR: "the disk failed and nothing of this batch is sure to be written. "
        "See to the disk and send it again; what is there already is not doubled.",
    }
    # The low byte is the kind of error, the rest its finer cause.
    return known.get(code & 0xFF, f"the log cannot be used ({said}). Close and open it again.")
