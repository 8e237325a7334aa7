"""What is placed against what is planned, per activity: now, and day by day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.changes import cell_changes
from model.fold import MICROS_PER_DAY, State
from model.job import Job
from model.log_arrays import COMPLETE, PLACE, LogArrays
from model.planned import PlanGrid


def totals(state: State) -> pd.DataFrame:
    """Return placed against planned for each activity.

    Parameters
    ----------
    state
        A folded state.

    Returns
    -------
    DataFrame
        In working order: ``activity``, ``placed_si``, ``planned_si`` (NaN where nothing is
        planned), ``units_complete``, ``units_total``.
    """
    standing = state.unit_standing
    return pd.DataFrame(
        {
            "activity": [activity.key for activity in state.job.activities],
            "placed_si": standing.placed_si.sum(axis=0),
            "planned_si": planned_totals(state.log.plan),
            "units_complete": (standing.status == COMPLETE).sum(axis=0),
            "units_total": len(standing.status),
        }
    )


def planned_totals(plan: PlanGrid) -> NDArray[np.float64]:
    """Return what is planned for each activity, SI; NaN where nothing is, (A,)."""
    nothing = np.isnan(plan.unit_si).all(axis=0)
    return np.asarray(np.where(nothing, np.nan, np.nansum(plan.unit_si, axis=0)))


@dataclass(frozen=True)
class ByDay:
    """Placed and finished up to the end of each day; D days, A activities.

    Parameters
    ----------
    days
        Every date from the first working day, or the first event if that is earlier, (D,).
    placed_si
        Cumulative quantity in the SI unit of the measure, (D, A).
    units_complete
        Number of units complete, (D, A).
    """

    days: NDArray[np.datetime64]
    placed_si: NDArray[np.float64]
    units_complete: NDArray[np.int64]


def by_day(
    events: pd.DataFrame | LogArrays,
    job: Job,
    *,
    until: dt.date | None = None,
    known_on: dt.datetime | None = None,
) -> ByDay:
    """Return what was placed and finished up to the end of each day, for the day slider.

    Parameters
    ----------
    events
        Event frame as a store returns it, or the ``LogArrays`` of the job.
    job
        The job as planned.
    until
        Last day wanted; None is the day of the last event.
    known_on
        Only what the log had been told by then (aware, inclusive); None is everything.

    Returns
    -------
    ByDay
        Each day agrees with the totals of a fold as of its end.
    """
    log = events if isinstance(events, LogArrays) else LogArrays(job, events)
    rows = log.known_on(known_on).rows
    n_activities = log.shape[2]
    days = _days(rows.at_us, job, until)
    placing = rows.kind == PLACE
    placed = _per_day(
        rows.at_us[placing], rows.cell[placing] % n_activities, rows.quantity_si[placing],
        days, n_activities,
    )  # fmt: skip
    at_us, activity, step = _completions_of_units(log, known_on)
    complete = _per_day(at_us, activity, step, days, n_activities)
    return ByDay(days, placed.cumsum(axis=0), complete.cumsum(axis=0).astype(np.int64))


def _days(at_us: NDArray[np.int64], job: Job, until: dt.date | None) -> NDArray[np.datetime64]:
    start = int(np.datetime64(job.calendar.start, "D").astype(np.int64))
    first = min(start, int(at_us.min(initial=start * MICROS_PER_DAY)) // MICROS_PER_DAY)
    if until is None:
        last = int(at_us.max(initial=start * MICROS_PER_DAY)) // MICROS_PER_DAY
    else:
        last = int(np.datetime64(until, "D").astype(np.int64))
    return np.arange(first, max(first, last) + 1).view("datetime64[D]")


def _per_day(
    at_us: NDArray[np.int64],
    activity: NDArray[np.int64],
    amount: NDArray[np.float64],
    days: NDArray[np.datetime64],
    n_activities: int,
) -> NDArray[np.float64]:
    """Add amounts up by day and activity; what comes after the last day is left out."""
    day = at_us // MICROS_PER_DAY - days[0].astype(np.int64)
    kept = day < days.size
    box = day[kept] * n_activities + activity[kept]
    sums = np.bincount(box, amount[kept], days.size * n_activities).astype(float)
    return sums.reshape(days.size, n_activities)


def _completions_of_units(
    log: LogArrays, known_on: dt.datetime | None
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Return time, activity and +1 or -1 whenever a unit becomes complete or stops being so."""
    n_spans, _, n_activities = log.shape
    cell, at_us, status = cell_changes(log, known_on)
    step, moved = _steps(cell, status == COMPLETE)
    place, activity = np.divmod(cell[moved], n_activities)
    at_us, step = at_us[moved], step[moved]
    of_unit = place >= n_spans
    unit = np.where(of_unit, place - n_spans, log.plan.unit_of_span[np.minimum(place, n_spans - 1)])
    parts = np.where(of_unit, 1, log.plan.spans_in_unit[unit])

    group = unit * n_activities + activity
    order = np.lexsort((at_us, group))
    group, at_us, step, parts = group[order], at_us[order], step[order], parts[order]
    # Steps of a whole group's past add up to the parts complete, as groups start from none.
    finished_parts = step.cumsum()
    opens = np.flatnonzero(np.diff(group, prepend=-1))
    carried = finished_parts[opens] - step[opens]
    finished_parts = finished_parts - np.repeat(carried, np.diff([*opens, group.size]))
    unit_step, moved = _steps(group, finished_parts == parts)
    return at_us[moved], group[moved] % n_activities, unit_step[moved].astype(float)


def _steps(
    group: NDArray[np.int64], flag: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return +1, 0 or -1 as a flag goes up and down along each group, and where it moves."""
    level = flag.astype(np.int64)
    before = np.zeros(level.size, dtype=np.int64)
    before[1:] = np.where(group[1:] == group[:-1], level[:-1], 0)
    step = level - before
    return step, step != 0
