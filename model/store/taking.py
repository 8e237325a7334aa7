"""What an append does with a batch, alike in every store.

Nothing is written before the whole batch has been looked at, so a refused batch leaves no
trace and does no harm to others in the same transaction.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from model.events import Event
from model.problems import Problem, RefusedEvents, errors_only
from model.store.kept import Reading
from model.store.rows import Row, stamped, to_row, utc_moment, utc_text
from model.unit_log import LogView

Judge = Callable[[Sequence[Event], LogView], Iterable[Problem]]
"""Says what is wrong with a batch, given the log as the batch finds it."""


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


@dataclass(frozen=True, slots=True)
class Batch:
    """Events to be written together.

    Parameters
    ----------
    events
        In the order they shall be numbered.
    judge
        Asked before anything is written; None accepts all.
    keep_recorded_at
        True keeps the ``recorded_at`` an event carries (an older log moved in).
    """

    events: Sequence[Event]
    judge: Judge | None = None
    keep_recorded_at: bool = False

    def ids(self) -> list[str]:
        """Return every ``event_id`` it names: its own, and those it voids."""
        voids = (event.voids for event in self.events if event.voids)
        return [*(event.event_id for event in self.events), *voids]


class Writing(Reading, Protocol):
    """The log inside one write transaction; nobody else writes meanwhile."""

    def last(self) -> tuple[int, str]:
        """Return the last ``seq`` and the latest ``recorded_at``; 0 and blank when empty."""

    def insert(self, rows: Sequence[Row]) -> None:
        """Write rows."""


class Taking(LogView, Protocol):
    """The log as the next batch finds it, with what was taken and is still to be written."""

    def last(self) -> tuple[int, str]:
        """Return the last ``seq`` and the latest ``recorded_at``; 0 and blank when empty."""

    def insert(self, events: Sequence[Event], rows: Sequence[Row]) -> None:
        """Take events, with their rows."""


def take(batch: Batch, log: Taking, now: dt.datetime) -> Appended:
    """Look at a batch and take what is new of it.

    Parameters
    ----------
    batch
        What was sent.
    log
        In an open write transaction.
    now
        The moment the events become known (aware).

    Raises
    ------
    RefusedEvents
        When the judge finds an error or an ``event_id`` belongs to another event.
    """
    fresh, repeated = _sort_out(batch.events, log)
    problems = list(batch.judge(fresh, log)) if batch.judge and fresh else []
    if problems and (errors := errors_only(problems)):
        raise RefusedEvents(errors)
    accepted = _numbered(fresh, log, now, batch.keep_recorded_at) if fresh else ()
    return Appended(accepted, repeated, tuple(problems))


def _sort_out(events: Sequence[Event], log: Taking) -> tuple[tuple[Event, ...], tuple[str, ...]]:
    """Tell new events from repeated ones; refuse an id used for something else."""
    fresh: dict[str, Event] = {}
    repeated, clashes = [], []
    for row, event in enumerate(events, 1):
        key = event.event_id
        before = fresh.get(key) or log.find(key)
        if before is None:
            fresh[key] = event
        elif _content(before) == _content(event):
            repeated.append(key)
        else:
            clashes.append(_clash(event, row))
    if clashes:
        raise RefusedEvents(clashes)
    return tuple(fresh.values()), tuple(repeated)


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
    events: Sequence[Event], log: Taking, now: dt.datetime, keep_recorded_at: bool
) -> tuple[Event, ...]:
    """Take events with their number and the moment the log came to know them."""
    seq, latest = log.last()
    now = max(now, utc_moment(latest)) if latest else now
    stamp = utc_text(now)
    accepted, rows = [], []
    for number, event in enumerate(events, seq + 1):
        kept = event.recorded_at if keep_recorded_at else None
        accepted.append(stamped(event, number, kept or now))
        rows.append(to_row(event, number, utc_text(kept) if kept else stamp))
    log.insert(accepted, rows)
    return tuple(accepted)
