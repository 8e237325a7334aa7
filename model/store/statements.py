"""What SQLite and PostgreSQL are asked alike: one table of text rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Protocol

from model.events import EVENT_COLUMNS
from model.store.rows import SEQ, Row

TABLE = "events"
COLUMNS = ", ".join(f'"{name}"' for name in EVENT_COLUMNS)
"""Quoted, because ``by`` is a word of SQL."""

VALUES_AT_ONCE = 500


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
        return self._with("event_id", event_ids)

    def of_unit(self, unit: str) -> list[Row]:
        """Return the rows of a unit, and the voids of them, rising by ``seq``."""
        theirs = f"SELECT event_id FROM {TABLE} WHERE unit = {self._mark}"
        found: list[Row] = self._cursor.execute(
            f"SELECT {COLUMNS} FROM {TABLE} WHERE unit = {self._mark} UNION ALL "
            f"SELECT {COLUMNS} FROM {TABLE} WHERE unit = '' AND voids IN ({theirs}) ORDER BY seq",
            (unit, unit),
        ).fetchall()
        return found

    def last(self) -> tuple[int, str]:
        """Return the last ``seq`` and the latest ``recorded_at``; 0 and blank when empty."""
        asked = f"(SELECT max(seq) FROM {TABLE}), (SELECT max(recorded_at) FROM {TABLE})"
        seq, latest = self._cursor.execute(f"SELECT {asked}").fetchone()
        return int(seq or 0), str(latest or "")

    def last_seq(self) -> int:
        """Return the last ``seq``, 0 when there is none."""
        return int(self._one(f"SELECT max(seq) FROM {TABLE}") or 0)

    def rows(self, after_seq: int, unit: str = "") -> list[Row]:
        """Return the rows after a ``seq``, rising; of one unit, unless it is blank."""
        if unit:
            return [row for row in self.of_unit(unit) if row[SEQ] > after_seq]
        asked = f"SELECT {COLUMNS} FROM {TABLE} WHERE seq > {self._mark} ORDER BY seq"
        found: list[Row] = self._cursor.execute(asked, (after_seq,)).fetchall()
        return found

    def insert(self, rows: Sequence[Row]) -> None:
        """Write rows."""
        marks = ", ".join([self._mark] * len(EVENT_COLUMNS))
        self._cursor.executemany(f"INSERT INTO {TABLE} ({COLUMNS}) VALUES ({marks})", rows)

    def _with(self, column: str, values: Sequence[str]) -> list[Row]:
        """Return the rows that have one of these values."""
        rows: list[Row] = []
        for some in _portions(values):
            marks = ", ".join([self._mark] * len(some))
            asked = f"SELECT {COLUMNS} FROM {TABLE} WHERE {column} IN ({marks})"
            rows += self._cursor.execute(asked, tuple(some)).fetchall()
        return rows

    def _one(self, statement: str) -> Any:
        return self._cursor.execute(statement).fetchone()[0]


def _portions(values: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(values), VALUES_AT_ONCE):
        yield values[start : start + VALUES_AT_ONCE]
