"""Batches of several writers that go to the disk together, each judged on its own."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Collection, Sequence

from model.problems import StoreError
from model.store.rows import EVENT_ID, RECORDED_AT, SEQ, UNIT, Row
from model.store.taking import Appended, Batch, Writing, take


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

    def take(self, log: Writing, now: dt.datetime) -> None:
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
    """

    def __init__(self, log: Writing, batches: Sequence[Batch]) -> None:
        self._log = log
        ids = [event_id for batch in batches for event_id in batch.ids()]
        self._by_id = {row[EVENT_ID]: row for row in log.known(ids)}
        self._last = log.last()
        self._rows: list[Row] = []

    def known(self, event_ids: Sequence[str]) -> list[Row]:
        """Return the rows that carry one of these ids; they must be ids of the group."""
        return [self._by_id[key] for key in event_ids if key in self._by_id]

    def last(self) -> tuple[int, str]:
        """Return the last ``seq`` and the latest ``recorded_at``."""
        return self._last

    def of_units(self, units: Collection[str]) -> list[Row]:
        """Return the rows of some units, rising by ``seq``."""
        return self._log.of_units(units) + [row for row in self._rows if row[UNIT] in units]

    def insert(self, rows: Sequence[Row]) -> None:
        """Hold rows back."""
        self._rows += rows
        self._by_id |= {row[EVENT_ID]: row for row in rows}
        self._last = rows[-1][SEQ], max(self._last[1], *(row[RECORDED_AT] for row in rows))

    def write(self) -> None:
        """Write what was held back."""
        if self._rows:
            self._log.insert(self._rows)
