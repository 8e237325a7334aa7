"""How fast a crew goes: what its recent units say, and draws from it.

A projection that draws units from a short history as if that history were the truth gives a
band far too narrow over a long line. So every path first draws its own pool of crew's days
from the history, and then its units from that pool: the history's own uncertainty travels
down the whole line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr

from model.activities import Activity
from model.chance import CHANCES, Keys, chances, keys
from model.cycle import PRIOR_UNITS, recent_completions
from model.job import Job
from model.units import share_words

PLANNED_SPREAD = 0.3
"""Spread of crew's days around the plan, as a share of it (our choice, no source)."""

PLANNED_STEPS = (-1.2816, -0.5244, 0.0, 0.5244, 1.2816)
"""Deciles 1, 3, 5, 7 and 9 of the standard normal distribution."""

SIZE_POWER, LEARNING_POWER = 0.5, -0.05
"""Days go with the deck area of a unit, and with its number along the heading, to about these
powers until the log says otherwise: our choice; -0.05 is a learning slope of 97 per cent."""

SIZE_PRIOR, LEARNING_PRIOR = 1.0, 9.0
"""How firmly: like units whose squares of log area (log number), less their mean, add up to
this: a spread of 0.3 of single units against one of 0.3 (0.1) of the powers."""

LEARNING_LEVEL, LEAST_FREEDOM = 0.05, 3
"""Learning is told where chance alone would show as much in fewer than 1 of 20 crews, and only
with so many units over and above those the fit takes up (the usual level; our choice)."""

HALF_LIFE_UNITS = 6.0
"""A unit so many units ago counts half as much as the latest."""

Draws = NDArray[np.float32]


def draw_from(pool: Draws, streams: Keys, first: int) -> Draws:
    """Draw units' days from the pool of each path.

    Parameters
    ----------
    pool
        Shape (pool size, paths), of these paths alone.
    streams
        Shape (units,): the key of each unit's chances.
    first
        The first path.

    Returns
    -------
    array of float32
        Shape (units, paths).

    Notes
    -----
    A value's chance is off by less than 1/65,536.
    """
    size, paths = pool.shape
    flat, path = pool.reshape(-1), np.arange(paths, dtype=np.int32)
    days = np.empty((streams.size, paths), dtype=np.float32)
    for unit, chance in enumerate(chances(streams, first, paths)):
        which = chance * np.uint32(size)
        which >>= np.uint32(16)
        np.take(flat, which.view(np.int32) * np.int32(paths) + path, out=days[unit], mode="clip")
    return days


@dataclass(frozen=True)
class Pace:
    """A crew's days on an average first unit: values and how much each counts.

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

    @property
    def pool_size(self) -> int:
        """How many values a path's pool holds."""
        return max(round(float(self.weights.sum())) - 1, 1)

    def pool(self, seed: int, place: Sequence[int], paths: int, out: Draws | None = None) -> Draws:
        """Draw every path's pool: its idea of how fast this crew is.

        Parameters
        ----------
        seed, place
            What the draws belong to; see ``model.chance.keys``.
        paths
            How many.
        out
            Where to put it.

        Returns
        -------
        array of float32
            Shape (pool size, paths), days.

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
        drawn = chances(keys(seed, *place, np.arange(self.pool_size)), 0, paths)
        return np.asarray(np.take(self._table, drawn, mode="clip", out=out))

    @cached_property
    def _table(self) -> Draws:
        """The days at evenly spaced chances, for drawing by look-up; off by less than 1/65,536."""
        share = np.cumsum(self.weights) / self.weights.sum()
        middles = (np.arange(CHANCES) + 0.5) / CHANCES
        place = np.searchsorted(share, middles)
        return self.days[np.minimum(place, self.days.size - 1)].astype(np.float32)


@dataclass(frozen=True)
class History:
    """Completed units of one activity.

    Parameters
    ----------
    heading
        Position of each unit's heading.
    days
        Clear days of its crew, brought to a unit of the average size, the first of a heading.
    recent
        Whether the unit is among the recent ones of its heading.
    size_power, learning_power
        Days go with the size of a unit, and with its number along the heading, to these
        powers.
    learning_p
        How likely chance alone would show days falling as fast; NaN for too few units.
    """

    heading: NDArray[np.int64]
    days: NDArray[np.float64]
    recent: NDArray[np.bool_]
    size_power: float
    learning_power: float
    learning_p: float = float("nan")

    @property
    def learning_slope(self) -> float | None:
        """Share of the days that each doubling of units takes; None where that may be chance."""
        learns = self.learning_p < LEARNING_LEVEL and self.learning_power < 0
        return float(2.0**self.learning_power) if learns else None


def histories_of(
    finished: pd.DataFrame, job: Job, *, units: int, weeks: float | None = None
) -> tuple[History, ...]:
    """Return the completed units of every activity, each brought to the average first unit.

    Parameters
    ----------
    finished
        As ``model.cycle.completions`` returns it.
    job
        The job as planned.
    units, weeks
        What counts as recent; see ``model.cycle.recent_completions``.

    Notes
    -----
    Days are taken to go as ``area^p · n^b`` for the n-th unit of a heading; with b below 0
    that is Crawford's learning curve. Both powers are fitted to the activity's units over all
    headings and drawn towards ``SIZE_POWER`` and ``LEARNING_POWER``. Whether there is learning
    at all is judged without that, by a t-test of b in plain least squares, one-sided.
    """
    numbered = finished.assign(
        number=finished.groupby(["heading", "activity"], sort=False).cumcount() + 1
    )
    known = numbered.dropna(subset=["clear_days"])
    recent = known.index.isin(recent_completions(known, units=units, weeks=weeks).index)
    places = {heading.key: place for place, heading in enumerate(job.headings)}
    heading = known["heading"].map(places).to_numpy(np.int64)
    activity, days = known["activity"].to_numpy(str), known["clear_days"].to_numpy(float)
    sizes = dict(zip(job.units["unit"], log_sizes(job), strict=True))
    causes = np.stack(
        [known["unit"].map(sizes).to_numpy(float), np.log(known["number"].to_numpy(float))]
    )
    histories = []
    for trade in job.activities:
        here = activity == trade.key
        powers, chance = np.zeros(2), float("nan")
        if not trade.calendar_days:
            apart = _headings_apart(causes[:, here], days[here], heading[here])
            powers, chance = _powers(*apart), _learning_p(*apart, np.unique(heading[here]).size)
        plain = days[here] * np.exp(-powers @ causes[:, here])
        size_power, learning_power = powers.tolist()
        histories.append(
            History(heading[here], plain, recent[here], size_power, learning_power, chance)
        )
    return tuple(histories)


def learning_words(slope: float) -> str:
    """Say how fast a trade learns.

    Examples
    --------
    >>> learning_words(0.94).rpartition(", ")[0]
    'crews are learning; each time twice as many units are done'
    """
    days = f"{share_words(slope)} of the days"
    return f"crews are learning; each time twice as many units are done, a unit takes {days}"


def log_sizes(job: Job) -> NDArray[np.float64]:
    """Return the logarithm of each unit's deck area over the average."""
    area = job.units["area_m2"].to_numpy(float)
    return np.asarray(np.log(area / area.mean()))


def _headings_apart(
    causes: NDArray[np.float64], days: NDArray[np.float64], heading: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return causes and log days less their means by heading (half a day is added, for zeros)."""
    effort, causes = np.log(days + 0.5), causes.copy()
    for place in np.unique(heading):
        here = heading == place
        effort[here] -= effort[here].mean()
        causes[:, here] -= causes[:, here].mean(axis=1, keepdims=True)
    return causes, effort


def _powers(causes: NDArray[np.float64], effort: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fit how days go with size and number, drawn towards the usual powers.

    A ridge regression of log days on the logs.
    """
    prior = np.diag([SIZE_PRIOR, LEARNING_PRIOR])
    usual = np.array([SIZE_POWER, LEARNING_POWER])
    powers = np.linalg.solve(causes @ causes.T + prior, causes @ effort + prior @ usual)
    return np.asarray(np.clip(powers, [0.0, -0.5], [1.5, 0.0]))


def _learning_p(causes: NDArray[np.float64], effort: NDArray[np.float64], headings: int) -> float:
    """Return how likely chance alone lets days fall with the number as fast; NaN if unknown."""
    sizes_differ = bool(np.ptp(causes[0]) > 1e-9) if effort.size else False
    used = causes if sizes_differ else causes[1:]
    freedom = effort.size - headings - len(used)
    squares = used @ used.T
    if freedom < LEAST_FREEDOM or np.linalg.matrix_rank(squares) < len(used):
        return float("nan")
    powers = np.linalg.solve(squares, used @ effort)
    left = effort - powers @ used
    error = np.sqrt(left @ left / freedom * np.linalg.inv(squares)[-1, -1])
    if error < 1e-12:
        return 0.0 if powers[-1] < 0 else 1.0
    return float(stdtr(freedom, powers[-1] / error))


def paces_of(histories: Sequence[History], job: Job) -> tuple[tuple[Pace, ...], ...]:
    """Return the pace of every activity on every heading, for an average first unit.

    Parameters
    ----------
    histories
        As ``histories_of`` returns them.
    job
        The job as planned.

    Returns
    -------
    tuple of tuple of Pace
        By heading, then activity, in the job's order.

    Notes
    -----
    The latest unit of the heading counts one, the one 6 before it a half, and so on. The
    activity's other units count for at most 3 units together, and the plan for 1; for 3 where
    there are fewer than 3 units in all.
    """
    return tuple(
        tuple(
            _pace(history, place, activity)
            for history, activity in zip(histories, job.activities, strict=True)
        )
        for place in range(len(job.headings))
    )


def _pace(history: History, heading: int, activity: Activity) -> Pace:
    """Return one pace from recent units, the activity's others and the plan."""
    on_heading = history.heading == heading
    own = history.recent & on_heading
    mine, wider = history.days[own], history.days[~own]
    ages = np.arange(mine.size)[::-1]
    wider_weight = min(PRIOR_UNITS, float(wider.size)) / max(wider.size, 1)
    plan, plan_weights = _planned(activity, history.days.size)
    # The plan speaks of a unit at the heading's present place on the learning curve.
    plan *= float(max(int(on_heading.sum()), 1)) ** -history.learning_power
    weights = [0.5 ** (ages / HALF_LIFE_UNITS), np.full(wider.size, wider_weight), plan_weights]
    return Pace(np.concatenate([mine, wider, plan]), np.concatenate(weights), int(mine.size))


def _planned(
    activity: Activity, known_units: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return days around the plan, and how much each counts."""
    if activity.calendar_days:
        return np.array([float(activity.planned_cycle_days)]), np.ones(1)
    spread = np.exp(PLANNED_SPREAD * np.array(PLANNED_STEPS))
    weight = 1.0 if known_units >= PRIOR_UNITS else PRIOR_UNITS
    days = activity.planned_cycle_days * spread / spread.mean()
    return days, np.full(days.size, weight / days.size)
