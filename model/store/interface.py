"""What every store promises.

- Append-only: nothing is updated or deleted, ever.
- A batch is written whole or not at all.
- An event sent twice is kept once; another event under the same ``event_id`` is refused.
- ``seq`` counts 1, 2, 3, … without gaps, in the order in which batches became visible.
- ``recorded_at`` comes from the store's clock and never goes backwards, whatever the clock does.
- The judge sees the log as the batch will find it, so two writers cannot both pass.
- A store may be used from several threads at once; whoever writes is served in turn.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from types import TracebackType
from typing import Self

import pandas as pd

from model.clock import Clock
from model.events import Event
from model.store.group import Pending
from model.store.kept import KeptUnits
from model.store.rows import Row, to_event, to_frame
from model.store.taking import Appended, Batch, Judge, Writing, take
from model.unit_log import LogView


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
        self._kept = KeptUnits()

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
            Asked with the fresh events and a view of the log, before anything is written. It
            may be called in another thread and, when a write has to be tried again, more than
            once. The view holds while it is asked and no longer.
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
        return self._append(Batch(events, judge, keep_recorded_at)) if events else Appended()

    def look(self, at: Callable[[LogView], None]) -> None:
        """Show the log as a batch would find it; nothing is written, and writers wait.

        Parameters
        ----------
        at
            Is given the view, as a judge is; best when it is quick.
        """
        with self._writing() as log:
            pending = Pending(log, [], self._kept)
            at(pending)
        pending.settle()

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
            Only this unit, with the voids that cancel something of it; blank for all.
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

    def _append(self, batch: Batch) -> Appended:
        """Write a batch in a transaction of its own."""
        with self._writing() as log:
            pending = Pending(log, [batch], self._kept)
            appended = take(batch, pending, self._clock())
            pending.write()
        pending.settle()
        return appended

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
