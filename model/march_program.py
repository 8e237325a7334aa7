"""The line written out as the program that the compiled march goes through.

Who waits for whom does not depend on chance: units are walked and served in the same order on
every path. So the march of ``model.line`` is written out once, step by step, with the cells
that each step reads and writes.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.chance import keys
from model.drivers import came_from
from model.line import (
    BOUND_AFTER,
    BOUND_CREW,
    BOUND_SET,
    DAYS_BACK,
    TICKS,
    Days,
    Progress,
    Run,
    last_in_set,
)
from model.line_now import LONGEST_DAYS, WEATHER_STREAM, WORK_STREAM, LineNow, Luck
from model.march_kernel import (
    AGAIN,
    BACK,
    BEGIN,
    BOTH,
    CURE,
    DRAW,
    DRY_WORK,
    FREE,
    HELD,
    KEEP,
    KNOWN,
    LAG,
    LEFT,
    WAIT,
    WORK,
    Calendar,
    Chains,
    Ints,
)

Cell = tuple[int, int]

A_MOMENT = 2
"""Ticks: a finish on the stroke of midnight falls on the day before, a start so much later on
the day after."""


@dataclass(frozen=True)
class Program:
    """All that the compiled march needs of a line; see ``model.march_kernel.march_paths``."""

    steps: Ints
    effort: NDArray[np.float32]
    keys: NDArray[np.uint64]
    calendar: Calendar
    chains: Chains
    pools: NDArray[np.float32]
    left: Ints
    held: Ints
    cells: int


def program_of(now: LineNow, luck: Luck, *, keep_starts: bool = False) -> Program:
    """Write out the march of a line.

    Parameters
    ----------
    now
        Where the line stands.
    luck
        Its draws.
    keep_starts
        Whether to give the days of starts as well, in as many cells again after those of the
        finishes; they mean something only for what is to do and has a crew.
    """
    writer = _Writer(now, luck, keep_starts=keep_starts)
    for heading, run in enumerate(now.runs):
        writer.heading(heading, run)
    units, activities = now.finished.shape
    places = np.arange(activities), np.arange(units)[:, None]
    return Program(
        np.frombuffer(writer.steps, dtype=np.intc).astype(np.int32, copy=False).reshape(-1, 4),
        now.effort.astype(np.float32).reshape(-1),
        keys(luck.seed, WORK_STREAM, *places).reshape(-1),
        _calendar(now, luck.seed),
        _chains(now, writer, 1 + keep_starts),
        luck.all_pools,
        np.vstack([_rows(luck.left, luck.paths), np.full((1, luck.paths), A_MOMENT, np.int32)]),
        _rows(luck.held_until, luck.paths),
        writer.cells,
    )


class _Writer:
    """The program while it is written; the twin of the walk in ``model.line``."""

    def __init__(self, now: LineNow, luck: Luck, *, keep_starts: bool = False) -> None:
        self.now, self.luck = now, luck
        self.progress = Progress(now.finished, now.started)
        # Lists: looked up one by one, arrays would take longer than all the rest.
        self.in_hand = (self.progress.is_finished | self.progress.is_begun).tolist()
        self.activities = now.steps
        self.steps = array("i")
        self.kinds = [
            CURE if step.calendar_days else WORK if step.weather else DRY_WORK
            for step in self.activities
        ]
        self.crew_from = np.full(now.finished.shape, -1).tolist()
        self.set_from = [-1] * len(now.units)
        self.one_crew = np.ones(now.finished.shape, dtype=bool).tolist()
        self.keep_starts = keep_starts
        # After the units' own cells: one for what a lag gives, then each heading's crews and set.
        self.spare = now.finished.size * (1 + keep_starts)
        self.cells = self.spare + 1 + len(now.runs) * (len(now.activities) + 1)
        self.left_row = {cell: row for row, cell in enumerate(luck.left)}
        self.held_row = {cell: row for row, cell in enumerate(luck.held_until)}
        sizes = np.array([[len(pool) for pool in row] for row in luck.pools])
        self.pool_sizes = sizes.tolist()
        self.pool_rows = (np.cumsum(sizes) - sizes.reshape(-1)).reshape(sizes.shape).tolist()

    def heading(self, heading: int, run: Run) -> None:
        """Write one heading."""
        crew_cells = self.spare + 1 + heading * (len(self.activities) + 1)
        set_cell = crew_cells + len(self.activities)
        order = self.progress.in_order(run.units)
        queues = [
            self._queue(heading, run, order, a, crew_cells + a) for a in range(len(self.activities))
        ]
        for place, unit in enumerate(order):
            if run.sets is not None and place >= run.sets:
                self.set_from[unit] = order[place - run.sets]
                self._free_set(set_cell, order[place - run.sets], run.turnaround_days)
            for activity, queue in enumerate(queues):
                if not self.in_hand[unit][activity]:
                    self._begin(heading, unit, activity, queue.get(unit, -1), crew_cells, set_cell)

    def _queue(
        self, heading: int, run: Run, order: list[int], activity: int, crew: int
    ) -> dict[int, int]:
        """Write what a trade has in hand; return from which unit its crew comes to each other."""
        in_hand = self.progress.in_hand(run.units, activity)
        for unit in in_hand:
            self._carry_on(heading, unit, activity)
        turn = in_hand + [unit for unit in order if not self.in_hand[unit][activity]]
        crews = run.crews[activity] if run.crews else 1
        for unit in order:
            self.one_crew[unit][activity] = crews == 1
        for unit in in_hand[: max(len(in_hand) - crews, 0)]:
            self._step(FREE, crew, self._cell(unit, activity))
        later = range(max(len(in_hand), crews), len(turn))
        return {turn[place]: turn[place - crews] for place in later}

    def _carry_on(self, heading: int, unit: int, activity: int) -> None:
        """Write work under way, or a finish that was."""
        cell, step = self._cell(unit, activity), self.activities[activity]
        if self.progress.is_finished[unit, activity]:
            self._step(KNOWN, cell, _tick(self.progress.finished[unit, activity]))
            return
        begun = _tick(self.progress.started[unit, activity]) if step.calendar_days else 0
        self._step(BEGIN, begun)
        if step.calendar_days:
            self._draw_and_work(heading, unit, activity)
        else:
            if (unit, activity) in self.held_row:
                self._step(HELD, self.held_row[unit, activity])
            if self.keep_starts:
                self._keep_start(unit, activity)
            self._step(LEFT, self.left_row[unit, activity])
            self._step(self.kinds[activity], cell)
        self._step(AGAIN, cell)
        for earlier in step.after:
            if self.in_hand[unit][earlier]:
                self._wait_for(unit, activity, earlier)
        self._step(KEEP, cell)

    def _begin(
        self, heading: int, unit: int, activity: int, crew_from: int, crew_cells: int, set_cell: int
    ) -> None:
        """Write work that has not been begun, as soon as nothing is missing."""
        step = self.activities[activity]
        crew = -1 if step.calendar_days else crew_from
        self.crew_from[unit][activity] = crew
        if self._only_trade_and_crew(unit, activity, crew):
            # The usual case in one step: one crew, which has gone from new unit to new unit.
            trade = self._cell(unit, step.after[0])
            self._step(BOTH, trade, self._cell(crew, activity), BOUND_AFTER + step.after[0])
        else:
            self._wait_for_all(unit, activity, crew, crew_cells + activity, set_cell)
        if self.keep_starts:
            self._keep_start(unit, activity)
        self._draw_and_work(heading, unit, activity)

    def _only_trade_and_crew(self, unit: int, activity: int, crew: int) -> bool:
        """Tell whether a start waits for one trade and a crew that was on a new unit before."""
        step = self.activities[activity]
        return (
            len(step.after) == 1
            and not step.lag_days
            and crew >= 0
            and not self.in_hand[crew][activity]
            and self.one_crew[unit][activity]
            and (activity > 0 or self.set_from[unit] < 0)
        )

    def _wait_for_all(
        self, unit: int, activity: int, crew: int, crew_cell: int, set_cell: int
    ) -> None:
        """Write all that a start waits for."""
        step = self.activities[activity]
        self._step(BEGIN, -BACK if step.calendar_days and step.after else 0)
        for earlier in step.after:
            self._wait_for(unit, activity, earlier)
        if activity == 0 and self.set_from[unit] >= 0:
            self._step(WAIT, set_cell, BOUND_SET)
        if crew >= 0:
            self._step(FREE, crew_cell, self._cell(crew, activity))
            self._step(WAIT, crew_cell, BOUND_CREW)

    def _wait_for(self, unit: int, activity: int, earlier: int) -> None:
        """Write that an activity waits for an earlier one and the lag."""
        cell, lag = self._cell(unit, earlier), self.activities[activity].lag_days
        if lag:
            self._step(LAG, self.spare, cell, lag)
        self._step(WAIT, self.spare if lag else cell, BOUND_AFTER + earlier)

    def _free_set(self, set_cell: int, unit: int, turnaround_days: int) -> None:
        """Write that a falsework set comes free of a unit."""
        cell = self._cell(unit, last_in_set(self.activities))
        if turnaround_days:
            self._step(LAG, self.spare, cell, turnaround_days)
        self._step(FREE, set_cell, self.spare if turnaround_days else cell)

    def _draw_and_work(self, heading: int, unit: int, activity: int) -> None:
        cell = self._cell(unit, activity)
        if (unit, activity) in self.left_row:
            self._step(LEFT, self.left_row[unit, activity])
            self._step(self.kinds[activity], cell)
            return
        row, size = self.pool_rows[heading][activity], self.pool_sizes[heading][activity]
        self.steps.extend((DRAW, cell, row, size, self.kinds[activity], cell, 0, 0))

    def _keep_start(self, unit: int, activity: int) -> None:
        """Write that the start is kept."""
        if not self.activities[activity].calendar_days:
            self._step(LEFT, len(self.left_row))
            self._step(CURE, self.now.finished.size + self._cell(unit, activity))

    def _cell(self, unit: int, activity: int) -> int:
        return unit * len(self.activities) + activity

    def _step(self, kind: int, cell: int, other: int = 0, number: int = 0) -> None:
        self.steps.extend((kind, cell, other, number))


def _ints(values: ArrayLike) -> Ints:
    return np.ascontiguousarray(values, dtype=np.int32)


def _tick(days: float) -> int:
    return round(float(days) * TICKS)


def _rows(cells: Mapping[Cell, Days], paths: int) -> Ints:
    """Put the days of cells one below the other, in ticks."""
    rows = [np.rint(days * TICKS) for days in cells.values()]
    return _ints(np.stack(rows)) if rows else np.zeros((0, paths), dtype=np.int32)


def _calendar(now: LineNow, seed: int) -> Calendar:
    worked = now.worked(-DAYS_BACK, LONGEST_DAYS)
    ends = np.full(worked.size + 2, worked.size + 1)
    ends[: worked.sum() + 1] = [0, *(np.flatnonzero(worked) + 1)]
    return Calendar(
        _ints(2 * (np.cumsum(worked) - worked) + worked),
        _ints(ends),
        _ints(np.where(worked[DAYS_BACK:], now.lost_chances(LONGEST_DAYS), -1)),
        keys(seed, WEATHER_STREAM, np.arange(LONGEST_DAYS)),
    )


def _chains(now: LineNow, writer: _Writer, copies: int) -> Chains:
    """Say how to follow the last finish back; starts, if kept, are never on the way."""
    heading_of = np.zeros(len(now.units), dtype=np.int64)
    for place, run in enumerate(now.runs):
        heading_of[list(run.units)] = place
    activity = np.arange(len(now.activities))
    stops = np.array([step.weather and not step.calendar_days for step in now.steps])
    waits = came_from(now.steps, _ints(writer.crew_from), _ints(writer.set_from))
    return Chains(
        _ints(np.tile(waits, (copies, 1))),
        _ints(np.tile((heading_of[:, None] * activity.size + activity).reshape(-1), copies)),
        np.tile(stops, len(now.units) * copies),
        _ints(np.flatnonzero(~_waited_for(now))),
        _ints(np.tile(np.where(now.to_do, 0, -(2**15)).reshape(-1), copies)),
    )


def _waited_for(now: LineNow) -> NDArray[np.bool_]:
    """Return which cells an unfinished activity of their unit comes after."""
    waited = np.zeros(now.finished.shape, dtype=bool)
    for activity, step in enumerate(now.steps):
        for earlier in step.after:
            waited[:, earlier] |= now.to_do[:, activity]
    return waited
