"""The recent cycle: how many working days a crew takes from one unit to the next.

The **cycle** is the working days between one unit's completion of an activity and the next
unit's on the same heading; it holds whatever the crew had to wait for. The **crew's days** on
a unit leave that waiting out: they run from the day it started, or from its completion of the
unit before, whichever is later. The cycle says how the line moves; the crew's days say how
fast a crew could go, and are what a projection draws from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from model.fold import State
from model.job import Job
from model.workdays import WorkCalendar

RECENT_UNITS = 8
PRIOR_UNITS = 3.0
"""Wider history counts like so many units when a recent cycle is drawn towards it."""

OUTLIER_SPREADS = 3.0
D2 = 1.128
"""Mean range of two values of a normal distribution with spread 1: 2/√π as tables round it, so
that limits are those that anybody else works out, to their last digit."""
D4 = 3.267
"""A range of two is hardly ever more than so many times its mean; rounded likewise."""


def completions(state: State, job: Job) -> pd.DataFrame:
    """List completed units in the order they were finished, with cycle and crew's days.

    Parameters
    ----------
    state
        The fold of the log.
    job
        The job as planned.

    Returns
    -------
    DataFrame
        Sorted by heading, activity and finish. Columns ``heading``, ``activity``, ``unit``,
        ``started``, ``finished`` (dates), ``cycle_days`` (NaN for the first of a heading),
        ``crew_days`` (NaN for the first where no start is known) and ``clear_days``: crew's
        days less the days weather is expected to have taken from them. Working days; a cure's
        own days are calendar days.
    """
    frame = state.units[state.units["status"] == "complete"]
    frame = frame[["unit", "activity", "started", "finished"]].copy()
    frame.insert(0, "heading", frame["unit"].map(job.heading_of_unit))
    places = {unit: place for h in job.headings for place, unit in enumerate(h.units)}
    frame = (
        frame.assign(place=frame["unit"].map(places))
        .dropna(subset=["heading", "finished"])
        .sort_values(["heading", "activity", "finished", "place"], kind="stable")
        .drop(columns="place")
        .reset_index(drop=True)
    )
    return frame.assign(**_cycles(frame, job))


def _cycles(frame: pd.DataFrame, job: Job) -> dict[str, NDArray[np.float64]]:
    """Return cycle and crew's days of sorted completions."""
    cures = _of_activity(frame, {a.key: a.calendar_days for a in job.activities})
    weather = _of_activity(frame, {a.key: a.weather for a in job.activities})
    finish, start = _numbers(frame["finished"], job), _numbers(frame["started"], job)
    group = frame["heading"] + "\n" + frame["activity"]
    first = (group != group.shift()).to_numpy(bool)
    previous = np.where(first, np.nan, np.concatenate([[np.nan], finish])[: finish.size])
    # A crew that starts in the morning has worked that day too.
    days = np.maximum(finish - np.fmax(start - 1.0, previous), 0.0)
    clear = clear_days(finish + 1.0 - days, finish + 1.0, job.calendar)
    cure = (frame["finished"] - frame["started"]).dt.days.to_numpy(float)
    return {
        "cycle_days": finish - previous,
        "crew_days": np.where(cures, cure, days),
        "clear_days": np.where(cures, cure, np.where(weather, clear, days)),
    }


def _of_activity(frame: pd.DataFrame, values: dict[str, bool]) -> NDArray[np.bool_]:
    """Look up something of each row's activity."""
    return frame["activity"].map(values).to_numpy(bool)


def clear_days(
    begin: NDArray[np.float64], end: NDArray[np.float64], calendar: WorkCalendar
) -> NDArray[np.float64]:
    """Return the working days between two moments less those expected lost to weather.

    Parameters
    ----------
    begin, end
        Working days since day 0 began (3.0 is the morning of the fourth); NaN gives NaN.
    calendar
        Says what share of each day is expected lost.
    """
    known = ~np.isnan(begin) & ~np.isnan(end)
    if not known.any():
        return np.full(begin.shape, np.nan)
    first, last = int(np.floor(begin[known].min())), int(np.ceil(end[known].max()))
    days = np.arange(first, last + 1)
    expected = np.cumsum(1.0 - calendar.daily_loss_probability(days))
    before = np.concatenate([[0.0], expected])[:-1]
    return np.asarray(np.interp(end, days, before) - np.interp(begin, days, before))


def _numbers(days: pd.Series[pd.Timestamp], job: Job) -> NDArray[np.float64]:
    """Give the working-day number of days; NaN where there is no date."""
    dates = days.to_numpy().astype("datetime64[D]")
    known = ~np.isnat(dates)
    safe = np.where(known, dates, np.datetime64(job.calendar.start, "D"))
    return np.where(known, job.calendar.index_of(safe).astype(np.float64), np.nan)


def recent_completions(
    finished: pd.DataFrame, *, units: int = RECENT_UNITS, weeks: float | None = None
) -> pd.DataFrame:
    """Keep the last units of each heading and activity, or those of the last weeks.

    Parameters
    ----------
    finished
        As ``completions`` returns it.
    units
        How many to keep.
    weeks
        If given, keep instead what was finished so many weeks before the latest completion of
        any activity, or later.
    """
    if weeks is not None:
        since = finished["finished"].max() - pd.Timedelta(weeks=weeks)
        within: pd.DataFrame = finished[finished["finished"] > since]
        return within
    kept: pd.DataFrame = finished.groupby(["heading", "activity"], sort=False).tail(units)
    return kept


def recent_cycles(
    state: State, job: Job, *, units: int = RECENT_UNITS, weeks: float | None = None
) -> pd.DataFrame:
    """Return the recent cycle of every activity on every heading.

    Parameters
    ----------
    state, job
        The log folded, and the plan.
    units, weeks
        How far back; see ``recent_completions``.

    Returns
    -------
    DataFrame
        One row per heading and activity, in the job's order: ``heading``, ``activity``,
        ``recent_cycle`` (``typical`` of the recent cycles; NaN without any), ``spread``
        (sample standard deviation), ``samples``, ``planned_cycle`` (NaN for curing, which is
        planned in calendar days and has no cycle of its own) and ``expected_cycle`` (the
        recent cycle drawn towards the activity's wider history). Working days.

    Notes
    -----
    ``expected_cycle = (n·recent + k·wider) / (n + k)`` with n samples and k = 3: the wider
    history is the activity's cycle over all headings and all time, or the planned cycle where
    there is none. An empirical-Bayes shrinkage; k is our choice (no source).
    """
    finished = completions(state, job)
    with_cycle = finished.dropna(subset=["cycle_days"])
    recent = recent_completions(with_cycle, units=units, weeks=weeks)
    by_cell = {key: group["cycle_days"].to_numpy() for key, group in _by_cell(recent)}
    wider = {
        key: typical(group["cycle_days"].to_numpy()) for key, group in finished.groupby("activity")
    }
    rows = []
    for heading in job.headings:
        for activity in job.activities:
            cycles = by_cell.get((heading.key, activity.key), np.empty(0))
            cycles = cycles[~np.isnan(cycles)]
            planned = np.nan if activity.calendar_days else activity.planned_cycle_days
            prior = wider.get(activity.key, np.nan)
            prior = planned if np.isnan(prior) else prior
            rows.append(
                {
                    "heading": heading.key,
                    "activity": activity.key,
                    "recent_cycle": typical(cycles),
                    "spread": float(np.std(cycles, ddof=1)) if cycles.size > 1 else np.nan,
                    "samples": int(cycles.size),
                    "planned_cycle": float(planned),
                    "expected_cycle": drawn_towards(cycles, prior),
                }
            )
    return pd.DataFrame(rows)


def _by_cell(frame: pd.DataFrame) -> list[tuple[tuple[str, str], pd.DataFrame]]:
    """Split completions by heading and activity."""
    groups = frame.groupby(["heading", "activity"], sort=False)
    return [((str(key[0]), str(key[1])), group) for key, group in groups]


def typical(cycles: ArrayLike) -> float:
    """Return the mean cycle with single bad units pulled in.

    Parameters
    ----------
    cycles
        Working days; NaN is left out.

    Returns
    -------
    float
        NaN for no cycles.

    Notes
    -----
    A Winsorised mean: cycles further from the median than three times 1.4826 × the median
    absolute deviation (at least one day) count as if they were there. The median itself would
    be steadier, but cycles are whole days: the median of 3 3 4 3 3 4 is 3, and a hundred units
    at 3.3 days end 30 days later than a hundred at 3.

    References
    ----------
    .. [1] Huber, P. J. (1981), Robust Statistics, Wiley (from memory).

    Examples
    --------
    >>> round(typical([3, 3, 4, 3, 3, 4]), 3), typical([3, 3, 4, 3, 3, 20]) < 4
    (3.333, True)
    """
    values = np.asarray(cycles, dtype=np.float64)
    values = values[~np.isnan(values)]
    if values.size == 0:
        return float("nan")
    middle = float(np.median(values))
    reach = OUTLIER_SPREADS * max(1.4826 * float(np.median(np.abs(values - middle))), 1.0)
    return float(np.mean(np.clip(values, middle - reach, middle + reach)))


def drawn_towards(cycles: ArrayLike, wider: float, weight: float = PRIOR_UNITS) -> float:
    """Return the typical cycle drawn towards a wider history that counts like ``weight`` units.

    Examples
    --------
    >>> drawn_towards([2.0, 4.0, 3.0], 5.0), drawn_towards([], 5.0)
    (4.0, 5.0)
    """
    values = np.asarray(cycles, dtype=np.float64)
    if values.size == 0:
        return wider
    return (values.size * typical(values) + weight * wider) / (values.size + weight)


@dataclass(frozen=True)
class ControlChart:
    """A chart of single cycles against the limits of their own moving range.

    Parameters
    ----------
    values
        Cycles in order of completion.
    center, lower, upper
        Mean and limits, three spreads away.
    moving_ranges
        Differences of neighbours, one fewer than values.
    range_upper
        Upper limit of the moving ranges; the lower one is 0.
    """

    values: NDArray[np.float64]
    center: float
    lower: float
    upper: float
    moving_ranges: NDArray[np.float64]
    range_upper: float

    @property
    def outside(self) -> NDArray[np.bool_]:
        """Which cycles lie outside the limits."""
        return (self.values < self.lower) | (self.values > self.upper)


def control_chart(cycles: ArrayLike) -> ControlChart:
    """Chart individual cycles against limits from their moving range.

    Parameters
    ----------
    cycles
        At least two, in order of completion.

    Raises
    ------
    ValueError
        For fewer than two.

    Notes
    -----
    Limits are mean ± 3 MR/d2, with MR the mean moving range of neighbours and
    d2 = 1.128; moving ranges stay below D4 MR, D4 = 3.267 (both for ranges of two).

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, Individuals control charts.

    Examples
    --------
    >>> chart = control_chart([3, 3, 4, 3, 5, 3])
    >>> round(chart.center, 2), round(chart.upper, 2)
    (3.5, 6.69)
    """
    values = np.asarray(cycles, dtype=np.float64)
    if values.size < 2:
        raise ValueError(f"a control chart needs two cycles, found {values.size}")
    ranges = np.abs(np.diff(values))
    center, mean_range = float(values.mean()), float(ranges.mean())
    reach = 3.0 * mean_range / D2
    return ControlChart(
        values, center, center - reach, center + reach, ranges, float(D4 * mean_range)
    )


def ewma(cycles: ArrayLike, start: float, weight: float = 0.3) -> NDArray[np.float64]:
    """Return the exponentially weighted moving average after each cycle.

    Parameters
    ----------
    cycles
        In order of completion.
    start
        Value before the first cycle.
    weight
        Weight of the newest cycle, 0…1.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, EWMA control charts.

    Examples
    --------
    >>> ewma([52.0, 47.0], start=50.0).round(2).tolist()
    [50.6, 49.52]
    """
    values = np.asarray(cycles, dtype=np.float64)
    smooth = np.empty_like(values)
    last = start
    for place, value in enumerate(values):
        last = weight * value + (1.0 - weight) * last
        smooth[place] = last
    return smooth


def ewma_half_width(
    spread: float, count: int, weight: float = 0.3, spreads: float = 3.0
) -> NDArray[np.float64]:
    """Return how far the moving average may stray after each of ``count`` cycles.

    Notes
    -----
    ``spreads · spread · sqrt(weight/(2 - weight) · (1 - (1 - weight)^(2i)))``.
    """
    i = np.arange(1, count + 1)
    share = weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * i))
    return np.asarray(spreads * spread * np.sqrt(share))


@dataclass(frozen=True, slots=True)
class PaceShift:
    """A lasting change of pace.

    Parameters
    ----------
    at
        Position of the first cycle of the new pace.
    before_days, after_days
        Typical cycle before and after.
    """

    at: int
    before_days: float
    after_days: float


def pace_shift(cycles: ArrayLike, *, weight: float = 0.3, baseline: int = 8) -> PaceShift | None:
    """Find the last lasting change of pace, or None.

    Parameters
    ----------
    cycles
        In order of completion.
    weight
        Weight of the newest cycle in the moving average.
    baseline
        Cycles a pace is measured on before a change from it can be found.

    Notes
    -----
    The mean of the first ``baseline`` cycles of a pace and its spread from their moving range
    (at least half a day, for cycles are whole days) set the limits of a moving average, three
    spreads of the average and of that mean together. Where it leaves them, the new pace begins
    at the first cycle of the run on that side, and the search goes on from there.
    """
    values = np.asarray(cycles, dtype=np.float64)
    begin, found = 0, None
    while values.size - begin > baseline:
        at = _first_departure(values[begin:], weight, baseline)
        if at is None:
            break
        found = PaceShift(
            begin + at,
            typical(values[begin : begin + at]),
            typical(values[begin + at :]),
        )
        begin += at
    return found


def _first_departure(values: NDArray[np.float64], weight: float, baseline: int) -> int | None:
    """Return where the moving average first leaves the limits of the first cycles."""
    center = typical(values[:baseline])
    spread = max(float(np.abs(np.diff(values[:baseline])).mean()) / D2, 0.5)
    strays = ewma(values[baseline:], center, weight) - center
    of_center = 3.0 * spread / math.sqrt(baseline)
    limits = np.hypot(ewma_half_width(spread, strays.size, weight), of_center)
    outside = np.abs(strays) > limits
    if not outside.any():
        return None
    signal = int(np.argmax(outside))
    same_side = np.sign(strays[: signal + 1]) == np.sign(strays[signal])
    began = signal - int(np.argmin(same_side[::-1])) + 1 if not same_side.all() else 0
    return baseline + began
