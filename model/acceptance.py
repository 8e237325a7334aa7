"""What the log accepts: which events cannot be, and which are odd but happen.

====================================================== ===========
event                                                  verdict
====================================================== ===========
unknown unit, span, activity or kind                   refused
a span where the activity goes unit by unit            refused
nobody named in ``by``                                 refused
``at`` later than now (by more than 5 minutes)         refused
``at`` more than a year before the job begins          refused
``recorded_at`` carried from another log and later     refused
than now (by more than 5 minutes)
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
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, Protocol

import pandas as pd

from model.activities import Activity
from model.events import KINDS, Event
from model.job import Job
from model.log_arrays import ORDER_AT_SAME_MOMENT
from model.planned import activity_columns, span_rows, unit_rows
from model.problems import Problem, Severity, errors_only
from model.sequence import Line, Remark, Replay, Told, replay
from model.unit_log import LogView, UnitLog, view_of
from model.units import accepted_units, si_per

CLOCKS_APART = dt.timedelta(minutes=5)
"""A phone's clock may be ahead of ours by this much."""

LONG_BEFORE = dt.timedelta(days=365)
MOVING_KINDS = frozenset({"start", "place", "finish", "hold", "resume", "reopen"})
WORDS_AT_MOST = 12
"""A list to choose from is no help when it fills the screen."""
RANK = {kind: rank for rank, kind in enumerate(ORDER_AT_SAME_MOMENT)}


class _Now(NamedTuple):
    """The present moment: on site, and for what an older log carries."""

    local: dt.datetime
    known_by: dt.datetime | None


class Wrong(Protocol):
    """Makes a problem of one field of one event."""

    def __call__(self, field: str, message: str, fix: str, severity: Severity = "error") -> Problem:
        """Return the problem."""


def judge(
    new: Sequence[Event],
    events: LogView | pd.DataFrame,
    job: Job,
    *,
    now_local: dt.datetime,
    known_by: dt.datetime | None = None,
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
        The log it would follow; as an event frame, what it holds of the units that the batch
        touches, with all voids of their events, is enough.
    job
        The job as planned.
    now_local
        The present moment on site (naive).
    known_by
        The present moment (aware), when the ``recorded_at`` that events carry shall be kept;
        None does not look at it.
    source
        File name to show in problems.
    rows
        Row of each event in that file; counted from 1 where it is not given.
    line
        The same job made ready for the replay, by one who judges often. A unit is then
        replayed once, and from there on only what is added to it.

    Returns
    -------
    list of Problem
        In the order of the batch; errors refuse it, warnings do not. Events that are in the
        log already are passed over.
    """
    line, log, now = line or Line(job), view_of(events), _Now(now_local, known_by)
    problems: list[Problem] = []
    sound: list[tuple[int, Event]] = []
    for row, event in enumerate(new, 1):
        if log.find(event.event_id) is not None:
            continue
        found = list(_wrong_fields(event, row, line, now))
        problems += found
        if not found or not errors_only(found):
            sound.append((row, event))
    voids, wrong_voids = _read_voids(sound, log)
    problems += wrong_voids
    problems += _impossible(sound, voids, log, line)
    if not problems:
        return []
    numbers = rows or range(1, len(new) + 1)
    problems.sort(key=lambda problem: problem.row or 0)
    return [replace(p, file=source, row=numbers[(p.row or 1) - 1]) for p in problems]


def get_ready(log: LogView, units: Iterable[str], line: Line) -> None:
    """Replay units before anybody waits for it, and keep beside their logs what it came to.

    Parameters
    ----------
    log
        The log.
    units
        Units that a batch may touch.
    line
        The job, as ``judge`` will be given it.
    """
    for unit in units:
        _replayed(unit, log.unit(unit), line)


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


def _wrong_fields(event: Event, row: int, line: Line, now: _Now) -> Iterator[Problem]:
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
    yield from _wrong_time(event, wrong, line, now)
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


def _wrong_time(event: Event, wrong: Wrong, line: Line, now: _Now) -> Iterator[Problem]:
    known = event.recorded_at
    if now.known_by and known and known > now.known_by + CLOCKS_APART:
        yield wrong("recorded_at", f"{known:%Y-%m-%d %H:%M %Z} is later than now "
                    f"({now.known_by:%Y-%m-%d %H:%M %Z}).",
                    "Leave it blank for what becomes known now.")  # fmt: skip
    if event.at.tzinfo is not None:
        yield wrong("at", f"{event.at.isoformat()} carries a time zone.",
                    "Give the time that clocks on site show, without a zone.")  # fmt: skip
    elif event.at > now.local + CLOCKS_APART:
        yield wrong("at", f"{event.at:%Y-%m-%d %H:%M} is later than now "
                    f"({now.local:%Y-%m-%d %H:%M}).", "Record what has happened.")  # fmt: skip
    elif event.at < line.begins - LONG_BEFORE:
        yield wrong("at", f"{event.at:%Y-%m-%d} is more than a year before the job begins "
                    f"({line.begins:%Y-%m-%d}).", "Correct the date.")  # fmt: skip


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
    """What a batch cancels: ids with the rows of its voids, and the units they are of."""

    row_of: Mapping[str, int]
    units: frozenset[str]


_NO_VOIDS = _Voids({}, frozenset())


def _read_voids(sound: Sequence[tuple[int, Event]], log: LogView) -> tuple[_Voids, list[Problem]]:
    """Find what the voids of a batch cancel, and those that cannot be."""
    voids = [(row, event) for row, event in sound if event.kind == "void"]
    if not voids:
        return _NO_VOIDS, []
    fresh = {event.event_id: event for _, event in sound}
    row_of: dict[str, int] = {}
    units, problems = set(), []
    for row, event in voids:
        target = fresh.get(event.voids) or log.find(event.voids)
        wrong = _wrong_void(event, target, log, row_of)
        if wrong:
            problems.append(Problem("event", *wrong, row, "voids"))
        elif target:
            row_of[event.voids] = row
            units.add(target.unit)
    return _Voids(row_of, frozenset(units)), problems


def _wrong_void(
    event: Event, target: Event | None, log: LogView, void_already: Mapping[str, int]
) -> tuple[str, str] | None:
    if target is None:
        return f"{event.voids!r} is not in the log.", "Name the event_id of an event."
    if target.kind == "void":
        return "A void cannot be voided.", "Record the event again instead."
    if event.voids in void_already or event.voids in log.unit(target.unit).void:
        return f"{event.voids!r} is void already.", "Leave this void out."
    if event.unit not in ("", target.unit):
        return (f"{event.voids!r} is an event of {target.unit}, not of {event.unit}.",
                "Correct the unit or the event_id.")  # fmt: skip
    return None


def _impossible(
    sound: Sequence[tuple[int, Event]], voids: _Voids, log: LogView, line: Line
) -> Iterator[Problem]:
    """Replay every unit that the batch touches, with the batch in it."""
    fresh: dict[str, list[Told]] = defaultdict(list)
    for row, event in sound:
        if event.kind in MOVING_KINDS and event.event_id not in voids.row_of:
            fresh[event.unit].append(_told(event, row, line))
    for unit in fresh.keys() | voids.units:
        replayed = _replayed(unit, log.unit(unit), line)
        if unit not in voids.units and all(map(replayed.so_far.takes, fresh[unit])):
            remarks = replayed.try_next(fresh[unit])
        else:
            replayed.and_then = None
            remarks = yield from _replayed_anew(unit, log.unit(unit), fresh[unit], voids, line)
        for told, field, message, fix, severity in remarks:
            if told.row:
                yield Problem("event", message, fix, told.row, field, severity)


def _replayed_anew(
    unit: str, log: UnitLog, fresh: Sequence[Told], voids: _Voids, line: Line
) -> Generator[Problem, None, list[Remark]]:
    """Replay all of a unit with the batch in it; yield what it makes impossible of the log."""
    logged = _standing(log.events, log, line)
    standing = [told for told in logged if told.event_id not in voids.row_of]
    remarks = replay(line, unit, [*standing, *fresh])
    broken = [r for r in remarks if not r.told.row and r.severity == "error"]
    if broken:
        before = {r.told.event_id for r in replay(line, unit, logged) if r.severity == "error"}
        broken = [remark for remark in broken if remark.told.event_id not in before]
        struck = [told._replace(row=voids.row_of[told.event_id]) for told in logged
                  if told.event_id in voids.row_of]  # fmt: skip
        yield from _blamed(broken, [*fresh, *struck], line)
    return remarks


@dataclass(slots=True)
class _Replayed:
    """What a unit's log comes to, kept beside it, so that the next batch goes on from there."""

    line: Line
    so_far: Replay
    count: int
    """Events of the log that it covers,"""
    voids: int
    """and what is void among them."""
    tried: Sequence[Told] = ()
    """The batch that was judged last,"""
    and_then: Replay | None = None
    """and what the log comes to if it is taken."""

    def try_next(self, fresh: Sequence[Told]) -> list[Remark]:
        """Go on with a batch that may yet be refused."""
        self.tried, self.and_then = fresh, self.so_far.branch()
        return self.and_then.go_on(fresh)

    def catch_up(self, log: UnitLog) -> bool:
        """Take in what the log has got since; return False where it must be replayed anew."""
        added = log.events[self.count :]
        self.count = len(log.events)
        if len(log.void) > self.voids:
            return False
        fresh = _standing(added, log, self.line)
        if not fresh:
            return True
        if self.and_then and _same(self.tried, fresh):
            self.so_far, self.and_then = self.and_then, None
            return True
        if not all(map(self.so_far.takes, fresh)):
            return False
        self.so_far.go_on(fresh)
        return True


def _same(tried: Sequence[Told], came: Sequence[Told]) -> bool:
    """Return whether two lists tell the same, but for the rows they came in."""
    return [told[:-1] for told in tried] == [told[:-1] for told in came]


def _replayed(unit: str, log: UnitLog, line: Line) -> _Replayed:
    """Return what a unit's log comes to."""
    kept = log.kept
    if isinstance(kept, _Replayed) and kept.line is line and kept.catch_up(log):
        return kept
    so_far = Replay(line, unit)
    so_far.go_on(_standing(log.events, log, line))
    kept = log.kept = _Replayed(line, so_far, len(log.events), len(log.void))
    return kept


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


def _standing(events: Iterable[Event], log: UnitLog, line: Line) -> list[Told]:
    """Return those logged events of a unit that move it, stand, and that the job knows."""
    return [
        _told(event, 0, line)
        for event in events
        if event.kind in MOVING_KINDS
        and event.event_id not in log.void
        and event.unit in line.unit_row
        and event.activity in line.column
        and (not event.span or (event.unit, event.span) in line.span_row)
    ]


def _list(words: Iterable[str]) -> str:
    """Write words as a list to choose from."""
    *others, last = list(words)[:WORDS_AT_MOST]
    return f"{', '.join(others)} or {last}" if others else last
