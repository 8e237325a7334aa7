"""The day book of a shift: who recorded what, when it happened, when it became known.

A shift belongs to the day it began: what happened before 06:00 stands in the book of the day
before, unless that work began after midnight. Nothing is left out: what was cancelled later is
shown struck out, with who cancelled it, and what was recorded in this shift about earlier days
has a part of its own. What it comes to is added up on top (``model.shift_totals``).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from model.clock import short_date, wall_clock
from model.event_words import cancelled_words, done_words
from model.events import Event
from model.fold import NIGHT_ENDS_HOUR
from model.job import Job
from model.shift_totals import ShiftTotal, ShiftTotals

SMALL_HOURS = dt.time(NIGHT_ENDS_HOUR)
"""Until then a shift of the day before may still run."""


@dataclass(frozen=True, slots=True)
class DayBookEntry:
    """One line of the day book.

    Parameters
    ----------
    event
        As recorded.
    heading
        Key of the heading of its unit; blank where the job knows none.
    activity_name
        In words; blank for a note on the whole unit.
    known_local
        Local moment the log came to know it.
    late
        True when it became known only after its shift.
    voided_by
        The event that cancelled it, None while it counts.
    cancels
        In words which entry it cancels; blank for what is no void.
    unit
        Where it is; a void is where the entry is that it cancels.
    """

    event: Event
    heading: str
    activity_name: str
    known_local: dt.datetime
    late: bool
    voided_by: Event | None = None
    cancels: str = ""
    unit: str = ""

    @property
    def what(self) -> str:
        """What happened, in words.

        Examples
        --------
        >>> pour = Event(dt.datetime(2026, 7, 31, 14, 30), "Ana", "E01", "deck_pour", "hold",
        ...              reason="rain")
        >>> DayBookEntry(pour, "east_1", "Deck pour", pour.at, late=False).what
        'put on hold: rain'
        """
        said = [text for text in (self.event.reason, self.event.note) if text]
        if self.cancels:
            return "; ".join([self.cancels, *said])
        words = done_words(self.event)
        return f"{words}: {'; '.join(said)}" if said else words

    @property
    def place(self) -> str:
        """Unit and span in words."""
        unit = self.unit or self.event.unit
        return f"{unit} span {self.event.span}" if self.event.span else unit

    def as_dict(self) -> dict[str, Any]:
        """Return the line as one JSON-ready row."""
        event = self.event
        return {
            "event_id": event.event_id,
            "at": event.at.isoformat(timespec="minutes"),
            "known_at": self.known_local.isoformat(timespec="seconds"),
            "late": self.late,
            "by": event.by,
            "heading": self.heading or None,
            "unit": event.unit or None,
            "span": event.span or None,
            "activity": event.activity or None,
            "kind": event.kind,
            "quantity": None if event.quantity is None else str(event.quantity),
            "measure_unit": event.measure_unit or None,
            "reason": event.reason or None,
            "note": event.note or None,
            "voids": event.voids or None,
            "voided_by": self.voided_by.by if self.voided_by else None,
            "what": self.what,
        }


@dataclass(frozen=True, slots=True)
class DayBook:
    """What a shift says of itself, ready to be printed and signed.

    Parameters
    ----------
    project
        Name of the project.
    day
        The day the shift began.
    known_on
        Local moment; only what the log knew by then.
    happened
        What happened in the shift, by heading and time.
    recorded
        What was recorded in the shift about earlier days, by time of recording.
    totals
        What the shift placed, started, finished and left on hold.
    """

    project: str
    day: dt.date
    known_on: dt.datetime
    happened: tuple[DayBookEntry, ...]
    recorded: tuple[DayBookEntry, ...]
    totals: ShiftTotals

    @property
    def ends(self) -> dt.datetime:
        """The local moment until which work of the shift may go on."""
        return dt.datetime.combine(self.day + dt.timedelta(days=1), SMALL_HOURS)

    @property
    def still_open(self) -> bool:
        """Tell whether the shift could go on when the book was made."""
        return self.known_on < self.ends

    @property
    def cancelled(self) -> int:
        """Number of its entries that were cancelled since."""
        return sum(entry.voided_by is not None for entry in self.happened)

    @property
    def extent(self) -> str:
        """How much it holds, so that a sheet that went missing is missed."""
        words = _entries(len(self.happened))
        if self.cancelled:
            words += f", {self.cancelled} of them cancelled since"
        if self.still_open:
            until = f"{short_date(self.ends)} {self.ends:%H:%M}"
            words += f"; more can still happen in this shift until {until}"
        return words

    @property
    def of_earlier_days(self) -> str:
        """Where the entries of earlier days count; blank where there are none."""
        if not self.recorded:
            return ""
        few = _entries(len(self.recorded))
        return f"{few} recorded in this shift about earlier days: counted there, not in this shift."

    @property
    def people(self) -> tuple[str, ...]:
        """Everybody who recorded a line of it, by name: they sign."""
        return tuple(sorted({entry.event.by for entry in (*self.happened, *self.recorded)}))

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct daybook --json`` prints."""
        return {
            "project": self.project,
            "day": self.day.isoformat(),
            "known_on": self.known_on.isoformat(timespec="minutes"),
            "happened": [entry.as_dict() for entry in self.happened],
            "recorded": [entry.as_dict() for entry in self.recorded],
            "people": list(self.people),
            "shift_ends": self.ends.isoformat(timespec="minutes"),
            "still_open": self.still_open,
            "entries": len(self.happened),
            "entries_cancelled": self.cancelled,
            "totals": self.totals.as_dict(),
        }

    def __str__(self) -> str:
        known = f"{short_date(self.known_on)} {self.known_on:%Y %H:%M}"
        lines = [f"{self.project}: day book of {self.day:%A} {self.day.day} {self.day:%B %Y}",
                 f"as known on {known}", self.extent, ""]  # fmt: skip
        lines += _printed_totals(self)
        lines += [_printed(entry) for entry in self.happened] or ["Nothing was recorded of it."]
        if self.recorded:
            lines += ["", "Recorded in this shift about earlier days"]
            lines += [_printed(entry) for entry in self.recorded]
        lines += ["", *(f"signed {'.' * 30} {name}" for name in self.people)]
        return "\n".join(lines)


def day_book(
    events: Iterable[Event],
    job: Job,
    day: dt.date,
    *,
    known_on: dt.datetime,
    totals: ShiftTotals | None = None,
    earlier: Iterable[Event] = (),
) -> DayBook:
    """Write the day book of a shift.

    Parameters
    ----------
    events
        Events as a store returns them, rising; at least all from the first that has to do
        with the shift on.
    job
        Names activities and headings, and says the site's time zone.
    day
        The day the shift began.
    known_on
        Local moment (naive); only what the log knew by then.
    totals
        What the shift comes to, as known on the same moment.
    earlier
        Events from before ``events`` that they cancel.

    Returns
    -------
    DayBook
    """
    known = [(event, _known_local(event, job)) for event in events]
    known = [(event, moment) for event, moment in known if moment <= known_on]
    told = [event for event, _ in known]
    voided_by = {event.voids: event for event in told if event.voids}
    fresh_starts = _starts_after_midnight(e for e in told if e.event_id not in voided_by)
    shifts = [(event, moment, _shift_day(event, fresh_starts)) for event, moment in known]
    entries = _Entries(job, {e.event_id: e for e in (*earlier, *told)}, voided_by)
    happened = [entries.entry(*each) for each in shifts if each[2] == day]
    recorded = [entries.entry(*each) for each in shifts if each[2] < day == shift_of(each[1])]
    headings = {heading.key: place for place, heading in enumerate(job.headings)}
    happened.sort(key=lambda e: (headings.get(e.heading, len(headings)), e.event.at,
                                 e.event.seq or 0))  # fmt: skip
    recorded.sort(key=lambda e: (e.known_local, e.event.seq or 0))
    return DayBook(
        job.name, day, known_on, tuple(happened), tuple(recorded), totals or ShiftTotals()
    )


@dataclass(frozen=True)
class _Entries:
    """Makes lines of events.

    Parameters
    ----------
    job
        Names activities and headings.
    by_id
        The events, and those they cancel.
    voided_by
        The void of each event that was cancelled, by the ``event_id`` of the event.
    """

    job: Job
    by_id: Mapping[str, Event]
    voided_by: Mapping[str, Event]

    def entry(self, event: Event, moment: dt.datetime, shift: dt.date) -> DayBookEntry:
        """Return the line of an event of a shift, known at a local moment."""
        gone = self.by_id.get(event.voids)
        activity = self.job.activity_by_key.get(event.activity)
        names = {key: activity.name for key, activity in self.job.activity_by_key.items()}
        # A void need not say where: it is where the entry is that it cancels.
        unit = event.unit or (gone.unit if gone else "")
        return DayBookEntry(
            event=event,
            heading=self.job.heading_of_unit.get(unit, ""),
            activity_name=activity.name if activity else event.activity,
            known_local=moment,
            late=shift_of(moment) > shift,
            voided_by=self.voided_by.get(event.event_id),
            cancels=cancelled_words(gone, names, event.at.date()) if gone else "",
            unit=unit,
        )


def units_of_cancelled(events: Sequence[Event], log: pd.DataFrame) -> tuple[str, ...]:
    """Return the units of events that are cancelled by some events and are not among them.

    Parameters
    ----------
    events
        Events as a store returns them.
    log
        Event frame of the log.
    """
    known = {event.event_id for event in events}
    gone = {event.voids for event in events if event.voids} - known
    return tuple(log.loc[log["event_id"].isin(gone), "unit"].unique()) if gone else ()


def first_seq_of(events: pd.DataFrame, job: Job, day: dt.date) -> int:
    """Return the running number of the first event that has to do with a day's shift.

    Parameters
    ----------
    events
        Event frame of the log.
    job
        Says the site's time zone.
    day
        The day the shift began.

    Returns
    -------
    int
        One past the last number when there is none.
    """
    known = events["recorded_at"].dt.tz_convert(str(job.timezone)).dt.tz_localize(None)
    first = pd.Timestamp(day)
    last = first + pd.Timedelta(days=1, hours=SMALL_HOURS.hour)
    near = events["at"].between(first, last) | known.between(first, last)
    numbers = events.loc[near, "seq"]
    newest = int(events["seq"].max()) if len(events) else 0
    return int(numbers.min()) if len(numbers) else newest + 1


def told_last(events: Iterable[Event], by: str) -> tuple[dt.date | None, tuple[Event, ...]]:
    """Return what somebody told of the last shift of theirs, as far as it counts.

    Parameters
    ----------
    events
        Events as a store returns them, rising; at least all from that shift on.
    by
        Name under which it was recorded.

    Returns
    -------
    tuple of date and events
        The day the shift began and the events, rising, without what was cancelled since; None
        and nothing where there are none.
    """
    known = list(events)
    cancelled = {event.voids for event in known if event.voids}
    counts = [event for event in known if event.kind != "void" and event.event_id not in cancelled]
    fresh_starts = _starts_after_midnight(counts)
    mine = [(_shift_day(event, fresh_starts), event) for event in counts if event.by == by]
    last = max((day for day, _ in mine), default=None)
    return last, tuple(event for day, event in mine if day == last)


def shift_of(moment: dt.datetime) -> dt.date:
    """Return the day whose shift runs at a local moment, if it runs on past midnight.

    Examples
    --------
    >>> shift_of(dt.datetime(2026, 7, 2, 1, 30)), shift_of(dt.datetime(2026, 7, 2, 6, 0))
    (datetime.date(2026, 7, 1), datetime.date(2026, 7, 2))
    """
    early = moment.time() < SMALL_HOURS
    return moment.date() - dt.timedelta(days=1) if early else moment.date()


def _shift_day(event: Event, fresh_starts: dict[tuple[str, str, dt.date], dt.datetime]) -> dt.date:
    began = fresh_starts.get((event.unit, event.activity, event.at.date()))
    return event.at.date() if began and began <= event.at else shift_of(event.at)


def _starts_after_midnight(
    events: Iterable[Event],
) -> dict[tuple[str, str, dt.date], dt.datetime]:
    """Return when work began in the small hours: an early pour is of its own day."""
    began: dict[tuple[str, str, dt.date], dt.datetime] = {}
    for event in events:
        if event.kind in ("start", "resume") and event.at.time() < SMALL_HOURS:
            key = event.unit, event.activity, event.at.date()
            began[key] = min(event.at, began.get(key, event.at))
    return began


def _known_local(event: Event, job: Job) -> dt.datetime:
    return wall_clock(event.recorded_at, job.timezone) if event.recorded_at else event.at


def _entries(count: int) -> str:
    return f"{count} {'entry' if count == 1 else 'entries'}"


def _printed_totals(book: DayBook) -> list[str]:
    """Return what the shift comes to, or nothing where nothing moved."""
    totals = book.totals
    lines = [_printed_total(total.heading, total) for total in totals.by_heading]
    lines += [_printed_total("all headings", total) for total in totals.added_up]
    if lines:
        lines = ["Placed in this shift", *lines]
    if book.of_earlier_days:
        lines.append(book.of_earlier_days)
    return [*lines, ""] if lines else []


def _printed_total(heading: str, total: ShiftTotal) -> str:
    said = [f"{words} {total.count_words(count)}" for words, count in total.counts if count]
    if total.entries:
        said = [f"{total.placed_words} in {_entries(total.entries)}", *said]
    if total.to_date_words:
        said.append(f"to date {total.to_date_words}")
    return f"{heading:<12} {total.activity.name:<22} {', '.join(said)}"


def _printed(entry: DayBookEntry) -> str:
    event = entry.event
    line = (f"{short_date(event.at):>6} {event.at:%H:%M}  {entry.heading:<10} {entry.place:<12} "
            f"{entry.activity_name:<22} {entry.what}  [{event.by}, known "
            f"{short_date(entry.known_local)} {entry.known_local:%H:%M}"
            f"{', late' if entry.late else ''}]")  # fmt: skip
    if entry.voided_by:
        line += f"  CANCELLED by {entry.voided_by.by}"
    return line
