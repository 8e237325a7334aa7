"""The log in PostgreSQL, for a job that several machines write to.

The same rows and the same promises as the SQLite file.
"""

from __future__ import annotations

import importlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import TYPE_CHECKING, Any

from model.clock import Clock
from model.problems import StoreError
from model.store.interface import Store
from model.store.rows import Row
from model.store.statements import EventTable

if TYPE_CHECKING:
    import psycopg

_FIRST = (
    """
    CREATE TABLE events (
        seq bigint PRIMARY KEY,
        event_id text NOT NULL UNIQUE CHECK (event_id <> ''),
        recorded_at text COLLATE "C" NOT NULL,
        "at" text NOT NULL,
        "by" text NOT NULL,
        unit text NOT NULL,
        span text NOT NULL,
        activity text NOT NULL,
        kind text NOT NULL,
        quantity text NOT NULL,
        measure_unit text NOT NULL,
        reason text NOT NULL,
        note text NOT NULL,
        voids text NOT NULL
    )
    """,
    "CREATE INDEX events_recorded_at ON events (recorded_at)",
    "CREATE INDEX events_unit ON events (unit)",
    """
    CREATE FUNCTION events_are_only_added() RETURNS trigger LANGUAGE plpgsql AS
    $$ BEGIN RAISE EXCEPTION 'the log is append-only: record a void instead'; END $$
    """,
    """
    CREATE TRIGGER events_are_only_added BEFORE UPDATE OR DELETE OR TRUNCATE ON events
    FOR EACH STATEMENT EXECUTE FUNCTION events_are_only_added()
    """,
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST,)
"""Step *n* brings a log from version *n − 1* to *n*; a released step is never changed."""

OPENING_LOCK = 7_302_611
"""Advisory lock (any number of ours) that keeps two programs from making the table at once."""


class PostgresStore(Store):
    """A log in a PostgreSQL database.

    Parameters
    ----------
    url
        ``postgresql://…``; the log is the table ``events`` of its search path.
    clock
        Gives the moment an event is recorded.

    Raises
    ------
    StoreError
        When the driver is missing, the server does not answer, or the log is newer than this
        program.

    Notes
    -----
    Writers take turns (a lock on the table), so that ``seq`` has no gaps and rises in the
    order of commits: a reader who asks for what came after a ``seq`` misses nothing.
    A lost connection is opened again by the next call.
    """

    def __init__(self, url: str, clock: Clock) -> None:
        super().__init__(clock)
        self._url = url
        self._driver = postgres_driver()
        self._lock = threading.RLock()
        self._open: psycopg.Connection[Any] | None = None
        with self._transaction() as cursor:
            _migrate(cursor)

    def last_seq(self) -> int:
        """Return the ``seq`` of the last event, 0 when there is none."""
        with self._transaction() as cursor:
            return EventTable(cursor, "%s").last_seq()

    def close(self) -> None:
        """Close the connection."""
        with self._lock:
            if self._open is not None:
                self._open.close()
            self._open = None

    def _read(self, after_seq: int, unit: str = "") -> list[Row]:
        with self._transaction() as cursor:
            return EventTable(cursor, "%s").rows(after_seq, unit)

    @contextmanager
    def _writing(self) -> Iterator[EventTable]:
        with self._transaction() as cursor:
            cursor.execute("LOCK TABLE events IN SHARE ROW EXCLUSIVE MODE")
            yield EventTable(cursor, "%s")

    @contextmanager
    def _transaction(self) -> Iterator[psycopg.Cursor[Any]]:
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


def postgres_driver() -> ModuleType:
    """Return psycopg, which is installed only by those who use PostgreSQL."""
    try:
        return importlib.import_module("psycopg")
    except ImportError as error:
        raise StoreError(
            "The log is in PostgreSQL, but its driver is not installed. "
            'Install it with: pip install "viaduct-pour-map[postgres]"'
        ) from error


def _migrate(cursor: psycopg.Cursor[Any]) -> None:
    cursor.execute("SELECT pg_advisory_xact_lock(%s)", (OPENING_LOCK,))
    cursor.execute("CREATE TABLE IF NOT EXISTS events_version (version integer NOT NULL)")
    found = cursor.execute("SELECT max(version) FROM events_version").fetchone()
    version = int((found[0] if found else 0) or 0)
    if version > len(MIGRATIONS):
        raise StoreError(
            f"This log was written by a newer version of this program (log version {version}, "
            f"this program knows up to {len(MIGRATIONS)}). Install the newer version."
        )
    for number, step in enumerate(MIGRATIONS[version:], version + 1):
        for statement in step:
            cursor.execute(statement.encode())
        cursor.execute("INSERT INTO events_version VALUES (%s)", (number,))


def advice(error: Exception, driver: ModuleType) -> str:
    """Say what went wrong and what to do about it; the address stays out, it holds a password."""
    said = (str(error).strip().splitlines() or [type(error).__name__])[0]
    if isinstance(error, driver.OperationalError):
        return (
            f"The database server does not answer ({said}). See that it runs and that the "
            "address is right, then send again; what is there already is not doubled."
        )
    return f"The log in PostgreSQL cannot be used ({said}). See to the database."
