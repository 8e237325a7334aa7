"""What may follow what in the history of one unit.

A unit's events are replayed in the order in which they happened, old and new together, and
every step that cannot be (or is odd) is remarked upon. ``model.acceptance`` turns the remarks
into problems of a batch; its docstring has the table of what is refused and what is not.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from model.activities import Activity
from model.job import Job
from model.planned import PlanGrid, lay_out_plan
from model.problems import Severity

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


@dataclass(slots=True)
class _Cell:
    """Where one activity stands at one place while the replay goes on."""

    begun: bool = False
    held: bool = False
    complete: bool = False
    finished_at: dt.datetime = dt.datetime.min
    placed_si: float = 0.0


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
    _workdays: dict[dt.date, bool] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        job = self.job
        column = {activity.key: number for number, activity in enumerate(job.activities)}
        spans = zip(job.spans["unit"], job.spans["span"], strict=True)
        made = {
            "plan": lay_out_plan(job),
            "unit_row": {unit: row for row, unit in enumerate(job.units["unit"])},
            "span_row": {place: row for row, place in enumerate(spans)},
            "column": column,
            "before": tuple(tuple(column[k] for k in a.after) for a in job.activities),
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
    return _Replay(line, unit, sorted(history)).remarks()


class _Replay:
    def __init__(self, line: Line, unit: str, history: Sequence[Told]) -> None:
        self.line = line
        self.unit = unit
        self.history = history
        self.spans = line.job.spans_of_unit.get(unit, ())
        self.cells: dict[tuple[str, int], _Cell] = {}
        self.placed_si: dict[int, float] = {}
        self.first_start: dict[tuple[str, int], dt.datetime] = {}
        for told in history:
            if told.kind == "start":
                for place in self.places(told.column, told.span):
                    self.first_start.setdefault((place, told.column), told.at)

    def remarks(self) -> list[Remark]:
        found: list[Remark] = []
        finishes: list[Told] = []
        for told in self.history:
            said = list(self.look_at(told))
            found += said
            if not any(remark.severity == "error" for remark in said):
                self.apply(told)
                if told.kind == "finish":
                    finishes.append(told)
        return found + [remark for told in finishes for remark in self.little_placed(told)]

    def look_at(self, told: Told) -> Iterator[Remark]:
        cells = [self.cell(place, told.column) for place in self.places(told.column, told.span)]
        if told.kind in ("start", "place", "finish"):
            waiting = next(self.unfinished_before(told), None)
            if waiting is not None:
                yield waiting
                return
            yield from self.odd_day(told)
        if told.kind == "start":
            yield from self.start(told, cells)
        elif told.kind == "place":
            yield from self.place(told, cells)
        elif told.kind == "finish":
            yield from self.finish(told, cells)
        else:
            yield from self.turn(told, cells)

    def start(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        if not any(not (cell.begun or cell.held or cell.complete) for cell in cells):
            if all(cell.complete for cell in cells):
                yield self.say(told, "kind", "is finished already", "Record a reopen first.")
            elif any(cell.held for cell in cells):
                yield self.say(told, "kind", "is on hold", "Record a resume instead of a start.")
            else:
                yield self.say(told, "kind", "is under way already", "Leave this start out.")
        else:
            yield from self.lag(told)

    def place(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        if all(cell.complete for cell in cells):
            yield self.odd(told, "at", "was finished before this quantity was placed",
                           "Fine for a late load ticket; otherwise correct the time.")  # fmt: skip
        elif not any(cell.begun for cell in cells):
            yield from self.lag(told)
        yield from self.over_plan(told)

    def finish(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        if all(cell.complete for cell in cells):
            yield self.say(told, "kind", "is finished already", "Leave this finish out.")
            return
        places = self.places(told.column, told.span)
        fresh = [p for p, c in zip(places, cells, strict=True) if not (c.begun or c.complete)]
        later = [self.first_start[p, told.column] for p in fresh
                 if (p, told.column) in self.first_start]  # fmt: skip
        if later:
            yield self.say(told, "at", f"finishes before its start ({min(later):%Y-%m-%d %H:%M})",
                           "Correct the time of the finish or of the start.")  # fmt: skip
            return
        if fresh:
            yield self.odd(told, "kind", "was never started", "Record its start if it is known.")
        if any(cell.held for cell in cells):
            yield self.odd(told, "kind", "is on hold", "The finish ends the hold.")

    def turn(self, told: Told, cells: list[_Cell]) -> Iterator[Remark]:
        """Look at a hold, resume or reopen."""
        if told.kind == "hold":
            if all(cell.complete for cell in cells):
                yield self.say(told, "kind", "is finished", "Record a reopen first.")
            elif all(cell.held or cell.complete for cell in cells):
                yield self.say(told, "kind", "is on hold already", "Leave this hold out.")
        elif told.kind == "resume" and not any(cell.held for cell in cells):
            yield self.say(told, "kind", "is not on hold", "Leave this resume out.")
        elif told.kind == "reopen":
            if not any(cell.complete for cell in cells):
                yield self.say(told, "kind", "is not finished", "Leave this reopen out.")
            yield from self.followers(told)

    def followers(self, told: Told) -> Iterator[Remark]:
        for column, before in enumerate(self.line.before):
            if told.column in before and any(
                self.cell(place, column).begun for place in self.places(column, "")
            ):
                name = self.activity(column).name
                yield self.odd(told, "kind", f"is reopened though {name} has begun",
                               "See that this is meant.")  # fmt: skip

    def unfinished_before(self, told: Told) -> Iterator[Remark]:
        """Find the activities that should be finished first and are not."""
        for column in self.line.before[told.column]:
            places = self.places(column, told.span)
            open_places = [p for p in places if not self.cell(p, column).complete]
            if open_places:
                name = self.activity(column).name
                where = ", ".join(p for p in open_places if p)
                where = f" in span {where}" if where else ""
                yield self.say(
                    told, "at", f"cannot {told.kind} before {name} is finished{where}",
                    f"Record the finish of {name} first, or correct the time.",
                )  # fmt: skip

    def lag(self, told: Told) -> Iterator[Remark]:
        activity = self.activity(told.column)
        ends = [
            self.cell(place, column).finished_at.date()
            for column in self.line.before[told.column]
            for place in self.places(column, told.span)
        ]
        if not activity.lag_days or not ends:
            return
        after = self.line.job.calendar.add(np.datetime64(max(ends)), activity.lag_days)
        due = dt.date.fromisoformat(str(after))
        if told.at.date() < due:
            yield self.odd(told, "at", f"begins before {due:%Y-%m-%d}, {activity.lag_days} working "
                           "days after what comes before it", "See that this is meant; the "
                           "engineer of record decides when a part may be loaded.")  # fmt: skip

    def odd_day(self, told: Told) -> Iterator[Remark]:
        day = (told.at - NIGHT_ENDS).date()
        if self.activity(told.column).calendar_days or self.line.is_workday(day):
            return
        yield self.odd(told, "at", f"{told.kind} on {day:%A %Y-%m-%d}, which is no working day",
                       "See that the date is right.")  # fmt: skip

    def over_plan(self, told: Told) -> Iterator[Remark]:
        for planned, so_far in self.plans(told):
            total, most = so_far + told.quantity_si, FAR_OVER_PLAN * planned
            if told.quantity_si > SINGLE_PLACE_LIMIT * planned or total > most:
                yield self.say(
                    told, "quantity", f"is far over plan: {total / planned:.0%} of what is planned",
                    "See that the quantity has no digit too many and its unit is right.",
                )  # fmt: skip
                return
            if total > OVER_PLAN * planned:
                yield self.odd(told, "quantity", f"is over plan: {total / planned:.0%} of what is "
                               "planned", "See that the quantity is right.")  # fmt: skip
                return

    def plans(self, told: Told) -> Iterator[tuple[float, float]]:
        """Yield planned and placed of the span, where one is named, and of the unit."""
        if told.span:
            row = self.line.span_row[self.unit, told.span]
            planned = float(self.line.plan.span_si[row, told.column])
            if planned > 0:
                yield planned, self.cell(told.span, told.column).placed_si
        planned = float(self.line.plan.unit_si[self.line.unit_row[self.unit], told.column])
        if planned > 0:
            yield planned, self.placed_si.get(told.column, 0.0)

    def little_placed(self, told: Told) -> Iterator[Remark]:
        # A span is held to its own plan: its unit has other spans still to come.
        planned, placed = next(self.plans(told), (0.0, 0.0))
        if placed < LITTLE_PLACED * planned:
            yield self.odd(told, "kind", f"is finished with {placed / planned:.0%} of what is "
                           "planned", "Record what else was placed.")  # fmt: skip

    def apply(self, told: Told) -> None:
        """Take over what an event says, as ``model.fold`` does."""
        places = self.places(told.column, told.span)
        for place in places:
            cell = self.cell(place, told.column)
            if told.kind in ("start", "place"):
                cell.begun = True
                cell.placed_si += told.quantity_si * self.share(place, told)
            elif told.kind == "finish" and not cell.complete:
                cell.begun, cell.held, cell.complete = True, False, True
                cell.finished_at = told.at
            elif told.kind == "reopen" and cell.complete:
                cell.held = cell.complete = False
            elif told.kind in ("hold", "resume"):
                cell.held = told.kind == "hold" and not cell.complete
        self.placed_si[told.column] = self.placed_si.get(told.column, 0.0) + told.quantity_si

    def places(self, column: int, span: str) -> tuple[str, ...]:
        """Return the places an event is meant for: spans, or blank for the unit.

        Asked of an earlier activity, they are where it must be finished: in the same span
        where both go by spans, else in the whole unit.
        """
        if not self.line.plan.by_span[column]:
            return ("",)
        return (span,) if span else self.spans

    def share(self, place: str, told: Told) -> float:
        """Return what part of a quantity belongs to a place."""
        if told.span or not place:
            return 1.0
        return float(self.line.plan.share[self.line.span_row[self.unit, place], told.column])

    def cell(self, place: str, column: int) -> _Cell:
        return self.cells.setdefault((place, column), _Cell())

    def activity(self, column: int) -> Activity:
        return self.line.job.activities[column]

    def say(self, told: Told, name: str, what: str, fix: str) -> Remark:
        return Remark(told, name, f"{self.label(told)} {what}.", fix)

    def odd(self, told: Told, name: str, what: str, fix: str) -> Remark:
        return Remark(told, name, f"{self.label(told)} {what}.", fix, "warning")

    def label(self, told: Told) -> str:
        span = f" span {told.span}" if told.span else ""
        return f"{self.activity(told.column).name} of {self.unit}{span}"
