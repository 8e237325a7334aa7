"""One march down the structure, on many paths at once: when each unit's activities finish.

A start waits for the activities before it in its unit and their lag, for its crew (which comes
from the unit before it on the heading), for a free falsework set and, where it is held, for the
hold to be lifted. Work then counts on the days that are worked and not lost to weather; curing
counts on every calendar day.

Time is counted in calendar days from **now**, the end of the last day the log is read to: 0 is
the first midnight after it, 0.5 the middle of the next day, and a finish at ``x`` falls on the
day ``ceil(x) - 1``. Calendar days, not working days, because curing, lags and weather then
share one axis: a cure is plain addition, and a path's lost days are only one more reason why
a day does not count.

Planning figures only: when forms are stripped or falsework is released is decided by the
engineer of record.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Days = NDArray[np.floating[Any]]
"""Days from now (or of work), on every path."""

BOUND_NOW, BOUND_CREW, BOUND_SET, BOUND_HOLD, BOUND_AFTER = range(5)
"""What a start waited for last; ``BOUND_AFTER + a`` means activity ``a`` of the same unit."""

DAYS_BACK = 120
"""Lags and turnarounds from earlier than this have passed, whatever they are."""

TICKS = 1024
"""Work is drawn in 1024ths of a day (84 seconds): single precision then adds up without
rounding, up to 16,384 days."""

SMALL = 1.0 / TICKS
"""Days: up to this, two times are the same."""


def in_ticks(days: Days) -> Days:
    """Round days to whole ``TICKS``, in place; a half goes up."""
    days *= TICKS
    days += days.dtype.type(0.5)
    np.floor(days, out=days)
    days /= TICKS
    return days


@dataclass(frozen=True, slots=True)
class Step:
    """One activity as the march sees it.

    Parameters
    ----------
    after
        Positions of the activities of the same unit that must be finished first.
    lag_days
        Further working days to wait after them.
    calendar_days
        True for curing: counts every calendar day, needs no crew, runs from the moment what
        it waits for is finished.
    weather
        True when a lost day does not count.
    """

    after: tuple[int, ...] = ()
    lag_days: int = 0
    calendar_days: bool = False
    weather: bool = True


@dataclass(frozen=True, slots=True)
class Run:
    """One heading as the march sees it.

    Parameters
    ----------
    units
        Rows of the unit arrays in building order.
    sets
        Unit-long falsework sets, taken when the first activity starts and free again when
        curing (or else the last activity) ends and the turnaround is over; None for no limit.
    turnaround_days
        Working days from then until the set stands free.
    crews
        Crews for each activity; empty for one each.
    """

    units: tuple[int, ...]
    sets: int | None = None
    turnaround_days: int = 0
    crews: tuple[int, ...] = ()


@dataclass(frozen=True)
class Progress:
    """Where the line stands now.

    Parameters
    ----------
    finished, started
        Shape (units, activities), days from now (0 or less); NaN where not finished or begun.
    held_until
        For a unit and activity on hold, the days from now until it is resumed, on every path.
    """

    finished: NDArray[np.float64]
    started: NDArray[np.float64]
    held_until: Mapping[tuple[int, int], Days] = field(default_factory=dict)

    @staticmethod
    def not_begun(units: int, activities: int) -> Progress:
        """Return the line before its first day."""
        return Progress(np.full((units, activities), np.nan), np.full((units, activities), np.nan))

    @cached_property
    def is_finished(self) -> NDArray[np.bool_]:
        """Which units and activities are finished."""
        return ~np.isnan(self.finished)

    @cached_property
    def is_begun(self) -> NDArray[np.bool_]:
        """Which are under way."""
        return ~np.isnan(self.started) & ~self.is_finished

    def in_order(self, units: Sequence[int]) -> list[int]:
        """Put the units that have begun first, in the order they did."""
        known = np.fmin(self.started, self.finished)
        first = np.fmin.reduce(known, axis=1) if known.shape[1] else known
        moments = np.where(np.isnan(first), np.inf, first).tolist()
        return sorted(units, key=moments.__getitem__)

    def in_hand(self, units: Sequence[int], activity: int) -> list[int]:
        """Return the units a trade has finished, in the order it did, then those under way."""
        finished = [unit for unit in units if self.is_finished[unit, activity]]
        finished.sort(key=lambda unit: float(self.finished[unit, activity]))
        return finished + [unit for unit in units if self.is_begun[unit, activity]]

    def at_hand(self, run: Run, steps: Sequence[Step]) -> list[tuple[int, int]]:
        """Return the units and activities of a heading that wait for nothing still to come.

        Not begun, with a crew, and what comes before them, the crew's unit before and the set
        are finished: they begin on a morning that is known, and not when others are done.
        """
        order, found = np.array(self.in_order(run.units), dtype=np.intp), []
        for activity, step in enumerate(steps):
            if step.calendar_days:
                continue
            crews = run.crews[activity] if run.crews else 1
            free = max(crews - int(self.is_begun[order, activity].sum()), 0)
            new = ~(self.is_begun | self.is_finished)[order, activity]
            for unit in order[new][:free].tolist():
                if self.is_finished[unit, list(step.after)].all() and (
                    activity > 0 or self._has_set(unit, order, run, steps)
                ):
                    found.append((unit, activity))
        return found

    def _has_set(self, unit: int, order: NDArray[np.intp], run: Run, steps: Sequence[Step]) -> bool:
        """Tell whether all that held a unit's falsework set before it are finished."""
        before = order[: max(order.tolist().index(unit) - (run.sets or order.size) + 1, 0)]
        return bool(self.is_finished[before, last_in_set(steps)].all())


@dataclass(frozen=True)
class March:
    """When everything finishes, on every path, and what it waited for.

    Parameters
    ----------
    finish
        Shape (units, activities, paths), days from now.
    bound
        The same shape: what each start waited for last (``BOUND_…``).
    crew_from
        Shape (units, activities): the unit the crew came from; -1 for none.
    set_from
        Shape (units,): the unit the falsework set came from; -1 for none.
    runs, steps
        What was marched.
    start
        As ``finish``, only where asked for; NaN where work was finished before now.
    """

    finish: Days
    bound: NDArray[np.uint8]
    crew_from: NDArray[np.int32]
    set_from: NDArray[np.int32]
    runs: tuple[Run, ...]
    steps: tuple[Step, ...]
    start: Days | None = None


class DayCounter:
    """Turns days of work into calendar days, with each path's own weather.

    Parameters
    ----------
    worked
        Shape (DAYS_BACK + days,): which calendar days are worked, from ``DAYS_BACK`` days
        before now on.
    lost
        Shape (days, paths): which days from now on are lost to weather; None for never.
    """

    def __init__(self, worked: NDArray[np.bool_], lost: NDArray[np.bool_] | None = None) -> None:
        self.horizon_days = worked.size - DAYS_BACK
        self._dry = _CountingTable(worked[:, None], DAYS_BACK)
        self._wet = self._dry
        if lost is not None:
            self._wet = _CountingTable(worked[DAYS_BACK:, None] & ~lost, 0)

    def after_work(self, start: Days, work: Days | float, *, weather: bool) -> Days:
        """Return when work begun at ``start`` is done.

        Parameters
        ----------
        start
            Days from now, shape (paths,); not before now when ``weather``.
        work
            Working days of work.
        weather
            Whether lost days do not count.
        """
        return (self._wet if weather else self._dry).after_work(start, work)

    def lost_between(self, start: Days, finish: Days, paths: NDArray[np.intp]) -> Days:
        """Return the working days lost to weather from ``start`` to ``finish`` on given paths."""
        if self._wet is self._dry:
            return np.zeros_like(start)
        dry = self._dry.counted(finish) - self._dry.counted(start)
        return dry - self._wet.counted(finish, paths) + self._wet.counted(start, paths)


class _CountingTable:
    """How many days count before each day, and when the n-th that counts is over.

    ``counts`` has shape (days, 1 or paths); its first row is ``days_back`` days before now.
    """

    def __init__(self, counts: NDArray[np.bool_], days_back: int) -> None:
        days, self._columns = counts.shape
        self._days_back, self._last_day = days_back, days - 1
        self._column = np.arange(self._columns, dtype=np.int32)
        # One look-up gives both: twice how many counted before the day, and whether it counts.
        code, end_of = _for_one(counts[:, 0]) if self._columns == 1 else _for_many(counts)
        self._code, self._end_of = code.reshape(-1), end_of.reshape(-1)

    def counted(self, until: Days, paths: NDArray[np.intp] | None = None) -> Days:
        """Return how many days (and part of a day) counted up to a moment."""
        since = np.clip(until + self._days_back, 0, self._last_day)
        # All in one type: NumPy is many times slower where integers and floats are mixed.
        day = np.floor(since)
        code = self._code.take(self._place(day, paths))
        since -= day
        since *= (code & 1).astype(since.dtype)
        since += (code >> 1).astype(since.dtype)
        return np.asarray(since)

    def after_work(self, start: Days, work: Days | float) -> Days:
        """Return when ``work`` counted days after ``start`` have passed."""
        done = self.counted(start) + work
        number = np.ceil(done - done.dtype.type(SMALL))
        end = self._end_of.take(self._place(np.clip(number, 0, self._last_day + 1)))
        done -= number
        np.minimum(done, 0, out=done)
        done += end.astype(done.dtype)
        done -= self._days_back
        return np.asarray(np.maximum(done, start, out=done), dtype=start.dtype)

    def _place(self, row: Days, paths: NDArray[np.intp] | None = None) -> NDArray[np.int32]:
        """Return where rows (whole numbers) of all or given paths lie in the tables."""
        place = row.astype(np.int32)
        if self._columns > 1:
            place *= np.int32(self._columns)
            place += self._column if paths is None else paths.astype(np.int32)
        return place


def _for_one(counts: NDArray[np.bool_]) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Lay out the tables of days that count for every path alike."""
    code = (2 * (np.cumsum(counts) - counts) + counts).astype(np.int16)
    end_of = np.full(counts.size + 2, counts.size + 1, dtype=np.int16)
    ends = np.flatnonzero(counts) + 1
    end_of[0], end_of[1 : ends.size + 1] = 0, ends
    return code, end_of


def _for_many(counts: NDArray[np.bool_]) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Lay out the tables of days that count, path by path."""
    days, paths = counts.shape
    worked: NDArray[np.bool_] = np.any(counts, axis=1)
    code = np.empty((days, paths), dtype=np.int16)
    end_of = np.full((days + 2) * paths, days + 1, dtype=np.int16)
    end_of[:paths] = 0
    twice = np.zeros(paths, dtype=np.int16)
    slot = np.arange(paths, 2 * paths, dtype=np.int32)
    for day, here in enumerate(counts.view(np.int8)):
        np.add(twice, here, out=code[day])
        if not worked[day]:
            continue
        np.add(code[day], here, out=twice)
        # A day that does not count is overwritten by the next one that does.
        end_of[slot] = day + 1
        slot += np.multiply(here, paths, dtype=np.int32)
    end_of[slot] = days + 1
    return code, end_of


def march(
    steps: Sequence[Step],
    runs: Sequence[Run],
    progress: Progress,
    work: Days,
    counter: DayCounter,
    *,
    keep_starts: bool = False,
) -> March:
    """March every heading to its end, on every path at once.

    Parameters
    ----------
    steps
        Activities in working order.
    runs
        Headings; each unit belongs to one.
    progress
        What is finished, begun and held now.
    work
        Shape (units, activities, paths): working days each activity takes (calendar days for
        curing). For work under way, the days left from now; for curing under way, the whole.
    counter
        Which days count.
    keep_starts
        Whether to keep starts as well as finishes.

    Returns
    -------
    March
        Finishes in the number type of ``work``.

    Notes
    -----
    ``F[u, a] = max(F[u, b] + lag, F[u - crews, a], S[u - sets]) + work[u, a]`` for every ``b``
    that ``a`` comes after, with ``S`` the moment a set stands free. Work under way goes on at
    once, but is not finished before what it comes after. A crew takes the units already begun
    first, then the others in building order. Curing runs by itself: when its days are over it
    counts as over, recorded or not.

    Examples
    --------
    Ten units through three activities of 3 days, every day worked: (10 + 3 - 1) × 3 days.

    >>> steps = (Step(), Step(after=(0,)), Step(after=(1,)))
    >>> counter = DayCounter(np.ones(DAYS_BACK + 100, dtype=bool))
    >>> run = Run(units=tuple(range(10)))
    >>> progress = Progress.not_begun(10, 3)
    >>> marched = march(steps, [run], progress, np.full((10, 3, 1), 3.0), counter)
    >>> float(marched.finish.max())
    36.0
    """
    walk = _Walk(tuple(steps), progress, work, counter, keep_starts)
    for run in runs:
        walk.heading(run)
    return March(
        walk.finish,
        walk.bound,
        walk.crew_from,
        walk.set_from,
        tuple(runs),
        tuple(steps),
        walk.start,
    )


class _Walk:
    """The march while it is under way: arrays that fill up heading by heading."""

    def __init__(
        self,
        steps: tuple[Step, ...],
        progress: Progress,
        work: Days,
        counter: DayCounter,
        keep_starts: bool,
    ) -> None:
        self.steps, self.progress, self.work, self.counter = steps, progress, work, counter
        self.finish = np.full_like(work, np.nan)
        self.start = np.full_like(work, np.nan) if keep_starts else None
        self.bound = np.zeros(work.shape, dtype=np.uint8)
        self.crew_from = np.full(work.shape[:2], -1, dtype=np.int32)
        self.set_from = np.full(work.shape[0], -1, dtype=np.int32)
        self.is_finished, self.is_begun = progress.is_finished, progress.is_begun

    def heading(self, run: Run) -> None:
        """March one heading."""
        crews = self._crews(run)
        sets = None if run.sets is None else _Queue(run.sets)
        for unit in self.progress.in_order(run.units):
            for activity in range(len(self.steps)):
                if not (self.is_finished[unit, activity] or self.is_begun[unit, activity]):
                    self._begin(unit, activity, crews[activity], sets if activity == 0 else None)
            if sets is not None:
                sets.add(unit, self._set_free(unit, run.turnaround_days))

    def _crews(self, run: Run) -> list[_Queue]:
        """Return each activity's crews with the units they have finished or begun."""
        crews = []
        for activity in range(len(self.steps)):
            queue = _Queue(run.crews[activity] if run.crews else 1)
            crews.append(queue)
            for unit in run.units:
                if self.is_begun[unit, activity]:
                    self._carry_on(unit, activity)
                elif self.is_finished[unit, activity]:
                    self.finish[unit, activity] = self.progress.finished[unit, activity]
            for unit in self.progress.in_hand(run.units, activity):
                queue.add(unit, self.finish[unit, activity])
        return crews

    def _carry_on(self, unit: int, activity: int) -> None:
        """Go on with work under way."""
        step, days = self.steps[activity], self.work[unit, activity]
        if step.calendar_days:
            finish = days + days.dtype.type(self.progress.started[unit, activity])
        else:
            begin = self._from_now()
            until = self.progress.held_until.get((unit, activity))
            if until is not None:
                self.bound[unit, activity] = BOUND_HOLD
                np.maximum(begin, until, out=begin, casting="same_kind")
            finish = self.counter.after_work(begin, days, weather=step.weather)
            if self.start is not None:
                self.start[unit, activity] = begin
        self.finish[unit, activity] = finish
        for earlier in step.after:
            if self.is_finished[unit, earlier] or self.is_begun[unit, earlier]:
                self._wait(
                    self.finish[unit, activity], unit, activity, earlier, BOUND_AFTER + earlier
                )

    def _begin(self, unit: int, activity: int, crew: _Queue, sets: _Queue | None) -> None:
        """Begin work that has not been begun, as soon as nothing is missing."""
        step = self.steps[activity]
        start = self._from_now()
        if step.calendar_days and step.after:
            start -= DAYS_BACK
        for earlier in step.after:
            self._wait(start, unit, activity, earlier, BOUND_AFTER + earlier)
        if sets is not None and sets.free is not None:
            self.set_from[unit] = sets.last
            self._later(start, sets.free, unit, activity, BOUND_SET)
        if step.calendar_days:
            np.add(start, self.work[unit, activity], out=self.finish[unit, activity])
        else:
            if crew.free is not None:
                self.crew_from[unit, activity] = crew.last
                self._later(start, crew.free, unit, activity, BOUND_CREW)
            self.finish[unit, activity] = self.counter.after_work(
                start, self.work[unit, activity], weather=step.weather
            )
            crew.add(unit, self.finish[unit, activity])
        if self.start is not None:
            self.start[unit, activity] = start

    def _wait(self, start: Days, unit: int, activity: int, earlier: int, code: int) -> None:
        """Let a start wait for an earlier activity of its unit and the lag."""
        ready = self.finish[unit, earlier]
        lag = self.steps[activity].lag_days
        if lag:
            ready = self.counter.after_work(ready, float(lag), weather=False)
        self._later(start, ready, unit, activity, code)

    def _later(self, start: Days, ready: Days, unit: int, activity: int, code: int) -> None:
        """Move a start to when something is ready, and note what it was."""
        np.copyto(self.bound[unit, activity], np.uint8(code), where=ready > start)
        np.maximum(start, ready, out=start)

    def _set_free(self, unit: int, turnaround_days: int) -> Days:
        """Return when the falsework set of a unit stands free again."""
        finish = np.asarray(self.finish[unit, last_in_set(self.steps)])
        if not turnaround_days:
            return finish
        return self.counter.after_work(finish, float(turnaround_days), weather=False)

    def _from_now(self) -> Days:
        """Return now, on every path."""
        return np.zeros(self.work.shape[2], dtype=self.work.dtype)


class _Queue:
    """Crews or sets that are taken in turn: when the next one is free, and from where."""

    def __init__(self, number: int) -> None:
        self._number = number
        self._out: deque[tuple[int, Days]] = deque()
        self.free: Days | None = None
        self.last = -1

    def add(self, unit: int, until: Days) -> None:
        """Let a unit hold one of them until a moment; afterwards ``free`` is the next one's."""
        self._out.append((unit, until))
        if len(self._out) < self._number:
            return
        self.last, soonest = self._out.popleft()
        self.free = soonest if self.free is None else np.maximum(self.free, soonest)


def last_in_set(steps: Sequence[Step]) -> int:
    """Return the activity whose end frees the falsework: the last curing, or the last of all."""
    curing = [place for place, step in enumerate(steps) if step.calendar_days]
    return curing[-1] if curing else len(steps) - 1
