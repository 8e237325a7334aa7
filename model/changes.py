"""Every change of a span's status, for whoever folds them again: the day slider.

The browser holds these few arrays and shows any day without asking: the status of a span in
an activity on a day is that of its last change on or before it.
"""

from __future__ import annotations

import datetime as dt
from typing import TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.job import Job
from model.log_arrays import NOT_STARTED, LogArrays

Changes: TypeAlias = pd.DataFrame
"""Columns ``day``, ``at``, ``span``, ``activity``, ``status``; see ``changes``."""


def changes(
    events: pd.DataFrame | LogArrays, job: Job, *, known_on: dt.datetime | None = None
) -> Changes:
    """Return every change of a span's status.

    Parameters
    ----------
    events
        Event frame as a store returns it, or the ``LogArrays`` of the job.
    job
        The job as planned.
    known_on
        Only what the log had been told by then (aware, inclusive); None is everything.

    Returns
    -------
    Changes
        Rising by ``at``: ``day`` (local date), ``at``, ``span`` (row in ``job.spans``),
        ``activity`` (position in ``job.activities``), ``status`` (position in ``STATUSES``).
        The last change on or before a day gives the same status as a fold as of its end.
    """
    log = events if isinstance(events, LogArrays) else LogArrays(job, events)
    cell, at_us, status = cell_changes(log, known_on)
    n_spans, _, n_activities = log.shape
    place, activity = np.divmod(cell, n_activities)
    of_unit = np.flatnonzero(place >= n_spans)
    position, unit_span = log.plan.each_span(place[of_unit] - n_spans)
    of_span = np.flatnonzero(place < n_spans)
    row = np.concatenate([of_span, of_unit[position]])
    span = np.concatenate([place[of_span], unit_span])
    return pd.DataFrame(
        {
            "day": at_us[row].view("datetime64[us]").astype("datetime64[D]"),
            "at": at_us[row].view("datetime64[us]"),
            "span": span,
            "activity": activity[row],
            "status": status[row],
        }
    ).sort_values("at", kind="stable", ignore_index=True)


def cell_changes(
    log: LogArrays, known_on: dt.datetime | None
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int8]]:
    """Return the cell, the time and the new status of every change, sorted by cell and time."""
    known = log.known_on(known_on)
    cell, status = known.rows.cell, known.status
    before = np.full(status.size, NOT_STARTED, dtype=np.int8)
    goes_on = cell[1:] == cell[:-1]
    before[1:] = np.where(goes_on, status[:-1], NOT_STARTED)
    changed = status != before
    return cell[changed], known.rows.at_us[changed], status[changed]
