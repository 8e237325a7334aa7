"""Units whose events a store keeps in memory, because whoever judges asks for them again.

A unit is read once; from then on it grows with the log. What another program has written
meanwhile is read in before a batch is looked at, inside the write, where the log stands still.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

from model.events import Event
from model.store.rows import EVENT_ID, Row, to_event
from model.unit_log import UnitLog, unit_of

EVENTS_AT_MOST = 250_000
"""Past it, the units that were asked for first have to be read again."""

CAUGHT_UP_AT_MOST = 2_000
"""When another program has written more than this, reading single units again is quicker."""

Last = tuple[int, str]
"""The last ``seq`` of a log and its latest ``recorded_at``."""


class Reading(Protocol):
    """The part of a log that is read from here."""

    def known(self, event_ids: Sequence[str]) -> list[Row]:
        """Return the rows that carry one of these ids."""

    def of_unit(self, unit: str) -> list[Row]:
        """Return the rows of a unit, and the voids of them, rising by ``seq``."""

    def rows(self, after_seq: int) -> list[Row]:
        """Return the rows after a ``seq``, rising."""


class KeptUnits:
    """Units of a log as it stands inside one write transaction after the other."""

    def __init__(self) -> None:
        self._units: dict[str, UnitLog] = {}
        self._count = 0
        self._last: Last = (0, "")
        self._begun = self._settled = 0

    def begin(self, log: Reading, last: Last) -> int:
        """Bring what is kept up to the log, at the beginning of a transaction.

        Parameters
        ----------
        log
            In an open write transaction.
        last
            Where it ends.

        Returns
        -------
        int
            For ``settle``.
        """
        # What an undone transaction had added is not in the log.
        if self._begun != self._settled:
            self._forget()
        self._begun += 1
        if last != self._last and self._units:
            self._catch_up(log, last)
        self._last = last
        return self._begun

    def settle(self, number: int) -> None:
        """Note that a transaction was kept."""
        self._settled = max(self._settled, number)

    def unit(self, unit: str, read: Callable[[], Iterable[Event]]) -> UnitLog:
        """Return a unit; ``read`` gives its events when it is not kept yet."""
        held = self._units.get(unit)
        if held is None:
            held = self._units[unit] = UnitLog(read())
            self._count += len(held.events)
            self._make_room()
        return held

    def add(self, event: Event, unit: str, last: Last) -> None:
        """Add an event that is being written to the unit it lies with."""
        self._last = last
        held = self._units.get(unit)
        if held is not None:
            held.add(event)
            self._count += 1

    def _catch_up(self, log: Reading, last: Last) -> None:
        """Read in what another program has written."""
        if not 0 < last[0] - self._last[0] <= CAUGHT_UP_AT_MOST:
            self._forget()
            return
        came = [to_event(row) for row in log.rows(self._last[0])]
        voided = [event.voids for event in came if event.voids]
        targets = {row[EVENT_ID]: to_event(row) for row in log.known(voided)} if voided else {}
        for event in came:
            self.add(event, unit_of(event, targets.get), last)

    def _make_room(self) -> None:
        while self._count > EVENTS_AT_MOST and len(self._units) > 1:
            first = next(iter(self._units))
            self._count -= len(self._units.pop(first).events)

    def _forget(self) -> None:
        self._units, self._count = {}, 0
