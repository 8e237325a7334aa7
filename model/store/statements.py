"""What SQLite and PostgreSQL are asked alike: one table of text rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Protocol

from model.events import EVENT_COLUMNS
from model.store.rows import Row

TABLE = "events"
COLUMNS = ", ".join(f'"{name}"' for name in EVENT_COLUMNS)
"""Quoted, because ``by`` is a word of SQL."""

IDS_AT_ONCE = 500


class Cursor(Protocol):
    """The part of a driver's cursor or connection that is used here."""

    def execute(self, statement: Any, values: Any = ..., /) -> Any:
        """Run a statement."""

    def executemany(self, statement: Any, values: Any, /) -> Any:
        """Run a statement once for each row of values."""


class EventTable:
    """The table of events, seen through a driver.

    Parameters
    ----------
    cursor
        Of an open transaction.
    mark
        The driver's mark for a value: ``?`` or ``%s``.
    """

    def __init__(self, cursor: Cursor, mark: str) -> None:
        self._cursor = cursor
        self._mark = mark

    def known(self, event_ids: Sequence[str]) -> list[Row]:
        """Return the rows that carry one of these ids."""
        return [row for ids in _portions(event_ids) for row in self._with_ids(ids)]

    def last(self) -> tuple[int, str]:
        """Return the last ``seq`` and the latest ``recorded_at``; 0 and blank when empty."""
        return self.last_seq(), str(self._one(f"SELECT max(recorded_at) FROM {TABLE}") or "")

    def last_seq(self) -> int:
        """Return the last ``seq``, 0 when there is none."""
        return int(self._one(f"SELECT max(seq) FROM {TABLE}") or 0)

    def rows(self, after_seq: int, unit: str = "") -> list[Row]:
        """Return the rows after a ``seq``, rising; of one unit, unless it is blank."""
        asked = f"SELECT {COLUMNS} FROM {TABLE} WHERE seq > {self._mark}"
        values: tuple[int | str, ...] = (after_seq,)
        if unit:
            asked, values = f"{asked} AND unit = {self._mark}", (after_seq, unit)
        found: list[Row] = self._cursor.execute(f"{asked} ORDER BY seq", values).fetchall()
        return found

    def insert(self, rows: Sequence[Row]) -> None:
        """Write rows."""
        marks = ", ".join([self._mark] * len(EVENT_COLUMNS))
        self._cursor.executemany(f"INSERT INTO {TABLE} ({COLUMNS}) VALUES ({marks})", rows)

    def _with_ids(self, ids: Sequence[str]) -> Iterable[Row]:
        marks = ", ".join([self._mark] * len(ids))
        asked = f"SELECT {COLUMNS} FROM {TABLE} WHERE event_id IN ({marks})"
        found: list[Row] = self._cursor.execute(asked, tuple(ids)).fetchall()
        return found

    def _one(self, statement: str) -> Any:
        return self._cursor.execute(statement).fetchone()[0]


def _portions(ids: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(ids), IDS_AT_ONCE):
        yield ids[start : start + IDS_AT_ONCE]
