"""Which work can go on now: what each unit or span waits for before a trade may start.

This speaks of the order of trades alone. Whether forms may be stripped or falsework released
is decided by the engineer of record.
"""

from __future__ import annotations

import pandas as pd

from model.activities import Activity
from model.fold import State
from model.job import Job


def cells_of(state: State, activity: Activity) -> pd.DataFrame:
    """Return the cells a crew finishes at a time: units, or spans, of one activity.

    Returns
    -------
    DataFrame
        Rows of ``state.units`` (with a blank ``span``) or of ``state.spans``.
    """
    if activity.grain == "span":
        return state.spans[state.spans["activity"] == activity.key].reset_index(drop=True)
    units = state.units[state.units["activity"] == activity.key].reset_index(drop=True)
    return units.assign(span="")


def readiness(state: State, job: Job, activity: Activity) -> pd.DataFrame:
    """Say for each cell of an activity whether work can go on, and what it waits for.

    Parameters
    ----------
    state
        The fold of the log.
    job
        The job as planned.
    activity
        One of ``job.activities``.

    Returns
    -------
    DataFrame
        The rows of ``cells_of`` with ``heading``, ``waits_for`` (names of the unfinished
        activities before it, joined by commas, blank when there are none), ``at_hand``: begun
        but not complete, or not begun and waiting for nothing, and ``free_since``: when the
        last of the activities before it was finished (missing while one is not, or where
        there are none).
    """
    cells = cells_of(state, activity)
    waits: pd.Series[str] = pd.Series("", index=cells.index)
    free_since = pd.Series(pd.NaT, index=cells.index, dtype="datetime64[us]")
    for key in activity.after:
        earlier = job.activity_by_key[key]
        finished = _finished(state, cells, earlier, by_span=activity.grain == "span")
        separator = waits.where(waits == "", waits + ", ")
        waits = waits.mask(finished.isna(), separator + earlier.name)
        free_since = free_since.where(free_since > finished, finished)
    begun = cells["status"].isin(["under_way", "on_hold"])
    free = (cells["status"] == "not_started") & (waits == "")
    return cells.assign(
        heading=cells["unit"].map(job.heading_of_unit),
        waits_for=waits,
        at_hand=begun | free,
        free_since=free_since.where(waits == ""),
    )


def _finished(
    state: State, cells: pd.DataFrame, earlier: Activity, *, by_span: bool
) -> pd.Series[pd.Timestamp]:
    """Return for each cell when the earlier activity was finished there; missing until it is."""
    if by_span and earlier.grain == "span":
        done, keys = state.spans, ["unit", "span"]
    else:
        done, keys = state.units, ["unit"]
    complete = done[(done["activity"] == earlier.key) & (done["status"] == "complete")]
    found = complete.set_index(keys)["finished"].reindex(pd.MultiIndex.from_frame(cells[keys]))
    return pd.Series(found.to_numpy(), index=cells.index)
