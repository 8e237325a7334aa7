"""Days lost to weather where the calendar does not say: counted from the log's own holds."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model.fold import State
from model.hold_reasons import is_weather
from model.holds import holds_and_ends, stretches
from model.job import Job
from model.planned import unit_rows
from model.units import share_words
from model.workdays import WorkCalendar

USUAL_SHARE = 0.05
"""Share of working days that weather takes, until the log says otherwise: about one a month
(our choice, no source)."""

USUAL_WEIGHT_DAYS = 20.0
"""The usual counts like so many working days; so does the whole log for a single month."""

Dates = NDArray[np.datetime64]


@dataclass(frozen=True)
class LostDays:
    """What the log says of days lost to weather.

    Parameters
    ----------
    seen
        Shape (12,): working days seen in January … December.
    lost
        Shape (12,): how many of them weather took.
    per_month
        Working days to be expected lost in January … December, drawn towards the usual.
    """

    seen: NDArray[np.float64]
    lost: NDArray[np.float64]
    per_month: tuple[float, ...]

    def __str__(self) -> str:
        return (
            "Days lost to weather are counted from the log's holds, for the calendar gives none: "
            f"{self.lost.sum():.1f} of {self.seen.sum():.0f} working days, drawn towards "
            f"{share_words(USUAL_SHARE)} where few were seen."
        )


NONE_KNOWN = (
    "No day is expected lost to weather: the calendar gives none, and no hold of the log names "
    "weather as its reason."
)


def lost_days_of(job: Job, state: State, as_of: dt.date) -> LostDays | None:
    """Count the days that weather took; None where the log knows of no weather.

    Parameters
    ----------
    job, state
        The plan, and the log folded.
    as_of
        The last day seen; the first is the one on which work began.

    Notes
    -----
    A day on which weather holds work counts by the share of the work under way that it holds,
    of activities that weather stops. It is lost where the hold stands beyond the shift: one
    that is lifted on its own day costs none. With l of n working days lost in all, the share is
    ``(l + 20·0.05) / (n + 20)``; for a month with its own l and n, ``(l + 20·share) / (n + 20)``.
    An empirical-Bayes shrinkage; the weights are our choice (no source).
    """
    by_day = lost_by_day(job, state, as_of)
    if by_day is None:
        return None
    days, share = by_day
    worked = job.calendar.is_workday(days)
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    seen = np.bincount(month[worked], minlength=12).astype(np.float64)
    lost = np.bincount(month[worked], weights=share[worked], minlength=12).astype(np.float64)
    weight = USUAL_WEIGHT_DAYS
    overall = (lost.sum() + weight * USUAL_SHARE) / (seen.sum() + weight)
    shares = (lost + weight * overall) / (seen + weight)
    worked_in = _working_days_to_come(job.calendar, as_of)
    return LostDays(seen, lost, tuple((shares * worked_in).tolist()))


def lost_by_day(job: Job, state: State, as_of: dt.date) -> tuple[Dates, NDArray[np.float64]] | None:
    """Return what share of each day's work weather took; None where the log knows of no weather.

    Parameters
    ----------
    job, state, as_of
        As ``lost_days_of``, which says what counts.

    Returns
    -------
    Dates and array of float
        Every day from the first start to the last seen, worked or not, and 0…1 for each.
    """
    days = _days_seen(job, state, as_of)
    held = _held_cells(job, state, as_of, days)
    if held is None:
        return None
    under_way = np.maximum(_under_way(job, state, days), held)
    return days, np.divide(held, under_way, out=np.zeros(days.size), where=under_way > 0)


def _with_lost_days(job: Job, lost: LostDays | None) -> Job:
    """Return the job with days lost as counted from the log.

    Parameters
    ----------
    job
        The job.
    lost
        As ``lost_days_of`` returns it.
    """
    if lost is None:
        return job
    return replace(job, calendar=replace(job.calendar, lost_days_per_month=lost.per_month))


def as_known(job: Job, state: State, as_of: dt.date) -> tuple[Job, LostDays | None]:
    """Return the job with the lost days of its calendar, or else those of its log.

    Parameters
    ----------
    job, state, as_of
        As ``lost_days_of``.

    Returns
    -------
    Job, LostDays
        The latter only where they are of the log.
    """
    if job.calendar.lost_days_per_month is not None:
        return job, None
    lost = lost_days_of(job, state, as_of)
    return _with_lost_days(job, lost), lost


def _days_seen(job: Job, state: State, as_of: dt.date) -> Dates:
    """Return every day from the first start to the last seen."""
    started = state.units["started"].to_numpy().astype("datetime64[D]")
    known, last = started[~np.isnat(started)], np.datetime64(as_of, "D")
    first = known.min() if known.size else last + 1
    return np.arange(first, last + 1)


def _held_cells(job: Job, state: State, as_of: dt.date, days: Dates) -> NDArray[np.float64] | None:
    """Return how many units and activities weather held on each day; None for none ever."""
    spans, _, activities = state.log.shape
    place, activity, began, ended = _weather_stretches(job, state, as_of)
    if not place.size:
        return None
    unit_of_span = unit_rows(job, job.spans["unit"])
    unit = np.where(place < spans, unit_of_span[np.minimum(place, spans - 1)], place - spans)
    lengths = (ended - began).astype(np.int64)
    nth = np.arange(lengths.sum()) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    day = (np.repeat(began, lengths) - days[:1]).astype(np.int64) + nth
    # The spans of a unit are one, and so are two holds of the same day.
    cell = np.repeat(unit * activities + activity, lengths)
    inside = (day >= 0) & (day < days.size)
    once = np.unique(np.stack([cell[inside], day[inside]]), axis=1)
    return np.bincount(once[1], minlength=days.size).astype(np.float64)


def _weather_stretches(
    job: Job, state: State, as_of: dt.date
) -> tuple[NDArray[np.int64], NDArray[np.int64], Dates, Dates]:
    """Return place, activity, first day and day after the last of every weather hold."""
    rows = holds_and_ends(state)
    held = stretches(rows, after=np.datetime64(as_of, "D") + 1)
    weather = np.array([is_weather(str(one)) for one in state.log.reasons[rows.event[held.row]]])
    stopped = np.array([a.weather and not a.calendar_days for a in job.activities])
    place, activity = np.divmod(rows.cell[held.row], len(job.activities))
    kept = weather.astype(bool) & stopped[activity]
    return place[kept], activity[kept], held.began[kept], held.ended[kept]


def _under_way(job: Job, state: State, days: Dates) -> NDArray[np.float64]:
    """Return how many units and activities that weather stops were under way on each day."""
    table = state.units
    stopped = {a.key for a in job.activities if a.weather and not a.calendar_days}
    table = table[table["activity"].isin(stopped) & table["started"].notna()]
    started = table["started"].to_numpy().astype("datetime64[D]")
    finished = table["finished"].to_numpy().astype("datetime64[D]")
    open_yet = np.isnat(finished) | (table["status"] != "complete").to_numpy()
    ends = np.where(open_yet, days[-1:] + 1, finished + 1)
    steps = np.zeros(days.size + 1)
    np.add.at(steps, (started - days[:1]).astype(np.int64).clip(0, days.size), 1)
    np.add.at(steps, (ends - days[:1]).astype(np.int64).clip(0, days.size), -1)
    return np.cumsum(steps)[:-1]


def _working_days_to_come(calendar: WorkCalendar, as_of: dt.date) -> NDArray[np.float64]:
    """Return the working days of January … December as each comes next."""
    months = np.datetime64(as_of, "M") + np.arange(12)
    first, after = months.astype("datetime64[D]"), (months + 1).astype("datetime64[D]")
    worked = np.zeros(12)
    worked[months.astype(np.int64) % 12] = calendar.count(first, after)
    return worked
