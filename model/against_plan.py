"""When the line and each heading likely finish, beside the baseline.

The owner's question: is the job late? Dates alone do not tell, nor does one heading that is
ahead say anything about another that is not.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from model.job import Job
from model.projection import Band, Forecast


@dataclass(frozen=True, slots=True)
class FinishAgainstPlan:
    """One finish, likely and planned.

    Parameters
    ----------
    heading
        Key of the heading; blank for the whole line.
    finish
        The projection's dates.
    planned
        The last planned finish of its baseline; None without one.
    days_late
        Working days that the finish, as likely as not, comes after the planned one; below 0 it
        comes sooner. None without a baseline.
    done
        True where nothing is left: the finish is the last one of the log.
    """

    heading: str
    finish: Band
    planned: dt.date | None
    days_late: int | None
    done: bool = False


def against_plan(job: Job, forecast: Forecast) -> tuple[FinishAgainstPlan, ...]:
    """Lay the projected finishes beside the planned ones.

    Parameters
    ----------
    job
        The job as planned.
    forecast
        When it will likely finish.

    Returns
    -------
    tuple of FinishAgainstPlan
        The whole line, then the headings in the job's order.
    """
    keys = ["", *(heading.key for heading in job.headings)]
    left = forecast.units[forecast.units["p50"].notna()]
    return tuple(
        _one(
            job,
            key,
            forecast.headings.get(key, forecast.finish),
            done=left.empty if not key else key not in set(left["heading"]),
        )
        for key in keys
    )


def _one(job: Job, heading: str, finish: Band, *, done: bool) -> FinishAgainstPlan:
    planned = _planned_finish(job, heading)
    if planned is None:
        return FinishAgainstPlan(heading, finish, None, None, done)
    late = job.calendar.count(np.datetime64(planned, "D"), np.datetime64(finish.p50, "D"))
    return FinishAgainstPlan(heading, finish, planned, int(late), done)


def _planned_finish(job: Job, heading: str) -> dt.date | None:
    """Return the last planned finish of a heading, or of the line."""
    days = job.baseline["planned_finish"]
    if heading:
        days = days[job.baseline["unit"].map(job.heading_of_unit) == heading]
    known = days.dropna()
    return None if known.empty else known.max().date()
