"""How fast a crew goes: what its recent units say, and draws from it.

A projection that draws units from a short history as if that history were the truth gives a
band far too narrow over a long line. So every path first draws its own pool of crew's days
from the history, and then its units from that pool: the history's own uncertainty travels
down the whole line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.activities import Activity
from model.cycle import PRIOR_UNITS, recent_completions
from model.job import Job

PLANNED_SPREAD = 0.3
"""Spread of crew's days around the plan, as a share of it (our choice, no source)."""

PLANNED_STEPS = (-1.2816, -0.5244, 0.0, 0.5244, 1.2816)
"""Deciles 1, 3, 5, 7 and 9 of the standard normal distribution."""

Draws = NDArray[np.float32]


@dataclass(frozen=True)
class Pace:
    """A crew's days on one unit: values and how much each counts.

    Parameters
    ----------
    days
        Working days clear of weather; calendar days for curing.
    weights
        How many units each value counts for.
    samples
        Recent units of this heading among them.
    """

    days: NDArray[np.float64]
    weights: NDArray[np.float64]
    samples: int

    @property
    def mean_days(self) -> float:
        """Expected crew's days on a unit."""
        return float(np.average(self.days, weights=self.weights))

    def draw(self, rng: np.random.Generator, units: int, paths: int) -> Draws:
        """Draw the crew's days for some units on every path.

        Parameters
        ----------
        rng
            Source of chance.
        units, paths
            How many.

        Returns
        -------
        array of float32
            Shape (units, paths).

        Notes
        -----
        A bootstrap of a bootstrap. With m units, n values of variance v each counting one, and
        a pool of k, the sum has variance ``m v (1 - 1/k) + m² v / k``; with k = n - 1 the
        second term is the squared standard error of the mean, m² s²/n with s² = v n/(n - 1).

        References
        ----------
        .. [1] Rubin, D. B. (1981), The Bayesian Bootstrap, Annals of Statistics 9(1)
           (from memory): the idea of giving the history itself a distribution.
        """
        pool_size = max(round(float(self.weights.sum())) - 1, 1)
        share = np.cumsum(self.weights) / self.weights.sum()
        chosen = np.searchsorted(share, rng.random((pool_size, paths), dtype=np.float32))
        pool = self.days.astype(np.float32)[np.minimum(chosen, self.days.size - 1)]
        which = rng.integers(0, pool_size, (units, paths), dtype=np.uint16).astype(np.int32)
        return np.asarray(pool.reshape(-1)[which * paths + np.arange(paths, dtype=np.int32)])


def paces_of(
    finished: pd.DataFrame, job: Job, *, units: int, weeks: float | None = None
) -> dict[tuple[str, str], Pace]:
    """Return the pace of every activity on every heading.

    Parameters
    ----------
    finished
        As ``model.cycle.completions`` returns it.
    job
        The job as planned.
    units, weeks
        How far back; see ``model.cycle.recent_completions``.

    Notes
    -----
    Recent units of the heading count one each. The activity's other units count for at most 3
    units together, and the plan for 1; for 3 where there are fewer than 3 units in all.
    """
    known = finished.dropna(subset=["clear_days"])
    recent = recent_completions(known, units=units, weeks=weeks)
    return {
        (heading.key, activity.key): _pace(recent, known, heading.key, activity)
        for heading in job.headings
        for activity in job.activities
    }


def _pace(recent: pd.DataFrame, known: pd.DataFrame, heading: str, activity: Activity) -> Pace:
    """Return one pace from recent units, the activity's others and the plan."""
    same = known[known["activity"] == activity.key]
    own = recent[(recent["activity"] == activity.key) & (recent["heading"] == heading)]
    wider = same.drop(own.index)["clear_days"].to_numpy()
    mine = own["clear_days"].to_numpy()
    plan = activity.planned_cycle_days * np.exp(PLANNED_SPREAD * np.array(PLANNED_STEPS))
    plan *= activity.planned_cycle_days / plan.mean()
    plan_weight = 1.0 if same.shape[0] >= PRIOR_UNITS else PRIOR_UNITS
    if activity.calendar_days:
        plan, plan_weight = np.array([activity.planned_cycle_days]), 1.0
    parts: Sequence[tuple[NDArray[np.float64], float]] = (
        (mine, float(mine.size)),
        (wider, min(PRIOR_UNITS, float(wider.size))),
        (plan, plan_weight),
    )
    held = [(values, weight) for values, weight in parts if values.size]
    return Pace(
        np.concatenate([values for values, _ in held]),
        np.concatenate([np.full(values.size, weight / values.size) for values, weight in held]),
        int(mine.size),
    )
