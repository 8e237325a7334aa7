"""What a lag costs: the line marched again with the same luck, but one thing not late.

Headings do not wait for one another, so only the heading that goes otherwise is marched again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.line import BOUND_NOW, BOUND_SET, SMALL, Days, March, Run
from model.line_now import LineNow
from model.simulation import day_numbers

WORTH_SAYING_DAYS = 1.0


def working_days(now: LineNow, moments: NDArray[Any]) -> NDArray[np.float64]:
    """Turn finishes into working days from now, to the end of their day.

    Parameters
    ----------
    now
        Where the line stands.
    moments
        Days from now, any shape.
    """
    day = now.as_of + np.ceil(moments - SMALL).astype(np.int64) + 1
    return (now.calendar.index_of(day) - now.calendar.index_of(now.as_of + 1)).astype(np.float64)


class Again:
    """The march from now, and again with the same luck where one heading goes otherwise.

    Parameters
    ----------
    now
        Where the line stands.
    paths, seed
        As ``model.projection.project_finish``.
    """

    def __init__(self, now: LineNow, paths: int, seed: int) -> None:
        self.now = now
        self.draws = now.draw(paths, seed)
        # In NumPy, whichever way a forecast goes: it also tells what each start waits for, and
        # with the draws laid out once one heading more takes no longer than compiled.
        self.marched, _ = now.march(self.draws)
        self._last = np.stack([_last_day(now, self.marched, run) for run in now.runs])
        self._end = self._likely_end(self._last)

    def saves(self, heading: int, line: LineNow, work: Days | None = None) -> float:
        """Return by how many working days the whole line would likely finish sooner.

        Parameters
        ----------
        heading
            Which one goes otherwise.
        line, work
            How it would go: with other finishes, or with other days of work.
        """
        run = self.now.runs[heading]
        draws = self.draws if work is None else replace(self.draws, work=work)
        marched, _ = replace(line, runs=(run,)).march(draws)
        last = self._last.copy()
        last[heading] = _last_day(line, marched, run)
        return round(max(self._end - self._likely_end(last), 0.0), 2)

    def _likely_end(self, last: NDArray[np.int16]) -> float:
        """Return the mean of the middle tenth of the line's ends, in working days from now.

        The middle tenth and not the single middle path: it moves by less than a day.
        """
        ends = np.sort(working_days(self.now, last.max(axis=0).astype(np.int64) + 1))
        middle = ends[int(0.45 * ends.size) : max(int(0.55 * ends.size), 1)]
        return float(middle.mean())


def _last_day(now: LineNow, marched: March, run: Run) -> NDArray[np.int16]:
    """Return the day a heading's last finish falls on, on every path."""
    units = list(run.units)
    days = day_numbers(marched.finish[units], now.to_do[units])
    return np.asarray(days.max(axis=(0, 1)))


def cost_of_lag(
    again: Again, heading: int, unit: int, activity: int, likely: float, due: float
) -> float:
    """Return how much sooner the line would likely finish if a unit were not behind.

    Parameters
    ----------
    again
        The march and its luck.
    heading, unit, activity
        Places of what is late.
    likely, due
        When it is likely finished and when it is due, working days from now.

    Returns
    -------
    float
        Working days. 0 for what only waits for a trade before it or for its crew: that costs
        nothing itself; what it waits for does.
    """
    now = again.now
    begun = not np.isnan(now.started[unit, activity])
    if not begun and waits_most_for(again.marched, unit, activity) not in (BOUND_NOW, BOUND_SET):
        return 0.0
    if not (likely - due >= WORTH_SAYING_DAYS or now.on_hold[unit, activity]):
        return 0.0
    finished = now.finished.copy()
    finished[unit, activity] = _moment(now, np.nan_to_num(max(due, 0.0)))
    return again.saves(heading, replace(now, finished=finished))


def _moment(now: LineNow, working_days: float) -> float:
    """Return the days from now by which so many working days have passed."""
    whole = int(np.ceil(working_days - SMALL))
    if whole <= 0:
        return 0.0
    first = now.calendar.index_of(now.as_of + 1)
    day = now.calendar.date_of(first + whole - 1)
    return float((day - now.as_of).astype(np.int64))


def waits_most_for(marched: March, unit: int, activity: int) -> int:
    """Return what a start waits for last on most paths (``BOUND_…``)."""
    return int(np.bincount(marched.bound[unit, activity]).argmax())
