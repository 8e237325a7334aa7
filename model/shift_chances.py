"""The chance that work starts, and that it is finished, in one shift and by the end of the next.

The line is marched on from the evening before the shift, as the forecast marches it, but only
as far as the next shift matters. What the shift has recorded already is taken as given.

Planning figures only: that a cure has run its days or a crew may start says nothing about
strength. When forms are stripped or falsework is released is decided by the engineer of record.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.cycle import RECENT_UNITS
from model.fold import State
from model.job import Job
from model.line import SMALL, DayCounter, Days, March, Run
from model.line_now import Draws, LineNow, left_share, line_now
from model.same_shift import same_shift_share

PATHS = 1000
"""The standard error of a chance is then 0.016 at most: enough for "8 in 10"."""

SEED = 1
UNITS_AHEAD = 4
"""Units of a heading not begun yet that are marched: later ones cannot start in two shifts."""

FIRST_STROKE = 2 * SMALL
"""Days of work after which work is seen to have started."""

END_OF_SHIFT = 1.0
"""Days from the evening before."""

ALL_PLACED = 99.0
"""Per cent at which nothing is left to place of what is not finished yet."""

CHANCES = ("starts", "starts_by_next", "finishes", "finishes_by_next")
COLUMNS = ("unit", "span", "heading", "activity", "status", "percent", *CHANCES)


def shift_chances(
    job: Job,
    state: State,
    evening_before: State,
    shift: dt.date,
    next_shift: dt.date,
    *,
    seed: int = SEED,
) -> pd.DataFrame:
    """Give the chances of everything that may start or be finished by the end of the next shift.

    Parameters
    ----------
    job
        The job as planned.
    state, evening_before
        The log folded as of now, and as of the beginning of the shift.
    shift, next_shift
        The days on which they begin.
    seed
        The same one gives the same chances.

    Returns
    -------
    DataFrame
        One row per unfinished unit, or span, of an activity: ``unit``, ``span`` (blank for
        whole units), ``heading``, ``activity``, ``status``, ``percent`` and the chances
        ``starts`` and ``finishes`` in the shift, ``starts_by_next`` and ``finishes_by_next`` by
        the end of the next one (0…1). Of work on hold ``starts`` means that it goes on; of work
        under way it is 1. Cells that cannot start by then are left out.

    Notes
    -----
    What was finished in this shift is taken as finished at its end, so what follows it is due
    in the next one. Of what was placed on in this shift, or put on hold, the rest goes on with
    the next one, unless all that was planned is placed and only the finish is missing.

    A unit's work is taken to go through its spans one by one, each by its area. The march goes
    by whole units: a crew that follows another span by span may begin sooner than it says. It
    also starts at once whatever is possible; here work that becomes possible in the middle of a
    shift starts in that shift as often as the log says such work did (``model.same_shift``),
    and else with the next. A heading on which nothing has begun is left out: the log does not
    say when its crews come.

    Of jobs made by other rules (``tests.benchmarks.bench_calibration``), crews were done by the
    next working day, by what was said:

    ====  ===  ====  ====  ====  ====  ====  ====  ====  ====  ====
    said  0%   2%    10%   20%   30%   42%   57%   72%   87%   98%
    came  11%  2%    10%   22%   34%   46%   58%   71%   68%   66%
    ====  ===  ====  ====  ====  ====  ====  ====  ====  ====  ====

    The ends are rare (6 of 100 times) and too sure: days are drawn from those known, so that
    none is shorter, and work that takes longer than any is held to be nearly done. The demo's
    crews learn fast, so that slow first units widen what is drawn: of what was said to be likely
    at 20 to 50 per cent (33 on average), 50 of 100 came.
    """
    now = _from_the_evening_before(job, state, evening_before, shift)
    draws = _draws(now, _told_already(now, state, evening_before), seed)
    marched, counter = now.march(draws, keep_starts=True)
    at_once = [same_shift_share(evening_before, job, activity) for activity in job.activities]
    shifts = _Shifts(now, draws, marched, counter, (next_shift - shift).days, at_once)
    cells = _unfinished(job, state)
    rows = [row for unit, place in _marched_on(now) for row in shifts.rows(unit, place, cells)]
    found = pd.DataFrame(rows, columns=["unit", "activity", "span", "status", "percent", *CHANCES])
    found["heading"] = found["unit"].map(job.heading_of_unit)
    return found[list(COLUMNS)]


def _from_the_evening_before(
    job: Job, state: State, evening_before: State, shift: dt.date
) -> LineNow:
    """Return the line as of the evening before, with what this shift has recorded laid over it."""
    now = line_now(job, evening_before, shift - dt.timedelta(days=1), recent=RECENT_UNITS)
    shape = now.finished.shape
    status = state.units["status"].to_numpy().reshape(shape)
    complete, begun = status == "complete", np.isin(status, ["under_way", "on_hold"])
    by_now = np.where(complete | begun, END_OF_SHIFT, np.nan)
    return replace(
        now,
        finished=np.where(complete, np.fmin(now.finished, END_OF_SHIFT), np.nan),
        started=np.where(np.isnan(now.started), by_now, now.started),
        on_hold=status == "on_hold",
        left_share=left_share(state.units).reshape(shape),
        runs=tuple(_near(run, now) for run in now.runs),
    )


def _near(run: Run, now: LineNow) -> Run:
    """Leave out the units of a heading that come too late to matter.

    Crews and falsework sets go to the units begun first, then on in building order, so what
    is left out changes nothing for those before it.
    """
    known = ~np.isnan(np.fmin(now.started, now.finished))
    begun = np.asarray(np.any(known, axis=1))
    ahead = [unit for unit in run.units if not begun[unit]][:UNITS_AHEAD]
    return replace(run, units=tuple(unit for unit in run.units if begun[unit] or unit in ahead))


def _told_already(now: LineNow, state: State, evening_before: State) -> NDArray[np.bool_]:
    """Tell of which units and activities this shift has told its work already.

    Those it placed on, unless all is placed, and those it put on hold.
    """
    units, before = state.units, evening_before.units
    placed = (units["placed_si"] > before["placed_si"]) & (units["percent"] < ALL_PLACED)
    held = (units["status"] == "on_hold") & (before["status"] != "on_hold")
    told = (placed | held).to_numpy(bool).reshape(now.finished.shape)
    return np.asarray(told & now.to_do & ~np.isnan(now.started))


def _draws(now: LineNow, told: NDArray[np.bool_], seed: int) -> Draws:
    """Draw what chance decides; what is told already stands still to the end of the shift."""
    draws = now.draw(PATHS, seed)
    end = np.full(PATHS, END_OF_SHIFT, dtype=np.float32)
    cells = [(int(unit), int(activity)) for unit, activity in np.argwhere(told)]
    still = {cell: np.maximum(draws.held_until.get(cell, end), end) for cell in cells}
    return replace(draws, held_until={**draws.held_until, **still})


def _marched_on(now: LineNow) -> Iterator[tuple[int, int]]:
    """Go through what is unfinished of the units that were marched, where work has begun."""
    known = ~np.isnan(np.fmin(now.started, now.finished))
    for run in now.runs:
        if not known[list(run.units)].any():
            continue
        for unit in run.units:
            for place in np.flatnonzero(now.to_do[unit]).tolist():
                yield unit, place


@dataclass(frozen=True, slots=True)
class _Cell:
    """What a crew finishes at a time, and its part of the work left in the unit, 0…1."""

    span: str
    status: str
    percent: float
    begins: float
    ends: float


def _unfinished(job: Job, state: State) -> dict[tuple[str, str], list[_Cell]]:
    """Return what is unfinished of every unit and activity, in the order it is worked on."""
    by_span = [activity.key for activity in job.activities if activity.grain == "span"]
    units = state.units[~state.units["activity"].isin(by_span)].assign(span="", area_m2=1.0)
    spans = state.spans[state.spans["activity"].isin(by_span)]
    areas = job.spans.set_index(["unit", "span"])["area_m2"]
    places = pd.MultiIndex.from_frame(spans[["unit", "span"]])
    cells = pd.concat([units, spans.assign(area_m2=areas.reindex(places).to_numpy())])
    cells = cells[cells["status"] != "complete"]
    # Those begun first; the others in building order.
    cells = cells.sort_values("status", key=lambda s: s == "not_started", kind="stable")
    left = cells["area_m2"] * (1.0 - cells["percent"] / 100.0)
    of_unit = left.groupby([cells["unit"], cells["activity"]])
    ends = of_unit.cumsum() / of_unit.transform("sum")
    begins = ends - left / of_unit.transform("sum")
    found: dict[tuple[str, str], list[_Cell]] = {}
    columns = (cells[name] for name in ("unit", "activity", "span", "status", "percent"))
    for unit, activity, *rest in zip(*columns, begins, ends, strict=True):
        found.setdefault((unit, activity), []).append(_Cell(*rest))
    return found


@dataclass(frozen=True)
class _Shifts:
    """Marches, looked at for what falls into a shift and the next one, ``days_on`` days later.

    ``at_once`` has the share of each activity's starts that come as soon as they can.
    """

    now: LineNow
    draws: Draws
    marched: March
    counter: DayCounter
    days_on: int
    at_once: Sequence[float]

    def rows(
        self, unit: int, place: int, cells: dict[tuple[str, str], list[_Cell]]
    ) -> list[tuple[Any, ...]]:
        """Return a row for each cell of a unit and activity; none if it cannot start by then."""
        names = self.now.units[unit], self.now.activities[place].key
        if float(self._start(unit, place).min()) > self.days_on + 1:
            return []
        return [
            (*names, cell.span, cell.status, cell.percent, *self._chances(unit, place, cell))
            for cell in cells[names]
        ]

    def _chances(self, unit: int, place: int, cell: _Cell) -> NDArray[np.float64]:
        """Return the chances of a cell; it is not finished where it is not begun."""
        starts = self._starts(unit, place, cell)
        return np.concatenate([starts, np.minimum(self._finishes(unit, place, cell), starts)])

    def _start(self, unit: int, place: int) -> Days:
        """Return when a unit's work begins or goes on; for a cure under way, now."""
        assert self.marched.start is not None
        return np.asarray(np.maximum(np.nan_to_num(self.marched.start[unit, place]), 0.0))

    def _starts(self, unit: int, place: int, cell: _Cell) -> NDArray[np.float64]:
        """Return the chances that a cell is begun, or goes on."""
        if cell.status == "under_way":
            return np.ones(2)
        possible = self._after(unit, place, cell.begins)
        at_once = 1.0 if cell.status == "on_hold" else self.at_once[place]
        next_morning = np.ceil(possible - SMALL)
        return np.asarray(
            at_once * self._shares(self._first_stroke(place, possible))
            + (1.0 - at_once) * self._shares(self._first_stroke(place, next_morning))
        )

    def _finishes(self, unit: int, place: int, cell: _Cell) -> NDArray[np.float64]:
        """Return the chances that a cell is finished; the last one finishes with its unit."""
        if cell.ends > 1.0 - SMALL:
            return self._shares(self.marched.finish[unit, place])
        return self._shares(self._after(unit, place, cell.ends))

    def _after(self, unit: int, place: int, part: float) -> Days:
        """Return when a part of a unit's work is done."""
        start, step = self._start(unit, place), self.now.steps[place]
        if step.calendar_days or part < SMALL:  # a cure runs in all spans at once
            return start
        work = self.draws.work[unit, place] * np.float32(part)
        return self.counter.after_work(start, work, weather=step.weather)

    def _first_stroke(self, place: int, possible: Days) -> Days:
        """Return when work that is possible is first seen to have started."""
        step = self.now.steps[place]
        if step.calendar_days:
            return np.asarray(possible + FIRST_STROKE)
        return self.counter.after_work(possible, FIRST_STROKE, weather=step.weather)

    def _shares(self, moments: Days) -> NDArray[np.float64]:
        """Return the shares of paths on which a moment comes by the end of each shift."""
        ends = END_OF_SHIFT + SMALL + np.array([0, self.days_on])
        return np.asarray((moments[:, None] <= ends).mean(axis=0))
