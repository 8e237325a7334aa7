"""Batches of several writers that go to the disk together, each judged on its own."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Sequence

from model.events import Event
from model.problems import StoreError
from model.store.kept import KeptUnits
from model.store.rows import EVENT_ID, RECORDED_AT, SEQ, Row, to_event
from model.store.taking import Appended, Batch, Writing, take
from model.unit_log import UnitLog, unit_of


class Request:
    """One writer's batch, and what came of it.

    Parameters
    ----------
    batch
        What was sent.
    """

    __slots__ = ("_appended", "_error", "_settled", "batch")

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self._appended = Appended()
        self._error: Exception | None = None
        self._settled = False

    def take(self, log: Pending, now: dt.datetime) -> None:
        """Look at the batch; what came of it counts once the group is on the disk."""
        self._error = None
        try:
            self._appended = take(self.batch, log, now)
        except (StoreError, sqlite3.Error):
            raise
        except Exception as error:  # noqa: BLE001 - raised again in the writer's own thread
            self._error = error

    def settle(self) -> None:
        """Note that the group is on the disk."""
        self._settled = True

    def fail(self, error: StoreError) -> None:
        """Note that the log could not be written."""
        self._error, self._settled = error, True

    def answer(self) -> Appended:
        """Return what was written, or raise what stood against it.

        Raises
        ------
        RefusedEvents, StoreError
            As ``Store.append`` says, and whatever the judge raised.
        """
        if not self._settled:
            raise StoreError("The write was broken off. Send it again; nothing is doubled.")
        if self._error is not None:
            raise self._error
        return self._appended


class Pending:
    """The log as the next batch of a group finds it.

    Holds back what the batches before it add, to write all of it in one go.

    Parameters
    ----------
    log
        In an open write transaction.
    batches
        Of the whole group; their ids are looked up at once.
    kept
        What the store keeps in memory of the log.
    """

    def __init__(self, log: Writing, batches: Sequence[Batch], kept: KeptUnits) -> None:
        self._log = log
        self._kept = kept
        ids = [event_id for batch in batches for event_id in batch.ids()]
        self._rows_by_id = {row[EVENT_ID]: row for row in log.known(ids)}
        self._last = log.last()
        self._number = kept.begin(log, self._last)
        self._added: dict[str, Event] = {}
        self._rows: list[Row] = []

    def find(self, event_id: str) -> Event | None:
        """Return the event with an id that a batch of the group names."""
        row = self._rows_by_id.get(event_id)
        return self._added.get(event_id) if row is None else to_event(row)

    def last(self) -> tuple[int, str]:
        """Return the last ``seq`` and the latest ``recorded_at``."""
        return self._last

    def unit(self, unit: str) -> UnitLog:
        """Return what the log holds of a unit; a void lies with the event it cancels."""
        return self._kept.unit(unit, lambda: self._read(unit))

    def _read(self, unit: str) -> list[Event]:
        added = [event for event in self._added.values() if unit_of(event, self.find) == unit]
        return [*map(to_event, self._log.of_unit(unit)), *added]

    def insert(self, events: Sequence[Event], rows: Sequence[Row]) -> None:
        """Hold events back, with their rows."""
        self._rows += rows
        self._last = rows[-1][SEQ], max(self._last[1], *(row[RECORDED_AT] for row in rows))
        for event in events:
            self._added[event.event_id] = event
            self._kept.add(event, unit_of(event, self.find), self._last)

    def write(self) -> None:
        """Write what was held back."""
        if self._rows:
            self._log.insert(self._rows)

    def settle(self) -> None:
        """Note that the transaction was kept."""
        self._kept.settle(self._number)
