"""What drives the finish: the chain of work that ends last, followed back to now.

On every path the last finish is followed back, from each start to whatever it waited for last.
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


def drivers(
    marched: March, counter: DayCounter, activities: Sequence[str], headings: Sequence[str]
) -> pd.DataFrame:
    """Return how many of the days left each constraint accounts for.

    Parameters
    ----------
    marched, counter
        A march and the days it was counted with.
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
    days, lost = _days_by_cell(marched, counter)
    heading_of = np.zeros(len(days), dtype=np.int64)
    for place, run in enumerate(marched.runs):
        heading_of[list(run.units)] = place
    rows: dict[tuple[str, str, str], float] = {}
    for unit, activity, code in np.argwhere(days + lost > 0):
        names = (activities[activity], headings[heading_of[unit]])
        kind = _constraint(int(code), marched.steps[activity])
        rows[(kind, *names)] = rows.get((kind, *names), 0.0) + days[unit, activity, code]
        wet = ("weather", *names)
        rows[wet] = rows.get(wet, 0.0) + lost[unit, activity, code]
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


def _days_by_cell(
    marched: March, counter: DayCounter
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return days, and days lost within, that units, activities and codes drive; all paths."""
    units, steps, paths = marched.finish.shape
    came_from = _came_from(marched)
    codes = came_from.shape[1]
    flat_finish = marched.finish.reshape(-1)
    flat_bound = marched.bound.reshape(-1)
    days = np.zeros(units * steps * codes)
    lost = np.zeros_like(days)
    path = np.arange(paths)
    ends = np.where(np.isnan(marched.finish), -np.inf, marched.finish).reshape(-1, paths)
    cell = np.argmax(ends, axis=0)
    end = flat_finish[cell * paths + path]
    alive = end > 0
    path, cell, end = path[alive], cell[alive], end[alive]
    while path.size:
        code = flat_bound[cell * paths + path]
        earlier = came_from[cell, code]
        at_now = earlier < 0
        begin = np.where(at_now, 0.0, flat_finish[np.maximum(earlier, 0) * paths + path])
        begin = np.clip(begin, 0.0, end).astype(end.dtype)
        weather = (
            counter.lost_between(begin, end, path) * _feels_weather(marched.steps)[cell % steps]
        )
        slot = cell * codes + code
        days += np.bincount(slot, (end - begin) - weather, days.size)
        lost += np.bincount(slot, weather, days.size)
        go_on = ~at_now & (begin > 0)
        path, cell, end = path[go_on], earlier[go_on], begin[go_on]
    shape = (units, steps, codes)
    return days.reshape(shape), lost.reshape(shape)


def _feels_weather(steps: Sequence[Step]) -> NDArray[np.bool_]:
    """Return which activities stop on a lost day."""
    return np.array([step.weather and not step.calendar_days for step in steps])


def _came_from(marched: March) -> NDArray[np.int64]:
    """Return, by cell and what it waited for, the cell that was waited for; -1 for now."""
    units, steps = marched.finish.shape[:2]
    table = np.full((units, steps, BOUND_AFTER + steps), -1, dtype=np.int64)
    unit = np.arange(units)
    for activity, step in enumerate(marched.steps):
        crew = marched.crew_from[:, activity]
        table[:, activity, BOUND_CREW] = np.where(crew < 0, -1, crew * steps + activity)
        for earlier in step.after:
            table[:, activity, BOUND_AFTER + earlier] = unit * steps + earlier
    freed_by = marched.set_from * steps + last_in_set(marched.steps)
    table[:, 0, BOUND_SET] = np.where(marched.set_from < 0, -1, freed_by)
    return table.reshape(units * steps, -1)
