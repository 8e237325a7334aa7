"""The planner's baseline of the demo: the march as it was hoped to go.

Like the log's march, but with the plan's times, a start-up allowance for the first units and
the expected lost days spread evenly over their months.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from demo_project.march import Piece, Site, Work, march
from model.activities import Activity
from model.job import Job
from model.workdays import WorkCalendar

START_UP_ALLOWANCE = (2.2, 1.9, 1.7, 1.5, 1.4)
LATER_ALLOWANCE = 1.25
"""Time allowed for a heading's first units, and for all later ones, over the plan's."""

HORIZON_SHIFTS = 800


def baseline_table(job: Job) -> pd.DataFrame:
    """Return ``baseline.csv``: when each activity of each unit was planned to be finished.

    Parameters
    ----------
    job
        The demo's job; only calendar, activities, headings and spans are used.

    Returns
    -------
    DataFrame
        ``unit``, ``activity``, ``planned_finish`` (date), in the order of the job.
    """
    works = {
        (unit, activity.key): Work(_planned_shifts(activity, number, len(job.spans_of_unit[unit])))
        for heading in job.headings
        for number, unit in enumerate(heading.units)
        for activity in job.activities
    }
    site = Site(job.calendar, job.activities, expected_lost_days(job.calendar))
    pieces = march(site, job.headings, works)
    finishes = {(p.unit, p.activity.key): _finish(p, job.calendar) for p in pieces}
    rows = [
        {"unit": unit, "activity": activity.key, "planned_finish": finishes[unit, activity.key]}
        for unit in job.units["unit"]
        for activity in job.activities
    ]
    return pd.DataFrame(rows)


def expected_lost_days(calendar: WorkCalendar) -> NDArray[np.bool_]:
    """Return one lost day each time the expected losses add up to another whole day.

    Examples
    --------
    >>> import datetime as dt
    >>> calendar = WorkCalendar(dt.date(2026, 3, 2), lost_days_per_month=(2.0,) * 12)
    >>> int(expected_lost_days(calendar)[:22].sum())
    2
    """
    expected = np.cumsum(calendar.daily_loss_probability(np.arange(HORIZON_SHIFTS)))
    whole = np.floor(expected + 1e-9)
    return np.asarray(np.diff(whole, prepend=0.0) > 0)


def _planned_shifts(activity: Activity, number: int, spans: int) -> int:
    """Return the shifts the plan gives a crew for the n-th unit (from 0) of its heading."""
    allowance = START_UP_ALLOWANCE[number] if number < len(START_UP_ALLOWANCE) else LATER_ALLOWANCE
    days = activity.planned_cycle_days * allowance * math.pow(spans / 3, 0.6)
    # A plan is rounded to whole shifts, not always up.
    return max(1, math.ceil(days - 0.4))


def _finish(piece: Piece, calendar: WorkCalendar) -> str:
    """Return the ISO date of a piece's end; a cure ends after its calendar days."""
    day = calendar.date_of(piece.shifts[-1])
    if piece.activity.calendar_days:
        day = day + np.timedelta64(int(piece.activity.planned_cycle_days), "D")
    return str(day)
