"""What an event says, in the words of the trade."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from model.clock import short_date
from model.events import Event
from model.units import PRINTED

KIND_WORDS = {
    "start": "started",
    "place": "placed",
    "finish": "finished",
    "hold": "put on hold",
    "resume": "resumed",
    "reopen": "reopened",
    "check": "checked",
    "void": "cancelled an entry",
    "note": "noted",
}
"""Each kind of event, as it stands after the name of an activity."""


def done_words(event: Event) -> str:
    """Return what was done and how much of it, as typed.

    Examples
    --------
    >>> done_words(Event(dt.datetime(2026, 7, 31, 14, 30), "Ana", "E01", "deck_pour", "finish"))
    'finished'
    """
    words = KIND_WORDS.get(event.kind, event.kind)
    if event.quantity is None:
        return words
    return f"{words} {event.quantity} {PRINTED.get(event.measure_unit, event.measure_unit)}"


def cancelled_words(event: Event, names: Mapping[str, str], on: dt.date) -> str:
    """Return what a void says: which entry it cancels.

    Parameters
    ----------
    event
        The entry that is cancelled.
    names
        Name of each activity by its key.
    on
        Day of the void: the day of the entry is left out where it is the same.

    Examples
    --------
    >>> pour = Event(dt.datetime(2026, 7, 31, 14, 30), "Ana", "E01", "deck_pour", "finish")
    >>> cancelled_words(pour, {"deck_pour": "Deck pour"}, dt.date(2026, 7, 31))
    'cancelled: Deck pour finished 14:30 (by Ana)'
    >>> cancelled_words(pour, {"deck_pour": "Deck pour"}, dt.date(2026, 8, 3))
    'cancelled: Deck pour finished 31 Jul 14:30 (by Ana)'
    """
    span = f"span {event.span}" if event.span else ""
    when = f"{event.at:%H:%M}"
    if event.at.date() != on:
        when = f"{short_date(event.at)} {when}"
    words = (names.get(event.activity, event.activity), span, done_words(event), when)
    return f"cancelled: {' '.join(word for word in words if word)} (by {event.by})"
