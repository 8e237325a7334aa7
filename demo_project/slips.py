"""Slips of the demo's foremen and how they put them right, all by further events.

Digits swapped, a quantity sent twice, a finish pressed too early, tickets handed in late, work
opened again after a look at it.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import numpy as np

from demo_project import words
from demo_project.day_book import DayBook
from model.events import Event

WRONG_DIGITS_CHANCE, SENT_TWICE_CHANCE = 0.012, 0.006
EARLY_FINISH_CHANCE, REOPEN_CHANCE = 0.06, 0.08
LATE_TICKETS_CHANCE = 0.06


def with_slips(book: DayBook, rng: np.random.Generator) -> list[Event]:
    """Return the day book's events with slips and their corrections among them.

    Parameters
    ----------
    book
        A written day book; it is left as it is.
    rng
        Source of chance.

    Returns
    -------
    list of Event
        In no particular order. Once all of them are known, quantities, starts and finishes
        are those of the book, but for work that was opened again and finished later.
    """
    events = _with_late_tickets(book.events, rng)
    return [
        *_with_wrong_quantities(book, events, rng),
        *_early_finishes(book, events, rng),
        *_reopened(book, events, rng),
    ]


def _with_late_tickets(events: list[Event], rng: np.random.Generator) -> list[Event]:
    """Let some load tickets be known only one to three days later."""
    late = rng.random(len(events)) < LATE_TICKETS_CHANCE
    days = rng.integers(1, 4, len(events))
    return [
        replace(
            event,
            recorded_at=_known(event) + dt.timedelta(days=int(wait)),
            note=f"{event.note}. {words.LATE_TICKETS}",
        )
        if is_late and event.kind == "place" and event.note
        else event
        for event, is_late, wait in zip(events, late, days, strict=True)
    ]


def _with_wrong_quantities(
    book: DayBook, events: list[Event], rng: np.random.Generator
) -> Iterator[Event]:
    """Yield all events; some quantities come first with swapped digits, or twice."""
    draws = rng.random(len(events))
    for event, draw in zip(events, draws, strict=True):
        swapped = _swapped(event.quantity) if event.quantity else None
        if swapped and draw < WRONG_DIGITS_CHANCE:
            wrong = replace(event, quantity=swapped)
            yield wrong
            yield _void(book, wrong, words.WRONG_DIGITS)
            later = _known(event) + dt.timedelta(minutes=16)
            yield replace(event, event_id=book.new_id(), recorded_at=later)
            continue
        yield event
        if event.quantity and draw > 1 - SENT_TWICE_CHANCE:
            soon = _known(event) + dt.timedelta(minutes=1)
            again = replace(event, event_id=book.new_id(), recorded_at=soon)
            yield again
            yield _void(book, again, words.SENT_TWICE)


def _swapped(quantity: Decimal) -> Decimal | None:
    """Return a quantity with its last two whole digits swapped, if that is a smaller one."""
    whole = int(quantity)
    tens, ones = divmod(whole % 100, 10)
    wrong = Decimal(whole - whole % 100 + 10 * ones + tens)
    return wrong if 0 < wrong < quantity else None


def _void(book: DayBook, event: Event, note: str) -> Event:
    """Return the event that cancels ``event``, a quarter of an hour after it was known."""
    known = _known(event) + dt.timedelta(minutes=15)
    at = known.astimezone(book.job.timezone).replace(tzinfo=None, second=0)
    return Event(
        at=at,
        by=event.by,
        unit=event.unit,
        activity="",
        kind="void",
        note=note,
        voids=event.event_id,
        event_id=book.new_id(),
        recorded_at=known,
    )


def _early_finishes(
    book: DayBook, events: list[Event], rng: np.random.Generator
) -> Iterator[Event]:
    """Yield finishes of falsework pressed a day too early, and their voids."""
    for cell in _cells(events).values():
        finish = cell[-1]
        if finish.activity != "falsework" or rng.random() >= EARLY_FINISH_CHANCE:
            continue
        day_before = [e for e in cell if e.kind == "place" and e.at.date() < finish.at.date()]
        if not day_before or any(e.kind == "hold" for e in cell):
            continue
        placed = day_before[-1]
        early = replace(
            finish,
            at=placed.at + dt.timedelta(minutes=10),
            event_id=book.new_id(),
            recorded_at=placed.recorded_at,
        )
        yield early
        yield _void(book, early, words.FINISHED_EARLY)


def _reopened(book: DayBook, events: list[Event], rng: np.random.Generator) -> Iterator[Event]:
    """Yield spans opened again next morning while the crew is still on the unit."""
    cells = _cells(events)
    unit_ends: dict[tuple[str, str], dt.date] = {}
    for (unit, _, activity), cell in cells.items():
        end = cell[-1].at.date()
        unit_ends[unit, activity] = max(end, unit_ends.get((unit, activity), end))
    for (unit, _, activity), cell in cells.items():
        finish = cell[-1]
        reason = words.REOPEN_REASONS.get(activity)
        next_day = finish.at.date() + dt.timedelta(days=1)
        worked = {
            event.at.date()
            for key, other in cells.items()
            if key[0] == unit and key[2] == activity
            for event in other
            if event.kind == "place"
        }
        drawn = rng.random() < REOPEN_CHANCE
        if not reason or not drawn or finish.kind != "finish" or next_day not in worked:
            continue
        yield from _opened_again(book, finish, next_day, reason)


def _opened_again(book: DayBook, finish: Event, day: dt.date, reason: str) -> Iterator[Event]:
    """Yield the reopening of a finished span on ``day`` and its finish before noon."""
    known = book.as_utc(dt.datetime.combine(day, dt.time(12, 5)))
    opened = replace(
        finish,
        at=dt.datetime.combine(day, dt.time(7, 40)),
        kind="reopen",
        reason=reason,
        event_id=book.new_id(),
        recorded_at=known,
    )
    yield opened
    yield replace(
        opened,
        at=dt.datetime.combine(day, dt.time(11, 30)),
        kind="finish",
        reason="",
        note=words.AGAIN_FINISHED,
        event_id=book.new_id(),
    )


def _cells(events: list[Event]) -> dict[tuple[str, str, str], list[Event]]:
    """Return the events of each unit, span and activity, as they happened."""
    cells: dict[tuple[str, str, str], list[Event]] = defaultdict(list)
    for event in sorted(events, key=lambda event: event.at):
        cells[event.unit, event.span, event.activity].append(event)
    return cells


def _known(event: Event) -> dt.datetime:
    """Return when the log came to know an event of the day book."""
    assert event.recorded_at is not None
    return event.recorded_at
