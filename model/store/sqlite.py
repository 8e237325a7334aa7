"""The log in one SQLite file: the usual store of a project folder.

Write-ahead logging with full synchronisation: an event that was confirmed is on the disk.
Writers who come at the same time go to the disk together (see ``model.store.turns``).
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from model.clock import Clock
from model.problems import StoreError
from model.store.gate import Gate, pause
from model.store.group import Pending, Request
from model.store.interface import Store
from model.store.migrations import MIGRATIONS, migrate
from model.store.rows import Row
from model.store.statements import EventTable
from model.store.taking import Appended, Batch
from model.store.turns import Turns
from model.store.write_ahead import kind_of, write_ahead

WAIT_S = 10.0
"""How long to wait for another program that is writing."""

CHECKPOINT_PAGES = 4_000
"""Pages of the write-ahead log (16 MB) before it is folded into the file: a page that many
events change is then written there once."""

CACHE_KIB = 32_768
"""So much of the file the writer keeps in memory: ids are random and touch pages all over it."""


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
    held up by a writer. Several programs take turns at a lock file beside the log
    (see ``model.store.gate``).
    """

    def __init__(self, path: Path, clock: Clock, *, wait_s: float = WAIT_S) -> None:
        super().__init__(clock)
        self._path = path
        self._wait_s = wait_s
        self._write_lock, self._read_lock = threading.Lock(), threading.Lock()
        self._turns = Turns(self._serve)
        self._gate = Gate(path.with_name(f"{path.name}.lock"))
        self._writer = self._connect()
        try:
            self._prepare()
            self._reader = self._connect()
        except StoreError:
            self._writer.close()
            self._gate.close()
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
            self._gate.close()

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
            write_ahead(self._writer, self._wait_s)
            self._writer.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
            self._writer.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
            # From here on it is the gate that says who waits and how long.
            self._writer.execute("PRAGMA busy_timeout = 0")

    def _read(self, after_seq: int, unit: str = "") -> list[Row]:
        with self._reading() as table:
            return table.rows(after_seq, unit)

    @contextmanager
    def _reading(self) -> Iterator[EventTable]:
        with self._read_lock, self._as_store_errors():
            yield EventTable(self._reader, "?")

    def _append(self, batch: Batch) -> Appended:
        request = Request(batch)
        self._turns.run(request)
        return request.answer()

    def _serve(self, requests: Sequence[Request]) -> None:
        """Write the batches of a group in one transaction."""
        try:
            with self._writing() as table:
                log = Pending(table, [request.batch for request in requests], self._kept)
                now = self._clock()
                for request in requests:
                    request.take(log, now)
                log.write()
        except StoreError as error:
            self._after_failure(requests, error)
        else:
            log.settle()
            for request in requests:
                request.settle()

    def _after_failure(self, requests: Sequence[Request], error: StoreError) -> None:
        """Try again one by one, for a batch may be too much where the others have room."""
        if len(requests) > 1 and not isinstance(error, _NotOurTurn):
            for request in requests:
                self._serve([request])
            return
        for request in requests:
            request.fail(error)

    @contextmanager
    def _writing(self) -> Iterator[EventTable]:
        with self._write_lock, self._transaction():
            yield EventTable(self._writer, "?")

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        """Take the write lock at once, so that what is judged is what is written to."""
        with self._as_store_errors():
            self._begin()
            try:
                yield
                self._writer.execute("COMMIT")
            finally:
                if self._writer.in_transaction:
                    self._writer.execute("ROLLBACK")

    def _begin(self) -> None:
        """Begin to write when no other program does; then let the next one into the gate."""
        until = time.monotonic() + self._wait_s
        with self._gate.passed(until):
            while not self._begun():
                if time.monotonic() > until:
                    raise _NotOurTurn(f"{self._path.name}: {_busy(self._wait_s)}")
                pause()

    def _begun(self) -> bool:
        try:
            self._writer.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            if kind_of(error) != sqlite3.SQLITE_BUSY:
                raise
            return False
        return True

    @contextmanager
    def _as_store_errors(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"{self._path.name}: {_advice(error, self._wait_s)}") from error


class _NotOurTurn(StoreError):
    """Another program did not let go of the log in time."""


def _busy(wait_s: float) -> str:
    return (
        f"another program has been writing for more than {wait_s:g} s. "
        "Try again; if it stays so, close the other program."
    )


def _advice(error: sqlite3.Error, wait_s: float) -> str:
    """Say what went wrong and what to do about it."""
    known = {
        sqlite3.SQLITE_BUSY: _busy(wait_s),
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
    return known.get(kind_of(error), f"the log cannot be used ({error}). Close and open it again.")
