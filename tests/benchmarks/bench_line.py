"""The march both ways against the same line written in SimPy, draws on both sides, in one run.

Run it with ``python -m tests.benchmarks.bench_line [--large]``. Both sides draw the days of
every unit from the same recent history, draw lost days, wait for crews, falsework sets, cure
and holds on the working calendar, and give the finish of every unit and activity. The SimPy
side is written twice: going on day by day, as one would, and with the end of each activity
worked out from a table first, so that it handles as few events as it can. Neither of them says
what drives the finish; ours does, on the first ``model.drivers.FOLLOWED`` paths.

Times are the least of several runs, for other work on the machine only ever adds; the load
average is printed beside them, and the processor time of all threads together. Peak memory and
the cost of the first call are measured in processes of their own.
"""

from __future__ import annotations

import functools
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import simpy
from numpy.typing import NDArray

from model.activities import Activity
from model.line import Run
from model.line_now import LineNow
from model.pace import Pace
from model.projection import forecast_of
from model.simulation import Way, simulate
from model.workdays import WorkCalendar
from tests.model.event_line import EventLine

HISTORY = np.array([3.0, 3, 4, 3, 5, 3, 2, 3, 4, 3])
LOST = (4.0, 4.0, 3.0, 2.0, 1.0, 0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0)
SETS, TURNAROUND = 4, 2
TRADES = 6
"""Five trades and a cure."""

PATHS = 10_000


def a_line(units: int, headings: int = 1) -> LineNow:
    """Headings before their first day; the first unit is on hold."""
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
        headings=tuple(f"h{heading}" for heading in range(headings)),
        activities=activities,
        calendar=calendar,
        runs=tuple(
            Run(tuple(row.tolist()), SETS, TURNAROUND)
            for row in np.array_split(np.arange(units), headings)
        ),
        finished=np.full(shape, np.nan),
        started=started,
        on_hold=on_hold,
        left_share=np.full(shape, np.nan),
        spent_days=np.zeros(shape),
        paces=((*[pace] * (TRADES - 1), cure),) * headings,
        effort=np.ones(shape),
        held_days=np.zeros(shape),
        ended_holds=np.zeros(0),
    )


class Rival:
    """The same line in SimPy, with draws of its own; headings do not wait for one another."""

    def __init__(self, units: int, headings: int, days: int) -> None:
        calendar = a_line(1).calendar
        dates = np.datetime64("2026-03-02") + np.arange(days)
        self.worked = calendar.is_workday(dates)
        index = calendar.index_of(dates)
        self.p = np.where(self.worked, calendar.daily_loss_probability(index), 0.0)
        self.rows = [row.size for row in np.array_split(np.arange(units), headings)]
        self.rng = np.random.default_rng(1)

    def path(self, line: type[EventLine]) -> float:
        """One path, and its last finish."""
        lost = self.rng.random(self.p.size) < self.p
        ends = []
        for place, units in enumerate(self.rows):
            pool = self.rng.choice(HISTORY, (HISTORY.size - 1, TRADES))
            work = pool[self.rng.integers(0, len(pool), (units, TRADES)), np.arange(TRADES)]
            work[:, -1] = 7.0
            work[0, 0] -= self.rng.random()  # begun on a morning, done within its last day
            held = {} if place else {(0, 0): self.rng.exponential(3.0)}
            ends.append(line(work, self.worked, lost, SETS, TURNAROUND, held).finishes().max())
        return float(max(ends))

    def day_by_day(self) -> float:
        """One path, work going on day by day."""
        return self.path(EventLine)

    def by_table(self) -> float:
        """One path, the end of each activity worked out from a table."""
        return self.path(TableLine)


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


def seconds(
    action: Callable[[], Any], runs: int, clock: Callable[[], float] = time.perf_counter
) -> float:
    """Return the least seconds of an action."""
    times = []
    for _ in range(runs):
        begun = clock()
        action()
        times.append(clock() - begun)
    return min(times)


def compare(units: int, headings: int, rival_paths: int, runs: int) -> None:
    """Print paths per second of both sides and both ways, and their ratios."""
    line = a_line(units, headings)
    durations = np.ones((units, TRADES, PATHS), dtype=np.float32)
    copy = seconds(durations.copy, 2 * runs)
    del durations
    horizon = int(2 * line.guess_days(line.luck(100, 1)).max())
    rival = Rival(units, headings, horizon)
    table, daily = seconds(rival.by_table, rival_paths), seconds(rival.day_by_day, rival_paths)
    load = ", ".join(f"{load:.1f}" for load in os.getloadavg())
    print(
        f"{units} units × {TRADES} activities on {headings} headings, {PATHS:,} paths (load {load})"
    )
    print(f"  SimPy, day by day {1e6 * daily:12.1f} µs a path {1 / daily:12,.0f} paths/s")
    print(f"  SimPy, by table   {1e6 * table:12.1f} µs a path {1 / table:12,.0f} paths/s")
    ways: tuple[Way, ...] = ("numpy", "compiled")
    for way in ways:
        simulate(line, 100, 1, way=way)
        march = functools.partial(simulate, line, PATHS, 1, way=way)
        # More runs of the one that needs both cores: others leave them free at times only.
        ours = seconds(march, runs if way == "numpy" else 4 * runs) / PATHS
        cpu = seconds(march, runs, time.process_time) / PATHS
        print(
            f"  {way:17} {1e6 * ours:12.1f} µs a path {1 / ours:12,.0f} paths/s "
            f"{daily / ours:8,.0f}× and {table / ours:6,.0f}× SimPy "
            f"{ours * PATHS / copy:7.1f} copies; CPU {1e6 * cpu:.1f} µs a path, "
            f"{_in_child(f'peak {way} {units} {headings}')}"
        )
    whole = seconds(lambda: forecast_of(line, NO_CYCLES, paths=PATHS, seed=1), 2)
    print(f"  copy of durations {1e6 * copy / PATHS:12.2f} µs a path; whole forecast {whole:.2f} s")
    if units < 200:
        ends = simulate(line, PATHS, 1).days.reshape(-1, PATHS).max(axis=0) + 1
        theirs = np.ceil([rival.by_table() for _ in range(200)])
        error = theirs.std() / np.sqrt(theirs.size)
        print(f"  mean last day {ends.mean():.1f}; SimPy {theirs.mean():.1f} ± {error:.1f}")


NO_CYCLES = pd.DataFrame({"samples": pd.Series(dtype="int64")})
"""A forecast shows cycles, but does not go by them."""


def first_calls() -> None:
    """Print what the first compiled march in a process costs, with nothing kept and with it."""
    with tempfile.TemporaryDirectory() as folder:
        for said in ("nothing compiled yet", "compiled before"):
            print(
                f"  first call, {said}: {_in_child('first compiled 54 1', NUMBA_CACHE_DIR=folder)}"
            )
    print(f"  first call of NumPy: {_in_child('first numpy 54 1')}")


def _in_child(task: str, **environment: str) -> str:
    """Run a task in a process of its own and return what it says."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_line", *task.split()]
    return subprocess.run(
        command, env={**os.environ, **environment}, check=True, capture_output=True, text=True
    ).stdout.strip()


def child(task: str, way: Way, units: int, headings: int) -> None:
    """Say one's own peak memory, or what the first march took."""
    line = a_line(units, headings)
    begun = time.perf_counter()
    simulate(line, PATHS if task == "peak" else 100, 1, way=way)
    if task == "first":
        print(f"{time.perf_counter() - begun:.2f} s")
    else:
        # Not by getrusage, which counts what the parent held when it started this process.
        status = Path("/proc/self/status").read_text(encoding="ascii")
        kib = int(re.search(r"VmHWM:\s*(\d+)", status)[1])  # type: ignore[index]
        print(f"peak {kib / 1024**2:.2f} GiB")


def main(arguments: list[str]) -> None:
    """Compare, or do one task of the comparison."""
    if arguments and arguments[0] in ("peak", "first"):
        task, way, units, headings = arguments
        child(task, way, int(units), int(headings))  # type: ignore[arg-type]
        return
    compare(54, 1, 30, 15)
    compare(54, 4, 30, 15)
    first_calls()
    if "--large" in arguments:
        compare(1000, 10, 4, 7)
        compare(1000, 1, 4, 7)


if __name__ == "__main__":
    main(sys.argv[1:])
