"""Headings that are slow as a whole: how slow against the baseline, and what one crew costs.

A unit that keeps the pace of its heading may still be far behind the baseline. Then there is
nothing to put right at the unit: the crew is slow on all of them.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from model.job import Job
from model.lag_cost import WORTH_SAYING_DAYS, Again
from model.line import in_ticks

Crew = tuple[str, str]
"""A heading and an activity."""


class SlowHeadings:
    """Crews that go on slower than the baseline.

    Parameters
    ----------
    job
        The job as planned.
    again
        The march and its luck.
    cycle_of
        Working days a unit that each crew is expected to go on with.
    """

    def __init__(self, job: Job, again: Again, cycle_of: Mapping[Crew, float]) -> None:
        self._job, self._again, self._cycle_of = job, again, cycle_of
        self._costs: dict[tuple[int, int], float] = {}

    def why(self, heading: int, activity: int) -> str:
        """Say how slow a crew is, or that it is slow no more.

        Parameters
        ----------
        heading, activity
            Their places.
        """
        if not self._is_slow(heading, activity):
            return "Behind since earlier: the heading now keeps the pace of the baseline."
        days, planned = self._cycle(heading, activity), self._planned(heading, activity)
        trade = self._job.activities[activity].name.lower()
        return (
            f"The whole heading is slow: {trade} of a unit every {days:.0f} working days, "
            f"where the baseline has {planned:.0f}."
        )

    def cost(self, heading: int, activity: int) -> float:
        """Return how much sooner the line would end if a crew took its planned days a unit.

        Parameters
        ----------
        heading, activity
            Their places.

        Returns
        -------
        float
            Working days; 0 where it is slow no more.

        Notes
        -----
        The days drawn for the units it has not begun are brought to the planned ones on
        average, path by path with the same luck; none is made longer.
        """
        if not self._is_slow(heading, activity):
            return 0.0
        if (heading, activity) not in self._costs:
            self._costs[heading, activity] = self._saves(heading, activity)
        return self._costs[heading, activity]

    def _saves(self, heading: int, activity: int) -> float:
        now, draws = self._again.now, self._again.draws
        units = np.array(now.runs[heading].units)
        to_begin = units[now.to_do[units, activity] & np.isnan(now.started[units, activity])]
        days = draws.work[to_begin, activity]
        planned = now.activities[activity].planned_cycle_days
        if not days.size or days.mean() <= planned:
            return 0.0
        work = draws.work.copy()
        work[to_begin, activity] = in_ticks(days * days.dtype.type(planned / days.mean()))
        return self._again.saves(heading, now, work)

    def _is_slow(self, heading: int, activity: int) -> bool:
        """Tell whether a crew goes on slower than the baseline; no where that is not known."""
        slower = self._cycle(heading, activity) - self._planned(heading, activity)
        return bool(slower >= WORTH_SAYING_DAYS)

    def _cycle(self, heading: int, activity: int) -> float:
        now = self._again.now
        return self._cycle_of[now.headings[heading], now.activities[activity].key]

    def _planned(self, heading: int, activity: int) -> float:
        """Return the working days from planned finish to planned finish; NaN for a lone one."""
        now, rows = self._again.now, self._job.baseline
        units = [now.units[unit] for unit in now.runs[heading].units]
        mine = (rows["activity"] == now.activities[activity].key) & rows["unit"].isin(units)
        days = np.sort(rows.loc[mine, "planned_finish"].to_numpy().astype("datetime64[D]"))
        if days.size < 2:
            return float("nan")
        return float(now.calendar.count(days[0], days[-1])) / (days.size - 1)
