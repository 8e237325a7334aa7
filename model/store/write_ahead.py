"""SQLite's write-ahead log, for a file that several programs may open at once."""

from __future__ import annotations

import sqlite3
import time

from model.store.gate import pause


def kind_of(error: sqlite3.Error) -> int:
    """Return the kind of an error: the low byte of its code, the rest is its finer cause."""
    return (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF


def write_ahead(connection: sqlite3.Connection, wait_s: float) -> None:
    """Have a file written ahead, however many programs open it at this moment.

    SQLite itself does not wait here: of two programs that both look at the file and want to
    change it, neither could go on.

    Parameters
    ----------
    connection
        Open, and not in a transaction.
    wait_s
        How long to wait for others [s].

    Raises
    ------
    sqlite3.OperationalError
        When it is busy for longer, or cannot be written.
    """
    until = time.monotonic() + wait_s
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if kind_of(error) != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
        pause()
