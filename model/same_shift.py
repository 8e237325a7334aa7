"""How often work starts in the very shift in which it becomes possible.

A crew that is done at noon may go on to the next unit at once, or come back to it in the
morning. Which of the two is the habit of a trade, and the log knows it.
"""

from __future__ import annotations

import pandas as pd

from model.activities import Activity
from model.fold import State
from model.job import Job
from model.ready import readiness


def same_shift_share(state: State, job: Job, activity: Activity) -> float:
    """Return the share of an activity's starts that came on the day the work became possible.

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
    float
        Between 0 and 1; a half where the log has no start to go by.

    Notes
    -----
    Work is possible from the day on which the last of the activities before it was finished and
    the crew was done with the unit or span before. Of ``n`` such starts with ``k`` on that day
    it gives ``(k + 1) / (n + 2)``.

    References
    ----------
    The rule of succession (Laplace); that it fits crews is our choice, no source.
    """
    cells = readiness(state, job, activity)
    begun = cells[cells["started"].notna()].sort_values(["heading", "started"], kind="stable")
    if activity.calendar_days:
        possible = begun["free_since"]
    else:
        crew_free = begun.groupby("heading")["finished"].shift()
        possible = pd.concat([begun["free_since"], crew_free], axis=1).max(axis=1)
    known = begun["started"] >= possible
    at_once = int((begun["started"] == possible).sum())
    return (at_once + 1) / (int(known.sum()) + 2)
