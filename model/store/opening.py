"""Opening a log by its address."""

from __future__ import annotations

from pathlib import Path

from model.clock import Clock, utc_now
from model.store.interface import Store
from model.store.memory import MemoryStore
from model.store.postgres import PostgresStore
from model.store.sqlite import SqliteStore

IN_MEMORY = ":memory:"


def open_store(target: str | Path, clock: Clock = utc_now) -> Store:
    """Open a log, making it if there is none.

    Parameters
    ----------
    target
        A file, a ``postgresql://`` address, or ``":memory:"``.
    clock
        Gives the moment an event is recorded.

    Raises
    ------
    StoreError
        When the log cannot be opened; the message says what to do.

    Examples
    --------
    >>> with open_store(":memory:") as log:
    ...     log.last_seq()
    0
    """
    text = str(target)
    if text == IN_MEMORY:
        return MemoryStore(clock)
    if is_postgres(text):
        return PostgresStore(text, clock)
    return SqliteStore(Path(target), clock)


def is_postgres(target: str | Path) -> bool:
    """Tell whether an address means a PostgreSQL database.

    Examples
    --------
    >>> is_postgres("postgresql://viaduct@db/line"), is_postgres("log.sqlite")
    (True, False)
    """
    return str(target).startswith(("postgresql://", "postgres://"))
