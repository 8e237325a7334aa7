"""What may follow what in the history of one unit.

A unit's events are replayed in the order in which they happened, old and new together, and
every step that cannot be (or is odd) is remarked upon. ``model.acceptance`` turns the remarks
into problems of a batch; its docstring has the table of what is refused and what is not.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from model.activities import Activity
from model.job import Job
from model.planned import PlanGrid, lay_out_plan
from model.problems import Severity
from model.units import share_words

SINGLE_PLACE_LIMIT = 1.5
"""One place above this share of the plan is taken for a typing error (common practice)."""

FAR_OVER_PLAN = 2.0
OVER_PLAN = 1.10
LITTLE_PLACED = 0.80
NIGHT_ENDS = dt.timedelta(hours=6)
"""Work before six in the morning belongs to the shift of the day before."""


class Told(NamedTuple):
    """One event as the replay needs it; sorts in the order in which things happened.

    An activity comes before those that wait for it when both carry the same time.
    """

    at: dt.datetime
    column: int
    rank: int
    event_id: str
    unit: str
    span: str
    kind: str
    quantity_si: float
    row: int
    """Place in the batch from 1 on; 0 for an event of the log."""


class Remark(NamedTuple):
    """Something the replay says about one event."""

    told: Told
    field: str
    message: str
    fix: str
    severity: Severity = "error"


class _Cell(NamedTuple):
    """Where one activity stands at one place while the replay goes on."""

    begun: bool = False
    held: bool = False
    complete: bool = False
    finished_at: dt.datetime = dt.datetime.min
    placed_si: float = 0.0


_UNTOUCHED = _Cell()


@dataclass(frozen=True)
class Line:
    """The job as the replay needs it.

    Parameters
    ----------
    job
        The job as planned.
    """

    job: Job
    plan: PlanGrid = field(init=False)
    unit_row: dict[str, int] = field(init=False)
    span_row: dict[tuple[str, str], int] = field(init=False)
    column: dict[str, int] = field(init=False)
    before: tuple[tuple[int, ...], ...] = field(init=False)
    akin: tuple[tuple[int, ...], ...] = field(init=False)
    """For each activity, those whose events have to do with its own: it and its neighbours."""
    begins: dt.datetime = field(init=False)
    _workdays: dict[dt.date, bool] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        job = self.job
        column = {activity.key: number for number, activity in enumerate(job.activities)}
        spans = zip(job.spans["unit"], job.spans["span"], strict=True)
        before = tuple(tuple(column[k] for k in a.after) for a in job.activities)
        made = {
            "plan": lay_out_plan(job),
            "unit_row": {unit: row for row, unit in enumerate(job.units["unit"])},
            "span_row": {place: row for row, place in enumerate(spans)},
            "column": column,
            "before": before,
            "begins": dt.datetime.combine(job.calendar.start, dt.time()),
            "akin": tuple(
                (here, *before[here], *(c for c, b in enumerate(before) if here in b))
                for here in column.values()
            ),
        }
        for name, value in made.items():
            object.__setattr__(self, name, value)

    def is_workday(self, date: dt.date) -> bool:
        """Return whether a date is worked."""
        if date not in self._workdays:
            self._workdays[date] = bool(self.job.calendar.is_workday(np.datetime64(date)))
        return self._workdays[date]


def replay(line: Line, unit: str, history: Iterable[Told]) -> list[Remark]:
    """Replay what happened to a unit and remark on what cannot be, or is odd.

    Parameters
    ----------
    line
        The job.
    unit
        A unit of the job.
    history
        Its events that stand, in any order.

    Returns
    -------
    list of Remark
        An event with an error is left out of what follows.
    """
    return Replay(line, unit).go_on(history)


class Replay:
    """The history of one unit as far as it has been replayed; it can go on from there.

    Parameters
    ----------
    line
        The job.
    unit
        A unit of the job.
    """

    def __init__(self, line: Line, unit: str) -> None:
        self.line = line
        self.unit = unit
        self.spans = line.job.spans_of_unit.get(unit, ())
        self.cells: dict[tuple[str, int], _Cell] = {}
        self.placed_si: dict[int, float] = {}
        self.first_start: dict[tuple[str, int], dt.datetime] = {}
        self.last: dict[int, Told] = {}
        """The last event of each activity."""

    def branch(self) -> Replay:
        """Return another one that goes on from here and leaves this one as it is."""
        other = Replay.__new__(Replay)
        other.line, other.unit, other.spans = self.line, self.unit, self.spans
        # Cells are never changed, only replaced, so that plain copies are enough.
        other.cells, other.placed_si = self.cells.copy(), self.placed_si.copy()
        other.first_start, other.last = self.first_start.copy(), self.last.copy()
        return other

    def takes(self, told: Told) -> bool:
        """Return whether to go on with an event comes to the same as to replay it all again.

        It does when the event comes after all that has to do with it, but for a start: that
        one may show that an earlier finish came before it.
        """
        for column in self.line.akin[told.column]:
            if column in self.last and told < self.last[column]:
                return False
        return told.kind != "start" or all(
            key in self.first_start or not self._cell(*key).begun
            for key in ((place, told.column) for place in self._places(told.column, told.span))
        )

    def go_on(self, history: Iterable[Told]) -> list[Remark]:
        """Go on with what happened next.

        Parameters
        ----------
        history
            Events that ``takes`` agrees to, in any order.

        Returns
        -------
        list of Remark
            As ``replay`` returns them.
        """
        history = sorted(history)
        for told in history:
            if told.kind == "start":
                for place in self._places(told.column, told.span):
                    self.first_start.setdefault((place, told.column), told.at)
        found: list[Remark] = []
        finishes: list[Told] = []
        for told in history:
            said = list(self._look_at(told))
            self.last[told.column] = told
            if said:
                found += said
                if any(remark.severity == "error" for remark in said):
                    continue
            self._apply(told)
            if told.kind == "finish":
                finishes.append(told)
        return found + [remark for told in finishes for remark in self._little_placed(told)]

    def _look_at(self, told: Told) -> Iterator[Remark]:
        cells = [self._cell(place, told.column) for place in self._places(told.column, told.span)]
        work = told.kind in ("start", "place", "finish")
        return self._work(told, cells) if work else self._turn(told, cells)

    def _work(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        waiting = next(self._unfinished_before(told), None)
        if waiting is not None:
            yield waiting
            return
        yield from self._odd_day(told)
        if told.kind == "start":
            yield from self._start(told, cells)
        elif told.kind == "place":
            yield from self._place(told, cells)
        else:
            yield from self._finish(told, cells)

    def _start(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        if not any(not (cell.begun or cell.held or cell.complete) for cell in cells):
            if all(cell.complete for cell in cells):
                yield self._say(told, "kind", "is finished already", "Record a reopen first.")
            elif any(cell.held for cell in cells):
                yield self._say(told, "kind", "is on hold", "Record a resume instead of a start.")
            else:
                yield self._say(told, "kind", "is under way already", "Leave this start out.")
        else:
            yield from self._lag(told)

    def _place(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        if all(cell.complete for cell in cells):
            yield self._odd(told, "at", "was finished before this quantity was placed",
                           "Fine for a late load ticket; otherwise correct the time.")  # fmt: skip
        elif not any(cell.begun for cell in cells):
            yield from self._lag(told)
        yield from self._over_plan(told)

    def _finish(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        if all(cell.complete for cell in cells):
            yield self._say(told, "kind", "is finished already", "Leave this finish out.")
            return
        places = self._places(told.column, told.span)
        fresh = [p for p, c in zip(places, cells, strict=True) if not (c.begun or c.complete)]
        later = [self.first_start[p, told.column] for p in fresh
                 if (p, told.column) in self.first_start]  # fmt: skip
        if later:
            yield self._say(told, "at", f"finishes before its start ({min(later):%Y-%m-%d %H:%M})",
                           "Correct the time of the finish or of the start.")  # fmt: skip
            return
        if fresh:
            yield self._odd(told, "kind", "was never started", "Record its start if it is known.")
        if any(cell.held for cell in cells):
            yield self._odd(told, "kind", "is on hold", "The finish ends the hold.")

    def _turn(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        """Look at a hold, resume or reopen."""
        if told.kind == "hold":
            if all(cell.complete for cell in cells):
                yield self._say(told, "kind", "is finished", "Record a reopen first.")
            elif all(cell.held or cell.complete for cell in cells):
                yield self._say(told, "kind", "is on hold already", "Leave this hold out.")
        elif told.kind == "resume" and not any(cell.held for cell in cells):
            yield self._say(told, "kind", "is not on hold", "Leave this resume out.")
        elif told.kind == "reopen":
            if not any(cell.complete for cell in cells):
                yield self._say(told, "kind", "is not finished", "Leave this reopen out.")
            yield from self._followers(told)

    def _followers(self, told: Told) -> Iterator[Remark]:
        for column, before in enumerate(self.line.before):
            if told.column in before and any(
                self._cell(place, column).begun for place in self._places(column, "")
            ):
                name = self._activity(column).name
                yield self._odd(told, "kind", f"is reopened though {name} has begun",
                               "See that this is meant.")  # fmt: skip

    def _unfinished_before(self, told: Told) -> Iterator[Remark]:
        """Find the activities that should be finished first and are not."""
        for column in self.line.before[told.column]:
            places = self._places(column, told.span)
            open_places = [p for p in places if not self._cell(p, column).complete]
            if open_places:
                name = self._activity(column).name
                where = ", ".join(p for p in open_places if p)
                where = f" in span {where}" if where else ""
                yield self._say(
                    told, "at", f"cannot {told.kind} before {name} is finished{where}",
                    f"Record the finish of {name} first, or correct the time.",
                )  # fmt: skip

    def _lag(self, told: Told) -> Iterator[Remark]:
        activity = self._activity(told.column)
        ends = [
            self._cell(place, column).finished_at.date()
            for column in self.line.before[told.column]
            for place in self._places(column, told.span)
        ]
        if not activity.lag_days or not ends:
            return
        after = self.line.job.calendar.add(np.datetime64(max(ends)), activity.lag_days)
        due = dt.date.fromisoformat(str(after))
        if told.at.date() < due:
            yield self._odd(
                told, "at", f"begins before {due:%Y-%m-%d}, {activity.lag_days} working days after "
                "what comes before it", "See that this is meant; the engineer of record decides "
                "when a part may be loaded.",
            )  # fmt: skip

    def _odd_day(self, told: Told) -> Iterator[Remark]:
        day = (told.at - NIGHT_ENDS).date()
        if self._activity(told.column).calendar_days or self.line.is_workday(day):
            return
        yield self._odd(told, "at", f"{told.kind} on {day:%A %Y-%m-%d}, which is no working day",
                       "See that the date is right.")  # fmt: skip

    def _over_plan(self, told: Told) -> Iterator[Remark]:
        for planned, so_far in self._plans(told):
            total, most = so_far + told.quantity_si, FAR_OVER_PLAN * planned
            share = share_words(total / planned)
            if told.quantity_si > SINGLE_PLACE_LIMIT * planned or total > most:
                yield self._say(
                    told, "quantity", f"is far over plan: {share} of what is planned",
                    "See that the quantity has no digit too many and its unit is right.",
                )  # fmt: skip
                return
            if total > OVER_PLAN * planned:
                yield self._odd(told, "quantity", f"is over plan: {share} of what is planned",
                               "See that the quantity is right.")  # fmt: skip
                return

    def _plans(self, told: Told) -> Iterator[tuple[float, float]]:
        """Yield planned and placed of the span, where one is named, and of the unit."""
        if told.span:
            row = self.line.span_row[self.unit, told.span]
            planned = float(self.line.plan.span_si[row, told.column])
            if planned > 0:
                yield planned, self._cell(told.span, told.column).placed_si
        planned = float(self.line.plan.unit_si[self.line.unit_row[self.unit], told.column])
        if planned > 0:
            yield planned, self.placed_si.get(told.column, 0.0)

    def _little_placed(self, told: Told) -> Iterator[Remark]:
        # A span is held to its own plan: its unit has other spans still to come.
        planned, placed = next(self._plans(told), (0.0, 0.0))
        if placed < LITTLE_PLACED * planned:
            yield self._odd(told, "kind", f"is finished with {share_words(placed / planned)} of "
                           "what is planned", "Record what else was placed.")  # fmt: skip

    def _apply(self, told: Told) -> None:
        """Take over what an event says, as ``model.fold`` does."""
        for place in self._places(told.column, told.span):
            key = place, told.column
            begun, held, complete, finished_at, placed_si = self.cells.get(key, _UNTOUCHED)
            if told.kind in ("start", "place"):
                begun = True
                placed_si += told.quantity_si * self._share(place, told)
            elif told.kind == "finish" and not complete:
                begun, held, complete, finished_at = True, False, True, told.at
            elif told.kind == "reopen" and complete:
                held = complete = False
            elif told.kind in ("hold", "resume"):
                held = told.kind == "hold" and not complete
            self.cells[key] = _Cell(begun, held, complete, finished_at, placed_si)
        self.placed_si[told.column] = self.placed_si.get(told.column, 0.0) + told.quantity_si

    def _places(self, column: int, span: str) -> tuple[str, ...]:
        """Return the places an event is meant for: spans, or blank for the unit.

        Asked of an earlier activity, they are where it must be finished: in the same span
        where both go by spans, else in the whole unit.
        """
        if not self.line.plan.by_span[column]:
            return ("",)
        return (span,) if span else self.spans

    def _share(self, place: str, told: Told) -> float:
        """Return what part of a quantity belongs to a place."""
        if told.span or not place:
            return 1.0
        return float(self.line.plan.share[self.line.span_row[self.unit, place], told.column])

    def _cell(self, place: str, column: int) -> _Cell:
        return self.cells.get((place, column), _UNTOUCHED)

    def _activity(self, column: int) -> Activity:
        return self.line.job.activities[column]

    def _say(self, told: Told, name: str, what: str, fix: str) -> Remark:
        return Remark(told, name, f"{self._label(told)} {what}.", fix)

    def _odd(self, told: Told, name: str, what: str, fix: str) -> Remark:
        return Remark(told, name, f"{self._label(told)} {what}.", fix, "warning")

    def _label(self, told: Told) -> str:
        span = f" span {told.span}" if told.span else ""
        return f"{self._activity(told.column).name} of {self.unit}{span}"
