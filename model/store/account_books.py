"""Opening the accounts: a SQLite file beside the log, or the log's PostgreSQL database."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from model.accounts import Try
from model.problems import StoreError
from model.store.accounts import TABLES, Accounts
from model.store.opening import IN_MEMORY, is_postgres
from model.store.postgres import OPENING_LOCK, advice, postgres_driver
from model.store.sqlite import WAIT_S
from model.store.statements import Cursor
from model.store.write_ahead import write_ahead

if TYPE_CHECKING:
    import psycopg

VERSION = 1


def open_accounts(target: str | Path) -> Accounts:
    """Open the accounts, making them if there are none.

    Parameters
    ----------
    target
        A file, a ``postgresql://`` address, or ``":memory:"``.

    Raises
    ------
    StoreError
        When they cannot be opened; the message says what to do.
    """
    return PostgresAccounts(str(target)) if is_postgres(target) else SqliteAccounts(target)


class SqliteAccounts(Accounts):
    """Accounts in a SQLite file that nobody but its owner may read."""

    def __init__(self, target: str | Path) -> None:
        self._name = Path(target).name
        self._lock = threading.RLock()
        if str(target) != IN_MEMORY:
            _keep_private(Path(target))
        with self._as_store_errors():
            self._connection = sqlite3.connect(
                target, timeout=WAIT_S, isolation_level=None, check_same_thread=False
            )
            write_ahead(self._connection, WAIT_S)
            self._connection.execute("PRAGMA synchronous = FULL")
        self._prepare()

    def close(self) -> None:
        """Close the file."""
        with self._lock, self._as_store_errors():
            self._connection.close()

    @contextmanager
    def _transaction(self) -> Iterator[Cursor]:
        with self._lock, self._as_store_errors():
            self._connection.execute("BEGIN")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

    def _prepare(self) -> None:
        with self._lock, self._as_store_errors():
            # The write lock first, so that two programs do not both make the tables.
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                version = int(self._connection.execute("PRAGMA user_version").fetchone()[0])
                _refuse_newer(version, self._name)
                if version == 0:
                    for statement in TABLES:
                        self._connection.execute(statement)
                    self._connection.execute(f"PRAGMA user_version = {VERSION}")
                self._connection.execute("COMMIT")
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

    @contextmanager
    def _as_store_errors(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(
                f"{self._name}: the accounts cannot be used ({error}). See that this user may "
                "write to the file and its folder, and that the disk is not full."
            ) from error


class PostgresAccounts(Accounts):
    """Accounts in the PostgreSQL database that holds the log."""

    def __init__(self, url: str) -> None:
        self._url = url
        self._driver = postgres_driver()
        self._lock = threading.RLock()
        self._open: psycopg.Connection[Any] | None = None
        with self._transaction() as cursor:
            _prepare(cursor)

    def close(self) -> None:
        """Close the connection."""
        with self._lock:
            if self._open is not None:
                self._open.close()
            self._open = None

    def note(self, line: Try) -> None:
        """Add a line to the audit trail; programs take turns, so that lines are numbered."""
        with self._transaction() as cursor:
            cursor.execute("LOCK TABLE account_trail IN SHARE ROW EXCLUSIVE MODE")
            super().note(line)

    def _marked(self, statement: str) -> str:
        return statement.replace("?", "%s")

    @contextmanager
    def _transaction(self) -> Iterator[Cursor]:
        with self._lock:
            try:
                connection = self._connection()
                with connection.transaction(), connection.cursor() as cursor:
                    yield cursor
            except self._driver.Error as error:
                raise StoreError(advice(error, self._driver)) from error

    def _connection(self) -> psycopg.Connection[Any]:
        if self._open is None or self._open.closed:
            self._open = self._driver.connect(self._url, autocommit=True, connect_timeout=10)
        return self._open


def _keep_private(path: Path) -> None:
    """Make the file readable by its owner alone before anything is in it."""
    if not path.parent.is_dir():
        raise StoreError(f"The folder of {path} does not exist. Make it first.")
    try:
        path.touch(mode=0o600)
    except OSError as error:
        raise StoreError(
            f"{path.name}: the accounts cannot be written ({error.strerror}). See that this "
            "user may write to the folder."
        ) from error


def _prepare(cursor: Cursor) -> None:
    cursor.execute("SELECT pg_advisory_xact_lock(%s)", (OPENING_LOCK,))
    cursor.execute("CREATE TABLE IF NOT EXISTS account_version (version integer NOT NULL)")
    found = cursor.execute("SELECT max(version) FROM account_version").fetchone()
    version = int(found[0] or 0)
    _refuse_newer(version, "the database")
    if version == 0:
        for statement in TABLES:
            cursor.execute(statement)
        cursor.execute("INSERT INTO account_version VALUES (%s)", (VERSION,))


def _refuse_newer(version: int, name: str) -> None:
    if version > VERSION:
        raise StoreError(
            f"The accounts in {name} were written by a newer version of this program (version "
            f"{version}, this program knows up to {VERSION}). Install the newer version."
        )
