"""Which crews stand idle, which are next to, from when, and for whose work they wait.

A crew starves when it is done with one unit and the next is not ready for it: the work before
it there is not finished, or there is no free falsework set. Dates are the 50 per cent ones of
the forecast, so that they are the same as on every screen.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from model.activities import Activity, planned_line_cycle_days
from model.job import Job
from model.projection import Forecast

COLUMNS = (
    "heading", "activity", "unit", "waits_for", "waits_for_unit", "free_from", "ready_on",
    "wait_days", "planned_wait_days", "idle_now",
)  # fmt: skip
NO_SET = "falsework set"
WORTH_SAYING_DAYS = 0.5


@dataclass(frozen=True)
class Starving:
    """Crews that wait longer than the plan has them wait, the soonest first.

    Parameters
    ----------
    as_of
        The log was read to the end of this day.
    crews
        One row per heading and activity whose crew starves. ``unit`` is the unit it waits to
        begin, ``waits_for`` the activity that is not finished there (or ``"falsework set"``),
        ``waits_for_unit`` the unit that this is done in, ``free_from`` the last day it has
        work, ``ready_on`` the day it can go on after, ``wait_days`` the working days between,
        ``planned_wait_days`` how many of them the plan would have anyway because another trade
        is slower, ``idle_now`` whether it stands idle already.
    """

    as_of: dt.date
    crews: pd.DataFrame


def starving(job: Job, forecast: Forecast) -> Starving:
    """Say which crews starve, for the first unit on each heading where they do.

    Parameters
    ----------
    job
        The job as planned.
    forecast
        Its projection.

    Notes
    -----
    A trade whose planned cycle is shorter than that of the slowest stands still for the rest
    of every cycle, also when all goes to plan; only a longer wait counts as starving.
    """
    today = np.datetime64(forecast.as_of, "D")
    dates = forecast.units.set_index(["unit", "activity"])
    finish = dates["finished"].fillna(dates["p50"])
    done = set(dates.index[dates["finished"].notna()])
    planned_cycle = planned_line_cycle_days(job.activities)
    rows = []
    for heading in job.headings:
        for activity in job.activities:
            if activity.calendar_days:
                continue
            planned = max(planned_cycle - activity.planned_cycle_days, 0.0)
            for place, unit in enumerate(heading.units):
                if place == 0 or (unit, activity.key) in done:
                    continue
                before = heading.units[place - 1]
                free = np.datetime64(finish[(before, activity.key)], "D")
                waits = _ready(job, activity, heading.units, place, finish)
                ready, waits_for, waits_for_unit = waits
                wait = int(job.calendar.count(free + 1, max(ready, free) + 1))
                if wait > planned + WORTH_SAYING_DAYS and ready > today:
                    rows.append((heading.key, activity.key, unit, waits_for, waits_for_unit,
                                 free, ready, wait, planned, bool(free <= today)))  # fmt: skip
                    break
    crews = pd.DataFrame(rows, columns=list(COLUMNS))
    return Starving(forecast.as_of, crews.sort_values("free_from", ignore_index=True))


def _ready(
    job: Job,
    activity: Activity,
    units: tuple[str, ...],
    place: int,
    finish: pd.Series[pd.Timestamp],
) -> tuple[np.datetime64, str, str]:
    """Return the day after which a unit is ready for a crew, and what it waits for till then."""
    unit = units[place]
    lag = np.int64(activity.lag_days)
    waits = [
        (_after(job, finish[(unit, earlier)], int(lag)), earlier, unit)
        for earlier in activity.after
    ]
    heading = next(h for h in job.headings if h.units == units)
    if not activity.after and heading.falsework_sets and place >= heading.falsework_sets:
        holder = units[place - heading.falsework_sets]
        last = _frees_the_set(job)
        free = _after(job, finish[(holder, last.key)], heading.turnaround_days)
        waits.append((free, NO_SET, holder))
    return max(waits, default=(np.datetime64("1970-01-01"), "", unit))


def _after(job: Job, day: pd.Timestamp, working_days: int) -> np.datetime64:
    """Return a day, or the working day so many later."""
    date = np.datetime64(day, "D")
    if not working_days:
        return date
    later: np.datetime64 = job.calendar.add([date], working_days)[0]
    return later


def _frees_the_set(job: Job) -> Activity:
    """Return the activity whose end frees the falsework: curing, or the last one."""
    curing = [activity for activity in job.activities if activity.calendar_days]
    return curing[-1] if curing else job.activities[-1]
