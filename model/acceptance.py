"""What the log accepts: which events cannot be, and which are odd but happen.

====================================================== ===========
event                                                  verdict
====================================================== ===========
unknown unit, span, activity or kind                   refused
a span where the activity goes unit by unit            refused
nobody named in ``by``                                 refused
``at`` later than now (by more than 5 minutes)         refused
``at`` more than a year before the job begins          refused
start, place or finish before the activities that      refused
must be finished first
finish before its start                                refused
finish of what was never started                       warning
finish of what is on hold (ends the hold)              warning
start, finish, hold, resume or reopen that would       refused
change nothing
start of what is on hold, hold of what is finished     refused
hold without a reason                                  refused
reopen when a following activity has begun             warning
place without a positive quantity, or in a unit that   refused
the measure is not counted in, or where nothing is
counted
one place over 150% of the plan, or over 200% in all   refused
more than 110% of the plan placed in all               warning
finish with less than 80% of the plan placed           warning
place after the finish (late load tickets)             warning
quantity on anything but a place                       warning
start before ``lag_days`` have passed                  warning
work on a day that is not worked                       warning
void of what is not in the log, of a void, or of what  refused
is void already
void or back-dated event that makes later events       refused
impossible
====================================================== ===========

A batch is judged as it will stand together with the log, in the order in which things
happened, whatever order it comes in. The percentages are common practice, no source. That an
event is accepted says nothing about whether the work was safe to do: these are records for
planning, the engineer of record decides.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from typing import Any, Protocol

import pandas as pd

from model.activities import Activity
from model.events import KINDS, Event
from model.job import Job
from model.log_arrays import ORDER_AT_SAME_MOMENT
from model.planned import activity_columns, span_rows, unit_rows
from model.problems import Problem, Severity, errors_only
from model.sequence import Line, Remark, Told, replay
from model.units import accepted_units, si_per

CLOCKS_APART = dt.timedelta(minutes=5)
"""A phone's clock may be ahead of ours by this much."""

LONG_BEFORE = dt.timedelta(days=365)
MOVING_KINDS = frozenset({"start", "place", "finish", "hold", "resume", "reopen"})
WORDS_AT_MOST = 12
"""A list to choose from is no help when it fills the screen."""
RANK = {kind: rank for rank, kind in enumerate(ORDER_AT_SAME_MOMENT)}


class Wrong(Protocol):
    """Makes a problem of one field of one event."""

    def __call__(self, field: str, message: str, fix: str, severity: Severity = "error") -> Problem:
        """Return the problem."""


def judge(
    new: Sequence[Event],
    events: pd.DataFrame,
    job: Job,
    *,
    now_local: dt.datetime,
    source: str = "event",
    rows: Sequence[int] | None = None,
    line: Line | None = None,
) -> list[Problem]:
    """Say what is wrong with a batch of events, all of it in one go.

    Parameters
    ----------
    new
        The batch, in any order.
    events
        Event frame of the log it would follow; what it holds of the units that the batch
        touches, with all voids of their events, is enough.
    job
        The job as planned.
    now_local
        The present moment on site (naive).
    source
        File name to show in problems.
    rows
        Row of each event in that file; counted from 1 where it is not given.
    line
        The same job made ready for the replay, by one who judges often.

    Returns
    -------
    list of Problem
        In the order of the batch; errors refuse it, warnings do not. Events that are in the
        log already are passed over.
    """
    line = line or Line(job)
    wanted = {e.event_id for e in new} | {e.voids for e in new if e.voids}
    logged = {event_id: (kind, unit) for event_id, kind, unit in _told_of(events, "event_id",
              "kind", "unit") if event_id in wanted}  # fmt: skip
    problems: list[Problem] = []
    sound: list[tuple[int, Event]] = []
    for row, event in enumerate(new, 1):
        if event.event_id in logged:
            continue
        found = list(_wrong_fields(event, row, line, now_local))
        problems += found
        if not errors_only(found):
            sound.append((row, event))
    voids, wrong_voids = _read_voids(sound, events, logged)
    problems += wrong_voids
    problems += _impossible(sound, voids, events, line)
    numbers = rows or range(1, len(new) + 1)
    problems.sort(key=lambda problem: problem.row or 0)
    return [replace(p, file=source, row=numbers[(p.row or 1) - 1]) for p in problems]


def strangers(events: pd.DataFrame, job: Job, *, source: str = "log") -> list[Problem]:
    """Say which logged events the job no longer has a place for; the fold leaves them out.

    Parameters
    ----------
    events
        Event frame of the log.
    job
        The job as planned, which may have changed since they were recorded.
    source
        Name to show in problems.

    Returns
    -------
    list of Problem
        One warning for each unit, span or activity that is named and not known.
    """
    told = events[events["kind"] != "void"]
    unit = unit_rows(job, told["unit"])
    blank = (told["span"] == "").to_numpy(bool)
    span = span_rows(job, unit, told["span"])
    no_activity = (told["activity"] == "").to_numpy(bool)
    unknown = {
        "unit": unit < 0,
        "span": (unit >= 0) & ~blank & (span < 0),
        "activity": ~no_activity & (activity_columns(job, told["activity"]) < 0),
    }
    return [
        Problem(
            source,
            f"{count} event(s) name {field} {key!r}, which this job does not have; they are left "
            "out.",
            "Give it back to the project folder, or void the events.",
            field=field,
            severity="warning",
        )
        for field, flags in unknown.items()
        for key, count in told.loc[flags, field].value_counts(sort=False).items()
    ]


def _wrong_fields(event: Event, row: int, line: Line, now_local: dt.datetime) -> Iterator[Problem]:
    """Say what is wrong with an event by itself."""

    def wrong(field: str, message: str, fix: str, severity: Severity = "error") -> Problem:
        return Problem("event", message, fix, row, field, severity)

    if not event.event_id:
        yield wrong("event_id", "There is no event_id.", "Give every event an id of its own.")
    if not event.by.strip():
        yield wrong("by", "Nobody is named.", "Say who reports this.")
    if event.kind not in KINDS:
        yield wrong("kind", f"{event.kind!r} is no kind of event.", f"Use {_list(KINDS)}.")
        return
    yield from _wrong_time(event, wrong, line, now_local)
    if event.kind == "void":
        return
    if event.unit not in line.unit_row:
        yield wrong("unit", f"{event.unit!r} is no unit of this job.", "Use a unit of units.csv.")
        return
    activity = line.job.activity_by_key.get(event.activity)
    if activity is not None:
        yield from _wrong_span(event, wrong, line, activity)
        yield from _wrong_quantity(event, wrong, activity)
    elif event.kind != "note" or event.activity:
        yield wrong("activity", f"{event.activity!r} is no activity of this job.",
                    f"Use {_list(line.column)}.")  # fmt: skip
    if event.kind == "hold" and not event.reason.strip():
        yield wrong("reason", "A hold has no reason.", "Say what the work waits for.")


def _wrong_time(
    event: Event, wrong: Wrong, line: Line, now_local: dt.datetime
) -> Iterator[Problem]:
    start = dt.datetime.combine(line.job.calendar.start, dt.time())
    if event.at.tzinfo is not None:
        yield wrong("at", f"{event.at.isoformat()} carries a time zone.",
                    "Give the time that clocks on site show, without a zone.")  # fmt: skip
    elif event.at > now_local + CLOCKS_APART:
        yield wrong("at", f"{event.at:%Y-%m-%d %H:%M} is later than now "
                    f"({now_local:%Y-%m-%d %H:%M}).", "Record what has happened.")  # fmt: skip
    elif event.at < start - LONG_BEFORE:
        yield wrong("at", f"{event.at:%Y-%m-%d} is more than a year before the job begins "
                    f"({start:%Y-%m-%d}).", "Correct the date.")  # fmt: skip


def _wrong_span(event: Event, wrong: Wrong, line: Line, activity: Activity) -> Iterator[Problem]:
    if not event.span:
        return
    if (event.unit, event.span) not in line.span_row:
        yield wrong("span", f"{event.span!r} is no span of {event.unit}.",
                    f"Use {_list(line.job.spans_of_unit[event.unit])}, or leave it blank for "
                    "all of them.")  # fmt: skip
    elif activity.grain == "unit":
        yield wrong("span", f"{activity.name} goes by whole units, not by spans.",
                    "Leave the span blank.")  # fmt: skip


def _wrong_quantity(event: Event, wrong: Wrong, activity: Activity) -> Iterator[Problem]:
    if event.kind != "place":
        if event.quantity is not None:
            yield wrong("quantity", f"The quantity of a {event.kind} is not counted.",
                        "Record it as a place.", "warning")  # fmt: skip
        return
    accepted = accepted_units(activity.measure)
    if not accepted:
        yield wrong("quantity", f"{activity.name} has no quantity.",
                    "Record a start or a finish.")  # fmt: skip
        return
    if event.quantity is None or not event.quantity.is_finite() or event.quantity <= 0:
        found = "missing" if event.quantity is None else str(event.quantity)
        yield wrong("quantity", f"The quantity placed is {found}, not more than 0.",
                    "Give what was placed; void an earlier event to take it back.")  # fmt: skip
    if event.measure_unit not in accepted:
        yield wrong("measure_unit", f"{activity.name} is not counted in {event.measure_unit!r}.",
                    f"Use {_list(accepted)}.")  # fmt: skip


@dataclass(frozen=True)
class _Voids:
    """What is void: by the log, and by the batch (with the rows of its voids)."""

    in_log: frozenset[str]
    row_of: Mapping[str, int]
    units: frozenset[str]


def _read_voids(
    sound: Sequence[tuple[int, Event]],
    events: pd.DataFrame,
    logged: Mapping[str, tuple[str, str]],
) -> tuple[_Voids, list[Problem]]:
    """Find what the voids of a batch cancel, and those that cannot be."""
    targets: dict[str, tuple[str, str]] = {e.event_id: (e.kind, e.unit) for _, e in sound}
    targets |= logged
    in_log = frozenset(voids for voids, kind in _told_of(events, "voids", "kind") if kind == "void")
    row_of: dict[str, int] = {}
    problems = []
    for row, event in sound:
        if event.kind != "void":
            continue
        wrong = _wrong_void(event, targets.get(event.voids), in_log | row_of.keys())
        if wrong:
            problems.append(Problem("event", *wrong, row, "voids"))
        else:
            row_of[event.voids] = row
    units = frozenset(targets[event_id][1] for event_id in row_of)
    return _Voids(in_log, row_of, units), problems


def _wrong_void(
    event: Event, target: tuple[str, str] | None, void_already: Set[str]
) -> tuple[str, str] | None:
    if target is None:
        return f"{event.voids!r} is not in the log.", "Name the event_id of an event."
    if target[0] == "void":
        return "A void cannot be voided.", "Record the event again instead."
    if event.voids in void_already:
        return f"{event.voids!r} is void already.", "Leave this void out."
    if event.unit not in ("", target[1]):
        return (f"{event.voids!r} is an event of {target[1]}, not of {event.unit}.",
                "Correct the unit or the event_id.")  # fmt: skip
    return None


def _impossible(
    sound: Sequence[tuple[int, Event]], voids: _Voids, events: pd.DataFrame, line: Line
) -> Iterator[Problem]:
    """Replay every unit that the batch touches, with the batch in it."""
    fresh: dict[str, list[Told]] = defaultdict(list)
    for row, event in sound:
        if event.kind in MOVING_KINDS and event.event_id not in voids.row_of:
            fresh[event.unit].append(_told(event, row, line))
    logged = _told_by_unit(events, fresh.keys() | voids.units, voids.in_log, line)
    for unit in fresh.keys() | voids.units:
        standing = [told for told in logged[unit] if told.event_id not in voids.row_of]
        struck = [told._replace(row=voids.row_of[told.event_id]) for told in logged[unit]
                  if told.event_id in voids.row_of]  # fmt: skip
        remarks = replay(line, unit, standing + fresh[unit])
        for told, field, message, fix, severity in remarks:
            if told.row:
                yield Problem("event", message, fix, told.row, field, severity)
        broken = [r for r in remarks if not r.told.row and r.severity == "error"]
        if broken:
            before = {r.told.event_id for r in replay(line, unit, logged[unit])
                      if r.severity == "error"}  # fmt: skip
            broken = [remark for remark in broken if remark.told.event_id not in before]
            yield from _blamed(broken, fresh[unit] + struck, line)


def _blamed(broken: Sequence[Remark], causes: Sequence[Told], line: Line) -> Iterator[Problem]:
    """Lay logged events that have become impossible at the door of the batch."""
    by_row: dict[int, list[Remark]] = defaultdict(list)
    for remark in broken:
        by_row[_cause(remark.told, causes, line).row].append(remark)
    for row, remarks in by_row.items():
        first = remarks[0]
        others = f" ({len(remarks) - 1} more after it)" if len(remarks) > 1 else ""
        yield Problem(
            "event",
            f"This makes a later event of the log impossible{others}: {first.message}",
            f"Void the later one first: {first.told.kind} of {first.told.at:%Y-%m-%d %H:%M}, "
            f"event_id {first.told.event_id}.",
            row,
        )


def _cause(broken: Told, causes: Sequence[Told], line: Line) -> Told:
    """Return the last new or voided event before it that has to do with it."""
    columns = {broken.column, *line.before[broken.column]}
    akin = [told for told in causes if told.column in columns and told < broken]
    return max(akin, default=max(causes))


def _told(event: Event, row: int, line: Line) -> Told:
    quantity = float(event.quantity or 0) if event.kind == "place" else 0.0
    return Told(
        event.at, line.column[event.activity], RANK[event.kind], event.event_id, event.unit,
        event.span, event.kind, quantity * si_per(event.measure_unit) if quantity else 0.0, row,
    )  # fmt: skip


def _told_by_unit(
    events: pd.DataFrame, units: Set[str], void: Set[str], line: Line
) -> dict[str, list[Told]]:
    """Return the logged events of some units that stand and that the job still knows."""
    by_unit: dict[str, list[Told]] = {unit: [] for unit in units}
    for at, activity, event_id, unit, span, kind, quantity, measure_unit in _told_of(
        events, "at", "activity", "event_id", "unit", "span", "kind", "quantity", "measure_unit"
    ):
        if unit not in by_unit or kind not in MOVING_KINDS:
            continue
        if event_id in void or activity not in line.column:
            continue
        if span and (unit, span) not in line.span_row:
            continue
        placed = quantity * si_per(measure_unit) if kind == "place" else 0.0
        by_unit[unit].append(
            Told(at, line.column[activity], RANK[kind], event_id, unit, span, kind,
                 placed, 0)
        )  # fmt: skip
    return by_unit


def _told_of(events: pd.DataFrame, *names: str) -> Iterator[tuple[Any, ...]]:
    """Return some columns row by row.

    A frame of one unit's events is short, where plain lists are quicker than frame
    operations; and this is done inside the write, where others wait.
    """
    return zip(*(events[name].to_numpy().tolist() for name in names), strict=True)


def _list(words: Iterable[str]) -> str:
    """Write words as a list to choose from."""
    *others, last = list(words)[:WORDS_AT_MOST]
    return f"{', '.join(others)} or {last}" if others else last
