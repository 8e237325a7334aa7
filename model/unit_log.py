"""What the log holds of one unit, kept in memory and grown at its end.

Every rule about a new event looks at the history of one unit only. So that is what the log
hands to whoever judges a batch: a look at single units, and at single events by their id.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any, Protocol

import numpy as np
import pandas as pd

from model.events import Event


class UnitLog:
    """The events of one unit, rising by ``seq``, with the voids that cancel some of them.

    Parameters
    ----------
    events
        What the log holds of the unit.
    """

    __slots__ = ("events", "kept", "void")

    def __init__(self, events: Iterable[Event] = ()) -> None:
        self.events: list[Event] = []
        self.void: set[str] = set()
        """The ids that voids name."""
        self.kept: Any = None
        """Room for what a reader made of the events, so that next time it goes on from there."""
        for event in events:
            self.add(event)

    def add(self, event: Event) -> None:
        """Add the next event."""
        self.events.append(event)
        if event.kind == "void":
            self.void.add(event.voids)

    def find(self, event_id: str) -> Event | None:
        """Return an event by its id."""
        return next((event for event in self.events if event.event_id == event_id), None)

    def since(self, seq: int) -> list[Event]:
        """Return the events after a running number, rising."""
        if not self.events or _seq_of(self.events[-1]) <= seq:
            return []
        return self.events[bisect_right(self.events, seq, key=_seq_of) :]


def _seq_of(event: Event) -> int:
    return event.seq or 0


class LogView(Protocol):
    """The log as a new batch finds it."""

    def find(self, event_id: str) -> Event | None:
        """Return the logged event with an id of the batch, or with one that it voids."""

    def unit(self, unit: str) -> UnitLog:
        """Return what the log holds of a unit; a void lies with the event it cancels."""


def unit_of(event: Event, find: Callable[[str], Event | None]) -> str:
    """Return the unit an event lies with: a void may name none, and lies with its target.

    Parameters
    ----------
    event
        Any event.
    find
        Looks an event up by its id.
    """
    target = find(event.voids) if event.voids else None
    return target.unit if target else event.unit


class FrameView:
    """An event frame as a view of the log.

    Parameters
    ----------
    events
        Event frame of the whole log, or of the units that are asked for.
    """

    def __init__(self, events: pd.DataFrame) -> None:
        self._by_id = {event.event_id: event for event in events_of(events)}
        self._units: defaultdict[str, UnitLog] = defaultdict(UnitLog)
        for event in self._by_id.values():
            self._units[unit_of(event, self._by_id.get)].add(event)

    def find(self, event_id: str) -> Event | None:
        """Return the event with this id."""
        return self._by_id.get(event_id)

    def unit(self, unit: str) -> UnitLog:
        """Return what the frame holds of a unit."""
        return self._units[unit]


def view_of(log: LogView | pd.DataFrame) -> LogView:
    """Return a view of the log; an event frame is made into one."""
    return FrameView(log) if isinstance(log, pd.DataFrame) else log


def events_of(frame: pd.DataFrame) -> list[Event]:
    """Return the rows of an event frame as events, with quantities as far as floats go."""
    rows = zip(*(frame[name].tolist() for name in _TOLD), strict=True)
    moments = zip(frame["at"].dt.to_pydatetime(), frame["recorded_at"].dt.to_pydatetime(),
                  frame["quantity"].to_numpy(float).tolist(), strict=True)  # fmt: skip
    return [
        Event(at, by, unit, activity, kind, span,
              None if np.isnan(quantity) else Decimal(repr(quantity)),
              measure_unit, reason, note, voids, event_id, recorded_at, seq)
        for (by, unit, activity, kind, span, measure_unit, reason, note, voids, event_id, seq),
            (at, recorded_at, quantity) in zip(rows, moments, strict=True)
    ]  # fmt: skip


_TOLD = ("by", "unit", "activity", "kind", "span", "measure_unit", "reason", "note", "voids",
         "event_id", "seq")  # fmt: skip
