"""The one path along which a SQLite log grows, from its first version on.

A log carries the number of its last step in ``user_version``. A step is never changed once it
has been released; a new need gets a new step at the end.
"""

from __future__ import annotations

import sqlite3

from model.problems import StoreError

_FIRST = (
    """
    CREATE TABLE events (
        seq INTEGER PRIMARY KEY,
        event_id TEXT NOT NULL UNIQUE CHECK (event_id <> ''),
        recorded_at TEXT NOT NULL,
        "at" TEXT NOT NULL,
        "by" TEXT NOT NULL,
        unit TEXT NOT NULL,
        span TEXT NOT NULL,
        activity TEXT NOT NULL,
        kind TEXT NOT NULL,
        quantity TEXT NOT NULL,
        measure_unit TEXT NOT NULL,
        reason TEXT NOT NULL,
        note TEXT NOT NULL,
        voids TEXT NOT NULL
    )
    """,
    "CREATE INDEX events_recorded_at ON events (recorded_at)",
    "CREATE INDEX events_unit ON events (unit)",
    """
    CREATE TRIGGER events_are_never_updated BEFORE UPDATE ON events
    BEGIN SELECT RAISE(ABORT, 'the log is append-only: record a void instead'); END
    """,
    """
    CREATE TRIGGER events_are_never_deleted BEFORE DELETE ON events
    BEGIN SELECT RAISE(ABORT, 'the log is append-only: record a void instead'); END
    """,
    # INSERT OR REPLACE deletes without asking the trigger above.
    """
    CREATE TRIGGER events_are_never_replaced BEFORE INSERT ON events
    WHEN EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq OR event_id = NEW.event_id)
    BEGIN SELECT RAISE(ABORT, 'the log is append-only: this event is there already'); END
    """,
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST,)
"""Step *n* brings a log from version *n − 1* to *n*."""


def migrate(connection: sqlite3.Connection, name: str) -> None:
    """Bring a log to the version of this program.

    Parameters
    ----------
    connection
        In a write transaction, so that two programs do not both migrate.
    name
        File name, for messages.

    Raises
    ------
    StoreError
        When the log is newer than this program, or is something else.
    """
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > len(MIGRATIONS):
        raise StoreError(
            f"{name} was written by a newer version of this program (log version {version}, "
            f"this program knows up to {len(MIGRATIONS)}). Install the newer version."
        )
    if version == 0 and connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
        raise StoreError(
            f"{name} is a database, but not an event log. Move it away or name another file."
        )
    for number, step in enumerate(MIGRATIONS[version:], version + 1):
        for statement in step:
            connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {number}")
