"""A log in memory: for trying things out, and for tests."""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from operator import itemgetter

from model.clock import Clock
from model.store.interface import Store
from model.store.rows import EVENT_ID, RECORDED_AT, SEQ, UNIT, VOIDS, Row


class MemoryStore(Store):
    """A log that is gone when the program ends."""

    def __init__(self, clock: Clock) -> None:
        super().__init__(clock)
        self._log = _Rows()
        self._lock = threading.RLock()

    def last_seq(self) -> int:
        """Return the ``seq`` of the last event, 0 when there is none."""
        return self._log.last()[0]

    def close(self) -> None:
        """Nothing to let go of."""

    def _read(self, after_seq: int, unit: str = "") -> list[Row]:
        if unit:
            return [row for row in self._log.of_unit(unit) if row[SEQ] > after_seq]
        return self._log.rows(after_seq)

    @contextmanager
    def _writing(self) -> Iterator[_Rows]:
        # Insert is the last step of an append, so an error before it leaves nothing behind.
        with self._lock:
            yield self._log


class _Rows:
    def __init__(self) -> None:
        self._rows: list[Row] = []
        self._by_id: dict[str, Row] = {}
        self._by_unit: defaultdict[str, list[Row]] = defaultdict(list)
        self._latest = ""

    def known(self, event_ids: Sequence[str]) -> list[Row]:
        return [self._by_id[key] for key in set(event_ids) if key in self._by_id]

    def last(self) -> tuple[int, str]:
        return len(self._rows), self._latest

    def rows(self, after_seq: int) -> list[Row]:
        return self._rows[after_seq:]

    def of_unit(self, unit: str) -> list[Row]:
        rows = self._by_unit.get(unit, [])
        theirs = {row[EVENT_ID] for row in rows}
        voids = [row for row in self._by_unit.get("", ()) if row[VOIDS] in theirs]
        return sorted([*rows, *voids], key=itemgetter(SEQ))

    def insert(self, rows: Sequence[Row]) -> None:
        self._by_id |= {row[EVENT_ID]: row for row in rows}
        for row in rows:
            self._by_unit[row[UNIT]].append(row)
        self._latest = max([self._latest, *(row[RECORDED_AT] for row in rows)])
        self._rows.extend(rows)
