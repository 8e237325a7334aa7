"""What every store promises, and the steps of an append that all stores share.

- Append-only: nothing is updated or deleted, ever.
- A batch is written whole or not at all.
- An event sent twice is kept once; another event under the same ``event_id`` is refused.
- ``seq`` counts 1, 2, 3, … without gaps, in the order in which batches became visible.
- ``recorded_at`` comes from the store's clock and never goes backwards, whatever the clock does.
- The judge sees the log as the batch will find it, so two writers cannot both pass.
- A store may be used from several threads at once.
"""

from __future__ import annotations

import datetime as dt
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Protocol, Self

import pandas as pd

from model.clock import Clock
from model.events import Event
from model.problems import Problem, RefusedEvents, errors_only
from model.store.rows import EVENT_ID, Row, to_event, to_frame, to_row, utc_moment, utc_text

Judge = Callable[[Sequence[Event], pd.DataFrame], Iterable[Problem]]
"""Says what is wrong with a batch, given the log it would follow."""


@dataclass(frozen=True, slots=True)
class Appended:
    """What became of a batch.

    Parameters
    ----------
    accepted
        The events written, with ``seq`` and ``recorded_at``.
    repeated
        ``event_id`` of those that were in the log already, or twice in the batch.
    warnings
        What the judge remarked without refusing.
    """

    accepted: tuple[Event, ...] = ()
    repeated: tuple[str, ...] = ()
    warnings: tuple[Problem, ...] = ()


class Writing(Protocol):
    """The log inside one write transaction; nobody else writes meanwhile."""

    def known(self, event_ids: Sequence[str]) -> list[Row]:
        """Return the rows that carry one of these ids."""

    def last(self) -> tuple[int, str]:
        """Return the last ``seq`` and the latest ``recorded_at``; 0 and blank when empty."""

    def rows(self, after_seq: int) -> list[Row]:
        """Return the rows after a ``seq``, rising."""

    def insert(self, rows: Sequence[Row]) -> None:
        """Write rows."""


class Store(ABC):
    """An event log.

    Parameters
    ----------
    clock
        Gives the moment an event is recorded (aware).
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._held = to_frame([])

    def append(
        self,
        events: Sequence[Event],
        *,
        judge: Judge | None = None,
        keep_recorded_at: bool = False,
    ) -> Appended:
        """Write a batch, all of it or nothing.

        Parameters
        ----------
        events
            In the order they shall be numbered.
        judge
            Asked with the fresh events and the log's frame before anything is written.
        keep_recorded_at
            True keeps the ``recorded_at`` an event carries (an older log moved in).

        Returns
        -------
        Appended

        Raises
        ------
        RefusedEvents
            When the judge finds an error or an ``event_id`` belongs to another event.
        StoreError
            When the log cannot be written; nothing of the batch is in it then.
        """
        if not events:
            return Appended()
        with self._writing() as log:
            fresh, repeated = _sort_out(events, log)
            problems = list(judge(fresh, self._grown(log.rows))) if judge and fresh else []
            if errors := errors_only(problems):
                raise RefusedEvents(errors)
            written = _numbered(fresh, log, self._clock(), keep_recorded_at)
            log.insert(written)
        return Appended(tuple(map(to_event, written)), repeated, tuple(problems))

    def frame(self, after_seq: int = 0) -> pd.DataFrame:
        """Return the events after a ``seq`` as a frame, rising."""
        if after_seq:
            return to_frame(self._read(after_seq))
        return self._grown(self._read)

    def events(self, after_seq: int = 0, *, unit: str = "") -> list[Event]:
        """Return events, rising, with quantities exactly as typed.

        Parameters
        ----------
        after_seq
            Only what came after it.
        unit
            Only this unit; blank for all.
        """
        return [to_event(row) for row in self._read(after_seq, unit)]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @abstractmethod
    def last_seq(self) -> int:
        """Return the ``seq`` of the last event, 0 when there is none."""

    @abstractmethod
    def close(self) -> None:
        """Let go of the log; closing twice does no harm."""

    @abstractmethod
    def _read(self, after_seq: int, unit: str = "") -> list[Row]:
        """Return the rows after a ``seq``, rising; of one unit, unless it is blank."""

    @abstractmethod
    def _writing(self) -> AbstractContextManager[Writing]:
        """Open a write transaction: kept when left in peace, undone on any error."""

    def _grown(self, read: Callable[[int], list[Row]]) -> pd.DataFrame:
        """Return the whole frame, reading only what it did not hold yet: rows never change."""
        # Without a lock: each thread grows what it saw, and the last one is kept for the next.
        held = self._held
        self._held = held = _longer(held, read(_last_seq(held)))
        return held.copy(deep=False)


def _last_seq(frame: pd.DataFrame) -> int:
    return int(frame["seq"].iloc[-1]) if len(frame) else 0


def _longer(frame: pd.DataFrame, rows: list[Row]) -> pd.DataFrame:
    if not rows:
        return frame
    return pd.concat([frame, to_frame(rows)], ignore_index=True) if len(frame) else to_frame(rows)


def _sort_out(events: Sequence[Event], log: Writing) -> tuple[tuple[Event, ...], tuple[str, ...]]:
    """Tell new events from repeated ones; refuse an id used for something else."""
    rows = log.known([event.event_id for event in events])
    seen = {row[EVENT_ID]: _content(to_event(row)) for row in rows}
    fresh, repeated, clashes = [], [], []
    for row, event in enumerate(events, 1):
        content = _content(event)
        known = seen.setdefault(event.event_id, content)
        if known is content:
            fresh.append(event)
        elif known == content:
            repeated.append(event.event_id)
        else:
            clashes.append(_clash(event, row))
    if clashes:
        raise RefusedEvents(clashes)
    return tuple(fresh), tuple(repeated)


def _content(event: Event) -> Event:
    """Return what the sender said, without what the store adds."""
    return replace(event, seq=None, recorded_at=None)


def _clash(event: Event, row: int) -> Problem:
    return Problem(
        "event",
        f"{event.event_id!r} was already used for another event.",
        "Give every event an id of its own.",
        row,
        "event_id",
    )


def _numbered(
    events: Sequence[Event], log: Writing, now: dt.datetime, keep_recorded_at: bool
) -> list[Row]:
    """Give events their number and the moment the log came to know them."""
    seq, latest = log.last()
    if latest:
        now = max(now, utc_moment(latest))
    stamp = utc_text(now)
    return [
        to_row(
            event,
            number,
            utc_text(event.recorded_at) if keep_recorded_at and event.recorded_at else stamp,
        )
        for number, event in enumerate(events, seq + 1)
    ]
