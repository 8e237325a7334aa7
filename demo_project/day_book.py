"""What the foremen of the demo write down: one piece of work as events of the log.

Everything is recorded at the end of the shift it belongs to, sometimes only next morning.
"""

from __future__ import annotations

import datetime as dt
import math
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from demo_project import words
from demo_project.march import Piece
from model.activities import Activity
from model.events import Event, Kind
from model.job import Job
from model.planned import lay_out_plan
from model.units import from_si, shown_unit

SHIFT_BEGINS, SHIFT_ENDS, SHIFT_HOURS = dt.time(7), dt.time(16, 30), 8.5
DAY_POUR_BEGINS, NIGHT_POUR_BEGINS = dt.time(5, 30), dt.time(20, 30)
PLACED_PER_HOUR = {"bottom_slab_stems": 66.0, "deck_pour": 60.0}
"""Concrete placed per hour (yd³), common practice, no source."""

LOAD_YD3 = 9.0
POURED = tuple(PLACED_PER_HOUR)
NEXT_MORNING_CHANCE = 0.07
OVER_PLAN = {"falsework": (1.0, 0.003), "deck_forms": (1.0, 0.008), "rebar": (0.995, 0.015)}
POUR_OVER_PLAN = (1.012, 0.015)
"""Placed over planned, mean and standard deviation: some concrete always stays in the line."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of a piece on one span (or the whole unit), in worked shifts from its beginning."""

    span: str
    begin: float
    end: float
    planned: float
    """In the unit of the log; 0 where nothing is counted."""


class DayBook:
    """Writes pieces of work as events.

    Parameters
    ----------
    job
        Gives dates, time zone, spans and planned quantities.
    rng
        Source of chance; identifiers come from it too.
    """

    def __init__(self, job: Job, rng: np.random.Generator) -> None:
        self.job = job
        self.events: list[Event] = []
        self._rng = rng
        self._delays: dict[tuple[str, str, dt.date], dt.timedelta] = {}
        self._plan = lay_out_plan(job)
        self._unit_row = {unit: row for row, unit in enumerate(job.units["unit"])}
        keys = zip(job.spans["unit"], job.spans["span"], strict=True)
        self._span_row = {key: row for row, key in enumerate(keys)}

    def date(self, shift: int) -> dt.date:
        """Return the date of a working-day number."""
        return dt.date.fromisoformat(str(self.job.calendar.date_of(shift)))

    def new_id(self) -> str:
        """Return an identifier that follows from the seed."""
        return str(uuid.UUID(bytes=self._rng.bytes(16), version=4))

    def write(self, piece: Piece) -> None:
        """Write everything that is recorded about one piece of work."""
        if piece.activity.calendar_days:
            self._write_curing(piece)
            return
        for stretch in self._stretches(piece):
            self._write_stretch(piece, stretch)

    def say(
        self,
        piece: Piece,
        at: dt.datetime,
        kind: Kind,
        *,
        shift_end: dt.datetime,
        span: str = "",
        quantity: Decimal | None = None,
        reason: str = "",
        note: str = "",
    ) -> None:
        """Add one event, known to the log at ``shift_end`` and what it takes to write it down."""
        local = max(at, shift_end) + self._delay(piece, shift_end)
        counted = shown_unit(piece.activity.measure, self.job.units_system)
        self.events.append(
            Event(
                at=at,
                by=words.foreman(piece.activity, piece.unit),
                unit=piece.unit,
                activity=piece.activity.key,
                kind=kind,
                span=span,
                quantity=quantity,
                measure_unit=counted if quantity is not None else "",
                reason=reason,
                note=note,
                event_id=self.new_id(),
                recorded_at=self.as_utc(local),
            )
        )

    def as_utc(self, local: dt.datetime) -> dt.datetime:
        """Return a local moment in UTC."""
        return local.replace(tzinfo=self.job.timezone).astimezone(dt.UTC)

    def planned(self, piece: Piece, span: str = "") -> float:
        """Return the planned quantity of a span, or of the whole unit, in the log's unit."""
        counted = shown_unit(piece.activity.measure, self.job.units_system)
        column = self.job.activities.index(piece.activity)
        if span:
            amount = self._plan.span_si[self._span_row[piece.unit, span], column]
        else:
            amount = self._plan.unit_si[self._unit_row[piece.unit], column]
        return float(from_si(amount, counted)) if counted and amount == amount else 0.0

    def _delay(self, piece: Piece, shift_end: dt.datetime) -> dt.timedelta:
        """Return how long after a shift its foreman records a unit; the same for all of them."""
        key = (words.foreman(piece.activity, piece.unit), piece.unit, shift_end.date())
        if key not in self._delays:
            late = self._rng.random() < NEXT_MORNING_CHANCE and shift_end.time() > dt.time(12)
            morning = dt.datetime.combine(shift_end.date() + dt.timedelta(days=1), dt.time(6))
            minutes = int(self._rng.integers(4, 40))
            base = morning - shift_end if late else dt.timedelta()
            self._delays[key] = base + dt.timedelta(
                minutes=minutes, seconds=int(self._rng.integers(60))
            )
        return self._delays[key]

    def _stretches(self, piece: Piece) -> Iterator[Stretch]:
        """Cut a piece into what a crew finishes at a time."""
        shifts = float(len(piece.shifts))
        if piece.activity.grain == "unit":
            yield Stretch("", 0.0, shifts, self.planned(piece))
            return
        spans = self.job.spans_of_unit[piece.unit]
        for number, span in enumerate(spans):
            begin, end = (shifts * part / len(spans) for part in (number, number + 1))
            yield Stretch(span, begin, end, self.planned(piece, span))

    def _write_stretch(self, piece: Piece, stretch: Stretch) -> None:
        """Write start, stops, quantities and finish of one stretch."""
        pour = piece.activity.key in POURED
        quantities = self._loads(piece, stretch) if pour else self._daily(piece, stretch)
        finish = self._moment(piece, stretch.end, end=True) - dt.timedelta(minutes=10)
        if pour:
            finish = quantities[-1][0] + self._minutes(20, 50)
        last_end = max(finish, dt.datetime.combine(finish.date(), SHIFT_ENDS))
        if finish.time() < DAY_POUR_BEGINS:
            last_end = finish
        self._write_start_and_stops(piece, stretch, last_end)
        for at, quantity, note in quantities:
            end = last_end if pour else dt.datetime.combine(at.date(), SHIFT_ENDS)
            self.say(
                piece, at, "place", shift_end=end, span=stretch.span, quantity=quantity, note=note
            )
        self.say(piece, finish, "finish", shift_end=last_end, span=stretch.span)
        if piece.activity.key == "deck_pour":
            self._write_straightedge(piece)

    def _write_start_and_stops(self, piece: Piece, stretch: Stretch, last_end: dt.datetime) -> None:
        """Write the start and, for each gap of shifts, a hold and when work went on."""
        begin = self._moment(piece, stretch.begin) + self._minutes(0, 20)
        first_gap = math.ceil(stretch.begin - 1e-9) - 1
        moved_over = stretch.begin > 0 and abs(stretch.begin - first_gap - 1) < 1e-9
        if moved_over and first_gap in piece.stopped:
            begin = self._clock(piece.shifts[first_gap] + 1, SHIFT_BEGINS)
        else:
            first_gap = math.floor(stretch.begin + 1e-9)
        begin_end = dt.datetime.combine(begin.date(), SHIFT_ENDS)
        if len(piece.shifts) == 1 and piece.activity.key in POURED:
            begin, begin_end = self._pour_begins(piece) - dt.timedelta(minutes=30), last_end
        self.say(piece, begin, "start", shift_end=begin_end, span=stretch.span)
        for gap in range(first_gap, math.ceil(stretch.end - 1e-9) - 1):
            if piece.shifts[gap + 1] > piece.shifts[gap] + 1:
                self._write_stop(piece, stretch.span, gap, last_end)

    def _write_stop(self, piece: Piece, span: str, gap: int, last_end: dt.datetime) -> None:
        """Write one hold, with its reason, and its end."""
        held = self._clock(piece.shifts[gap] + 1, SHIFT_BEGINS) + self._minutes(10, 120)
        reason = piece.stopped.get(gap, words.RAIN)
        note = words.RAIN_NOTE if reason == words.RAIN else ""
        end = dt.datetime.combine(held.date(), SHIFT_ENDS)
        self.say(piece, held, "hold", shift_end=end, span=span, reason=reason, note=note)
        again = self._moment(piece, float(gap + 1))
        again_end = dt.datetime.combine(again.date(), SHIFT_ENDS)
        if gap + 2 == len(piece.shifts) and piece.activity.key in POURED:
            again = self._pour_begins(piece) - dt.timedelta(minutes=30)
            again_end = last_end
        self.say(piece, again, "resume", shift_end=again_end, span=span)

    def _daily(self, piece: Piece, stretch: Stretch) -> list[tuple[dt.datetime, Decimal, str]]:
        """Share a stretch's quantity over its shifts, said at the end of each."""
        if not stretch.planned:
            return []
        total = self._total(piece.activity, stretch.planned)
        edges = [
            stretch.begin,
            *range(math.floor(stretch.begin) + 1, math.ceil(stretch.end)),
            stretch.end,
        ]
        said = []
        before = Decimal(0)
        for edge in edges[1:]:
            done = total * (edge - stretch.begin) / (stretch.end - stretch.begin)
            so_far = Decimal(round(done / 10)) * 10
            at = self._moment(piece, float(edge), end=True) - dt.timedelta(minutes=25)
            said.append((at, so_far - before, ""))
            before = so_far
        return said

    def _loads(self, piece: Piece, stretch: Stretch) -> list[tuple[dt.datetime, Decimal, str]]:
        """Place a pour truck by truck; the tickets are added up a few times a pour."""
        total = self._total(piece.activity, stretch.planned)
        n_loads = max(math.ceil(total / LOAD_YD3), 1)
        parts = min(int(self._rng.integers(3, 6)), n_loads)
        last_loads = [round(n_loads * (part + 1) / parts) for part in range(parts)]
        per_hour = PLACED_PER_HOUR[piece.activity.key] * self._rng.uniform(0.92, 1.12)
        begin, said, first = self._pour_begins(piece), [], 1
        for last in last_loads:
            placed = min(last * LOAD_YD3, total) - (first - 1) * LOAD_YD3
            hours = min(last * LOAD_YD3, total) / per_hour
            at = begin + dt.timedelta(minutes=5 * round(hours * 12))
            quantity = Decimal(round(placed * 2)) / 2
            said.append((at, quantity, f"Load tickets {first} to {last}"))
            first = last + 1
        return said

    def _write_straightedge(self, piece: Piece) -> None:
        """Write the straightedge check of the hardened deck, next working day."""
        at = self._clock(piece.shifts[-1] + 1, dt.time(10)) + self._minutes(0, 120)
        note = words.STRAIGHTEDGE[int(self._rng.integers(len(words.STRAIGHTEDGE)))]
        end = dt.datetime.combine(at.date(), SHIFT_ENDS)
        self.say(piece, at, "check", shift_end=end, note=note)

    def _write_curing(self, piece: Piece) -> None:
        """Write a cure: begun when the deck is finished, looked at, ended after its days."""
        poured = next(e for e in reversed(self.events) if e.kind == "finish")
        begin = poured.at + dt.timedelta(minutes=30)
        late_evening = max(begin, dt.datetime.combine(begin.date(), SHIFT_ENDS))
        self.say(piece, begin, "start", shift_end=begin if piece.night else late_evening)
        days = int(piece.activity.planned_cycle_days)
        for day in range(2, days, 2):
            checked = dt.datetime.combine(begin.date() + dt.timedelta(days=day), dt.time(8))
            note = words.CURE_CHECKS[int(self._rng.integers(len(words.CURE_CHECKS)))]
            at = checked + self._minutes(0, 90)
            self.say(piece, at, "check", shift_end=at, note=note)
        ended = max(
            begin + dt.timedelta(days=days, minutes=15),
            dt.datetime.combine(begin.date() + dt.timedelta(days=days), SHIFT_BEGINS),
        )
        self.say(piece, ended, "finish", shift_end=ended)

    def _total(self, activity: Activity, planned: float) -> float:
        """Draw what is really placed of a planned quantity."""
        mean, spread = OVER_PLAN.get(activity.key, POUR_OVER_PLAN)
        return planned * float(np.clip(self._rng.normal(mean, spread), mean - 0.05, mean + 0.05))

    def _moment(self, piece: Piece, position: float, *, end: bool = False) -> dt.datetime:
        """Return when so many shifts of a piece are worked; ``end`` looks back from it."""
        whole = math.ceil(position - 1e-9) - 1 if end else math.floor(position + 1e-9)
        whole = min(max(whole, 0), len(piece.shifts) - 1)
        minutes = 5 * round((position - whole) * SHIFT_HOURS * 12)
        return self._clock(piece.shifts[whole], SHIFT_BEGINS) + dt.timedelta(minutes=minutes)

    def _pour_begins(self, piece: Piece) -> dt.datetime:
        """Return when the first truck discharges."""
        return self._clock(piece.shifts[-1], NIGHT_POUR_BEGINS if piece.night else DAY_POUR_BEGINS)

    def _clock(self, shift: int, time: dt.time) -> dt.datetime:
        """Return a time of day on a shift's date."""
        return dt.datetime.combine(self.date(shift), time)

    def _minutes(self, least: int, most: int) -> dt.timedelta:
        """Draw some minutes, in fives."""
        return dt.timedelta(minutes=5 * int(self._rng.integers(least // 5, most // 5 + 1)))
