"""Quantities by day: planned, placed, and projected with its band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.cycle import RECENT_UNITS
from model.fold import State
from model.job import Job
from model.line_now import line_now
from model.placed import ByDay
from model.projection import SEED
from model.simulation import march_days
from model.units import PRINTED, from_si, shown_unit

PATHS = 2_000
BAND = (0.10, 0.50, 0.90)
ROUNDING = 1e-6


@dataclass(frozen=True)
class QuantityCurve:
    """One activity's quantity by day, added up.

    Parameters
    ----------
    activity
        Its key.
    measure_unit
        Unit that is shown; blank where units complete are counted instead.
    total
        Planned in all; NaN without a plan.
    days, placed
        Every day up to now, and what was placed by its end.
    baseline_days, baseline
        Days of planned finishes, rising, and what the plan has placed by then; empty without
        a baseline.
    projected_days
        Every day from now until the last path is done.
    low, likely, high
        On those days, what is placed by then on 10, 50 and 90 per cent of the paths at most.
    """

    activity: str
    measure_unit: str
    total: float
    days: NDArray[np.datetime64]
    placed: NDArray[np.float64]
    baseline_days: NDArray[np.datetime64]
    baseline: NDArray[np.float64]
    projected_days: NDArray[np.datetime64]
    low: NDArray[np.float64]
    likely: NDArray[np.float64]
    high: NDArray[np.float64]

    def __str__(self) -> str:
        placed, planned = self.at(self.days[-1])
        unit = PRINTED.get(self.measure_unit, "units")
        words = f"{placed:,.0f} of {self.total:,.0f} {unit} placed"
        if not self.baseline.size:
            return f"{words}; there is no baseline."
        late = self.behind_days
        behind = f"{late} calendar days behind" if late > 0 else "not behind"
        return f"{words}; the baseline has {planned:,.0f} {unit} by today: {behind}."

    @property
    def behind_days(self) -> int:
        """Calendar days since the baseline first had more placed than is placed now; 0 if never."""
        placed = self.placed[-1]
        due = self.baseline_days[self.baseline > placed * (1 + ROUNDING)]
        return max(int((self.days[-1] - due[0]).astype(int)), 0) if due.size else 0

    def at(self, day: np.datetime64) -> tuple[float, float]:
        """Return what was placed and what was planned by the end of a day; NaN without plan."""
        placed = self.placed[np.searchsorted(self.days, day, side="right") - 1]
        if not self.baseline.size:
            return float(placed), float("nan")
        due = np.searchsorted(self.baseline_days, day, side="right")
        return float(placed), float(self.baseline[due - 1]) if due else 0.0


def quantity_curves(
    job: Job,
    state: State,
    by_day: ByDay,
    *,
    paths: int = PATHS,
    seed: int = SEED,
    recent: int = RECENT_UNITS,
    recent_weeks: float | None = None,
) -> tuple[QuantityCurve, ...]:
    """Return planned, placed and projected quantities by day of every activity.

    Parameters
    ----------
    job, state
        The plan, and the log folded as of the last day of ``by_day``.
    by_day
        What was placed by day.
    paths, seed, recent, recent_weeks
        As ``model.projection.project_finish``.

    Notes
    -----
    A unit's planned quantity is due on its planned finish. What is left to place of a unit
    comes on its projected finish. The band holds the sum over all units on each path: units
    of one line are late together, so that adding up the units' own bands would be wrong.

    An activity without planned quantities is counted by units complete.
    """
    last_day = by_day.days[-1].item()
    now = line_now(job, state, last_day, recent=recent, recent_weeks=recent_weeks)
    finish = march_days(now, now.luck(paths, seed)).finish
    weights = _weights(job, state)
    placed = np.where(weights.counted, by_day.units_complete, by_day.placed_si)
    return tuple(
        _curve(job, place, weights, placed[:, place], by_day.days, finish[:, place])
        for place in range(len(job.activities))
    )


@dataclass(frozen=True)
class _Weights:
    """What each unit counts for, shape (units, activities), in SI or in units.

    ``counted`` says which activities are counted by units, shape (activities,).
    """

    planned: NDArray[np.float64]
    left: NDArray[np.float64]
    counted: NDArray[np.bool_]


def _weights(job: Job, state: State) -> _Weights:
    standing = state.unit_standing
    planned = state.log.plan.unit_si
    counted = np.asarray(np.isnan(planned).all(axis=0))
    weight = np.where(counted, 1.0, np.nan_to_num(planned))
    complete = np.array(
        (state.units["status"] == "complete").to_numpy().reshape(len(job.units), -1)
    )
    left = np.where(counted, weight, np.maximum(weight - standing.placed_si, 0.0))
    return _Weights(weight, np.where(complete, 0.0, left), counted)


def _curve(
    job: Job,
    place: int,
    weights: _Weights,
    placed: NDArray[np.float64],
    days: NDArray[np.datetime64],
    finish: NDArray[np.int16],
) -> QuantityCurve:
    activity = job.activities[place]
    unit = "" if weights.counted[place] else shown_unit(activity.measure, job.units_system)
    factor = from_si(1.0, unit) if unit else 1.0
    baseline_days, baseline = _baseline(job, activity.key, weights.planned[:, place])
    low, likely, high = placed[-1] + _added(finish, weights.left[:, place])
    return QuantityCurve(
        activity=activity.key,
        measure_unit=unit,
        total=float(weights.planned[:, place].sum() * factor),
        days=days,
        placed=placed * factor,
        baseline_days=baseline_days,
        baseline=baseline * factor,
        projected_days=days[-1] + np.arange(low.size),
        low=low * factor,
        likely=likely * factor,
        high=high * factor,
    )


def _baseline(
    job: Job, activity: str, planned: NDArray[np.float64]
) -> tuple[NDArray[np.datetime64], NDArray[np.float64]]:
    """Return the days of planned finishes and what is due by each."""
    row_of = {unit: row for row, unit in enumerate(job.units["unit"])}
    rows = job.baseline[job.baseline["activity"] == activity].sort_values("planned_finish")
    due = planned[[row_of[unit] for unit in rows["unit"]]].cumsum()
    return rows["planned_finish"].to_numpy().astype("datetime64[D]"), np.asarray(due, dtype=float)


def _added(finish: NDArray[np.int16], left: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what is added by each day from now, at the confidences of ``BAND``.

    ``finish`` has shape (units, paths) and counts from 0 for tomorrow.
    """
    to_do = left > 0
    if not to_do.any():
        return np.zeros((len(BAND), 1))
    paths = finish.shape[1]
    horizon = int(finish[to_do].max()) + 2
    box = (finish[to_do].astype(np.int64) + 1) * paths + np.arange(paths)
    amount = np.broadcast_to(left[to_do, None], box.shape)
    added = np.bincount(box.ravel(), amount.ravel(), horizon * paths).reshape(horizon, paths)
    quantiles = np.quantile(added.cumsum(axis=0), BAND, axis=1, method="inverted_cdf")
    return np.asarray(quantiles)
