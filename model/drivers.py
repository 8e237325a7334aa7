"""What drives the finish: the chain of work that ends last, followed back to now.

On the first paths the last finish is followed back, from each start to whatever it waited for last.
Every link of that chain accounts for the days from the end of the one before it to its own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.line import (
    BOUND_AFTER,
    BOUND_CREW,
    BOUND_HOLD,
    BOUND_SET,
    DayCounter,
    March,
    Step,
    last_in_set,
)

FOLLOWED = 1_000
"""Paths that are followed back, the first of them. Shares came within 0.03 of those of 10,000 on
the demo, summed up by heading; to follow all takes a third of the march of a long heading."""


def drivers(
    driven: NDArray[np.float64],
    lost: NDArray[np.float64],
    steps: Sequence[Step],
    activities: Sequence[str],
    headings: Sequence[str],
) -> pd.DataFrame:
    """Return how many of the days left each constraint accounts for.

    Parameters
    ----------
    driven, lost
        As ``driven_days`` returns them.
    steps
        What was marched.
    activities, headings
        Their keys, in the order of the march's steps and runs.

    Returns
    -------
    DataFrame
        ``constraint``, ``activity``, ``heading``, ``share``; the largest first, together 1; no rows
        when nothing is left to do.

        =============== ==============================================================
        ``crew``        the crew came from the unit before, or is at work now
        ``predecessor`` the activity before it in the unit ended last
        ``set``         no falsework set was free
        ``cure``        curing
        ``weather``     days lost to weather within any of these
        ``hold``        a hold was not lifted
        =============== ==============================================================
    """
    rows: dict[tuple[str, str, str], float] = {}
    for heading, activity, code in np.argwhere(driven + lost > 0):
        names = (activities[activity], headings[heading])
        kind = _constraint(int(code), steps[activity])
        rows[(kind, *names)] = rows.get((kind, *names), 0.0) + driven[heading, activity, code]
        wet = ("weather", *names)
        rows[wet] = rows.get(wet, 0.0) + lost[heading, activity, code]
    return _as_shares(rows)


def _as_shares(rows: dict[tuple[str, str, str], float]) -> pd.DataFrame:
    """Turn days into shares, the largest first."""
    total = sum(rows.values())
    shares = sorted(
        ((days / total, key) for key, days in rows.items() if days > 0),
        key=lambda row: (-row[0], row[1]),
    )
    return pd.DataFrame(
        [(*key, share) for share, key in shares],
        columns=["constraint", "activity", "heading", "share"],
    )


def _constraint(code: int, step: Step) -> str:
    """Name what a link of the chain waited for."""
    if step.calendar_days:
        return "cure"
    named = {BOUND_SET: "set", BOUND_HOLD: "hold"}
    return "predecessor" if code >= BOUND_AFTER else named.get(code, "crew")


def driven_days(
    marched: March, counter: DayCounter, followed: int | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Follow the last finish of paths back to now.

    Parameters
    ----------
    marched, counter
        A march and the days it was counted with.
    followed
        How many of its first paths; all by default.

    Returns
    -------
    two arrays of float
        Shape (headings, activities, codes): days on those chains by what the work waited for
        (``BOUND_…``), the paths followed together, and the days lost to weather within.
    """
    units, steps, paths = marched.finish.shape
    waited_for = came_from(marched.steps, marched.crew_from, marched.set_from)
    codes = waited_for.shape[1]
    flat_finish = marched.finish.reshape(-1)
    flat_bound = marched.bound.reshape(-1)
    shape = len(marched.runs), steps, codes
    days = np.zeros(int(np.prod(shape)))
    lost = np.zeros_like(days)
    heading_of = np.zeros(units, dtype=np.int64)
    for place, run in enumerate(marched.runs):
        heading_of[list(run.units)] = place
    path = np.arange(paths)[:followed]
    ends = marched.finish.reshape(-1, paths)[:, :followed]
    ends = np.where(np.isnan(ends), -np.inf, ends)
    # Of several that end last, the last one: what was waited for comes before what waited.
    cell = len(ends) - 1 - np.argmax(ends[::-1], axis=0)
    end = flat_finish[cell * paths + path]
    alive = end > 0
    path, cell, end = path[alive], cell[alive], end[alive]
    while path.size:
        code = flat_bound[cell * paths + path]
        earlier = waited_for[cell, code]
        at_now = earlier < 0
        begin = np.where(at_now, 0.0, flat_finish[np.maximum(earlier, 0) * paths + path])
        begin = np.clip(begin, 0.0, end).astype(end.dtype)
        weather = (
            counter.lost_between(begin, end, path) * _feels_weather(marched.steps)[cell % steps]
        )
        slot = (heading_of[cell // steps] * steps + cell % steps) * codes + code
        days += np.bincount(slot, (end - begin) - weather, days.size)
        lost += np.bincount(slot, weather, days.size)
        go_on = ~at_now & (begin > 0)
        path, cell, end = path[go_on], earlier[go_on], begin[go_on]
    return days.reshape(shape), lost.reshape(shape)


def _feels_weather(steps: Sequence[Step]) -> NDArray[np.bool_]:
    """Return which activities stop on a lost day."""
    return np.array([step.weather and not step.calendar_days for step in steps])


def came_from(
    steps: Sequence[Step], crew_from: NDArray[np.int32], set_from: NDArray[np.int32]
) -> NDArray[np.int64]:
    """Return the cell (unit × activity) that each cell waited for; -1 for now.

    Parameters
    ----------
    steps
        What was marched.
    crew_from, set_from
        As in ``March``.

    Returns
    -------
    array of int
        Shape (units × activities, codes), by what was waited for (``BOUND_…``).
    """
    units, activities = crew_from.shape
    table = np.full((units, activities, BOUND_AFTER + activities), -1, dtype=np.int64)
    unit = np.arange(units)
    for activity, step in enumerate(steps):
        crew = crew_from[:, activity]
        table[:, activity, BOUND_CREW] = np.where(crew < 0, -1, crew * activities + activity)
        for earlier in step.after:
            table[:, activity, BOUND_AFTER + earlier] = unit * activities + earlier
    freed_by = set_from * activities + last_in_set(steps)
    table[:, 0, BOUND_SET] = np.where(set_from < 0, -1, freed_by)
    return table.reshape(units * activities, -1)
