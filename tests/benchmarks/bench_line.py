"""The march against the same line written in SimPy, draws on both sides, in one run.

Run it with ``python -m tests.benchmarks.bench_line [--large]``. Both sides draw the days of
every unit from the same recent history, draw lost days, wait for crews, falsework sets, cure
and holds on the working calendar, and give the finish of every unit and activity. The SimPy
side is written twice: going on day by day, as one would, and with the end of each activity
worked out from a table first, so that it handles as few events as it can.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable, Generator
from typing import Any

import numpy as np
import simpy
from numpy.typing import NDArray

from model.activities import Activity
from model.line import Run
from model.line_now import LineNow
from model.pace import Pace
from model.workdays import WorkCalendar
from tests.model.event_line import EventLine

HISTORY = np.array([3.0, 3, 4, 3, 5, 3, 2, 3, 4, 3])
LOST = (4.0, 4.0, 3.0, 2.0, 1.0, 0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0)
SETS, TURNAROUND = 4, 2
TRADES = 6
"""Five trades and a cure."""

PATHS = 10_000


def a_line(units: int) -> LineNow:
    """One heading before its first day; the first unit is on hold."""
    start = np.datetime64("2026-03-02")
    calendar = WorkCalendar(start.item(), lost_days_per_month=LOST)
    activities = tuple(
        Activity(
            f"trade_{place}",
            f"Trade {place}",
            after=(f"trade_{place - 1}",) if place else (),
            calendar_days=place == TRADES - 1,
            weather=place < TRADES - 1,
        )
        for place in range(TRADES)
    )
    pace = Pace(HISTORY, np.ones(HISTORY.size), HISTORY.size)
    cure = Pace(np.array([7.0]), np.ones(1), 1)
    shape = (units, TRADES)
    started, on_hold = np.full(shape, np.nan), np.zeros(shape, dtype=bool)
    started[0, 0], on_hold[0, 0] = 0.0, True
    return LineNow(
        as_of=start - 1,
        units=tuple(f"E{unit}" for unit in range(units)),
        headings=("east",),
        activities=activities,
        calendar=calendar,
        runs=(Run(tuple(range(units)), SETS, TURNAROUND),),
        finished=np.full(shape, np.nan),
        started=started,
        on_hold=on_hold,
        left_share=np.full(shape, np.nan),
        spent_days=np.zeros(shape),
        paces=((*[pace] * (TRADES - 1), cure),),
        effort=np.ones(shape),
        held_days=np.zeros(shape),
        ended_holds=np.zeros(0),
    )


class Rival:
    """The same line in SimPy, with draws of its own."""

    def __init__(self, units: int, days: int) -> None:
        calendar = a_line(1).calendar
        dates = np.datetime64("2026-03-02") + np.arange(days)
        self.worked = calendar.is_workday(dates)
        index = calendar.index_of(dates)
        self.p = np.where(self.worked, calendar.daily_loss_probability(index), 0.0)
        self.units, self.rng = units, np.random.default_rng(1)

    def draw(self) -> tuple[NDArray[np.float64], NDArray[np.bool_], float]:
        """Draw the days of work, the lost days and the hold of one path."""
        pool = self.rng.choice(HISTORY, HISTORY.size - 1)
        work = self.rng.choice(pool, (self.units, TRADES))
        work[:, -1] = 7.0
        return work, self.rng.random(self.p.size) < self.p, self.rng.exponential(3.0)

    def day_by_day(self) -> NDArray[np.float64]:
        """One path, work going on day by day."""
        work, lost, hold = self.draw()
        return EventLine(work, self.worked, lost, SETS, TURNAROUND, {(0, 0): hold}).finishes()

    def by_table(self) -> NDArray[np.float64]:
        """One path, the end of each activity worked out from a table."""
        work, lost, hold = self.draw()
        return TableLine(work, self.worked, lost, SETS, TURNAROUND, {(0, 0): hold}).finishes()


class TableLine(EventLine):
    """The event simulation with one event for each wait."""

    def finishes(self) -> NDArray[np.float64]:
        """Run the line to its end, tables first."""
        wet = self.worked & ~self.lost
        self._wet = (np.cumsum(wet) - wet).tolist(), np.flatnonzero(wet).tolist()
        dry = self.worked
        self._dry = (np.cumsum(dry) - dry).tolist(), np.flatnonzero(dry).tolist()
        self._is_wet, self._is_dry = wet.tolist(), dry.tolist()
        return super().finishes()

    def _count(
        self, env: simpy.Environment, days: float, counts: Callable[[int], Any]
    ) -> Generator[simpy.Event, Any, None]:
        weather = days != self.turnaround_days
        before, day_of = self._wet if weather else self._dry
        counted = self._is_wet if weather else self._is_dry
        day = int(env.now)
        done = before[day] + (env.now - day) * counted[day] + days
        number = int(np.ceil(done - 1e-9)) - 1
        yield env.timeout(max(day_of[number] + done - number - env.now, 0.0))


def seconds(action: Callable[[], Any], runs: int) -> float:
    """Return the median seconds of an action."""
    times = []
    for _ in range(runs):
        begun = time.perf_counter()
        action()
        times.append(time.perf_counter() - begun)
    return float(np.median(times))


def compare(units: int, rival_paths: int) -> None:
    """Print paths per second of both sides and their ratio."""
    line = a_line(units)
    marched, counter = line.march(line.draw(PATHS, 1))
    rival = Rival(units, counter.horizon_days)
    agree = [rival.by_table()[-1, -1] for _ in range(100)] if units < 200 else []
    ours = seconds(lambda: line.march(line.draw(PATHS, 1)), 5) / PATHS
    table = seconds(rival.by_table, rival_paths)
    daily = seconds(rival.day_by_day, rival_paths)
    durations = np.ones((units, TRADES, PATHS), dtype=np.float32)
    copy = seconds(durations.copy, 5) / PATHS
    print(f"{units} units × {TRADES} activities, {PATHS:,} paths")
    if agree:
        print(
            f"  mean finish {marched.finish[-1, -1].mean():.1f} days; SimPy {np.mean(agree):.1f} "
            f"± {np.std(agree) / np.sqrt(len(agree)):.1f}"
        )
    print(f"  ours                {1e6 * ours:10.1f} µs a path {1 / ours:12,.0f} paths/s")
    print(f"  SimPy, by table     {1e6 * table:10.1f} µs a path {table / ours:12,.0f}×")
    print(f"  SimPy, day by day   {1e6 * daily:10.1f} µs a path {daily / ours:12,.0f}×")
    print(f"  copy of durations   {1e6 * copy:10.2f} µs a path {ours / copy:12.1f} copies")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"  peak memory so far  {peak:10.2f} GiB")


if __name__ == "__main__":
    compare(54, 20)
    if "--large" in sys.argv:
        compare(1000, 5)
