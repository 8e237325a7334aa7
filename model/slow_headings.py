"""Headings that are slow as a whole: which crew is slow against its plan, and what that costs.

A unit that keeps the pace of its heading may still be far behind the baseline. Then there is
nothing to put right at the unit: a crew is slow on all of them. Which one is told by its own
days on a unit against those planned for its trade, and not by the days from unit to unit: these
are the same for the slow crew and for those that wait behind it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from model.job import Job
from model.lag_cost import WORTH_SAYING_DAYS, Again
from model.line import in_ticks
from model.workdays import days_words

Crew = tuple[str, str]
"""A heading and an activity."""


class SlowHeadings:
    """Crews that go on slower than their plan.

    Parameters
    ----------
    job
        The job as planned.
    again
        The march and its luck.
    cycle_of
        Working days from unit to unit that each crew is expected to go on with.
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
        trade = self._job.activities[activity].name.lower()
        days, planned = self._crew_days(heading, activity), self._planned(activity)
        if self._is_slow(heading, activity):
            return (
                f"The whole heading is slow: {trade}, {days_words(days)} of its "
                f"crew a unit, where the plan of its trade has {planned:g}."
            )
        cycle, baseline = self._cycle(heading, activity), self._baseline_cycle(heading, activity)
        if cycle - baseline >= WORTH_SAYING_DAYS:
            return (
                f"The heading goes on with a unit every {cycle:.0f} working days, where the "
                f"baseline has {baseline:.0f}, but the {trade} crew is no slower than planned."
            )
        return "Behind since earlier: the heading now keeps the pace of the baseline."

    def cost(self, heading: int, activity: int) -> float:
        """Return how much sooner the line would end if a crew took its planned days a unit.

        Parameters
        ----------
        heading, activity
            Their places.

        Returns
        -------
        float
            Working days; 0 where it is not slow.

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
        work = self._again.draws.work.copy()
        to_begin = self._to_begin(heading, activity)
        share = self._planned(activity) / self._crew_days(heading, activity)
        days = work[to_begin, activity]
        work[to_begin, activity] = in_ticks(days * days.dtype.type(share))
        return self._again.saves(heading, self._again.now, work)

    def _to_begin(self, heading: int, activity: int) -> NDArray[np.intp]:
        """Return the units that a crew has not begun."""
        now = self._again.now
        units = np.array(now.runs[heading].units)
        open_yet = now.to_do[units, activity] & np.isnan(now.started[units, activity])
        return np.asarray(units[open_yet])

    def _is_slow(self, heading: int, activity: int) -> bool:
        """Tell whether a crew goes on slower than planned; no where it has nothing to begin."""
        slower = self._crew_days(heading, activity) - self._planned(activity)
        return bool(slower >= WORTH_SAYING_DAYS)

    def _crew_days(self, heading: int, activity: int) -> float:
        """Return a crew's own days on a unit it has not begun, on average; NaN for none."""
        days = self._again.draws.work[self._to_begin(heading, activity), activity]
        return float(days.mean()) if days.size else float("nan")

    def _planned(self, activity: int) -> float:
        return float(self._again.now.activities[activity].planned_cycle_days)

    def _cycle(self, heading: int, activity: int) -> float:
        now = self._again.now
        return self._cycle_of[now.headings[heading], now.activities[activity].key]

    def _baseline_cycle(self, heading: int, activity: int) -> float:
        """Return the working days from planned finish to planned finish; NaN for a lone one."""
        now, rows = self._again.now, self._job.baseline
        units = [now.units[unit] for unit in now.runs[heading].units]
        mine = (rows["activity"] == now.activities[activity].key) & rows["unit"].isin(units)
        days = np.sort(rows.loc[mine, "planned_finish"].to_numpy().astype("datetime64[D]"))
        if days.size < 2:
            return float("nan")
        return float(now.calendar.count(days[0], days[-1])) / (days.size - 1)
