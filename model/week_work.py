"""What was done in a week: placed, started, finished, and put on hold with the reason.

The week is what lies between two states of the same log, as known on the same moment, so that
what is told of it and what is told of the weeks before always add up to what the status says.
Work belongs to the week it was reported to have happened in, by the clock: what a night shift
does after midnight at the end of a week is of the next one.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.activities import Activity
from model.fold import MICROS_PER_DAY, State
from model.job import Job
from model.log_arrays import COMPLETE, HOLD, NOT_STARTED, ON_HOLD, micros
from model.lost_days import lost_by_day
from model.placed import planned_totals
from model.planned import unit_rows
from model.units import amount_shown, shown_unit


@dataclass(frozen=True, slots=True)
class ActivityWeek:
    """One activity in a week.

    Parameters
    ----------
    activity
        As the job has it.
    measure_unit
        Unit it is shown in; blank where nothing is measured.
    placed_si, placed_to_date_si
        Placed in the week and by its end, SI unit of the measure.
    planned_si
        Planned in all; None without a plan.
    due_si
        Planned for the units that the baseline has finished by the end of the week; None
        without a baseline or a plan.
    started, finished, reopened
        Units begun in the week, complete since it, and complete no more.
    units_complete, units_total
        Units complete at its end, and in all.
    units_due
        Units that the baseline has finished by then; None without one.
    """

    activity: Activity
    measure_unit: str
    placed_si: float
    placed_to_date_si: float
    planned_si: float | None
    due_si: float | None
    started: tuple[str, ...]
    finished: tuple[str, ...]
    reopened: tuple[str, ...]
    units_complete: int
    units_total: int
    units_due: int | None

    @property
    def placed(self) -> float | None:
        """Placed in the week, in the unit shown; None where nothing is measured."""
        return amount_shown(self.placed_si, self.measure_unit)

    @property
    def placed_to_date(self) -> float | None:
        """Placed by the end of the week, in the unit shown."""
        return amount_shown(self.placed_to_date_si, self.measure_unit)

    @property
    def planned(self) -> float | None:
        """Planned in all, in the unit shown."""
        return amount_shown(self.planned_si, self.measure_unit)

    @property
    def due(self) -> float | None:
        """What the baseline has placed by the end of the week, in the unit shown."""
        return amount_shown(self.due_si, self.measure_unit)

    @property
    def shares(self) -> tuple[float, float, float | None] | None:
        """Shares of the plan: before the week, in it, and due by its end.

        Of the quantity, or of the units where nothing is measured or planned. None where there
        is nothing to take shares of.
        """
        if self.planned_si:
            before = self.placed_to_date_si - self.placed_si
            due = None if self.due_si is None else self.due_si / self.planned_si
            return before / self.planned_si, self.placed_si / self.planned_si, due
        if not self.units_total:
            return None
        gained = len(self.finished) - len(self.reopened)
        due = None if self.units_due is None else self.units_due / self.units_total
        before = (self.units_complete - gained) / self.units_total
        return before, gained / self.units_total, due

    def as_dict(self) -> dict[str, Any]:
        """Return the activity as one JSON-ready row."""
        return {
            "activity": self.activity.key,
            "placed": self.placed,
            "placed_to_date": self.placed_to_date,
            "planned": self.planned,
            "due_by_baseline": self.due,
            "measure_unit": self.measure_unit or None,
            "started": list(self.started),
            "finished": list(self.finished),
            "reopened": list(self.reopened),
            "units_complete": self.units_complete,
            "units_total": self.units_total,
            "units_due_by_baseline": self.units_due,
        }


@dataclass(frozen=True, slots=True)
class WeekHold:
    """A hold that was put on in a week, or that still stood at its end.

    Parameters
    ----------
    unit, spans
        Where; no spans where the whole unit is meant.
    activity
        As the job has it.
    reason
        As it was given.
    since, until
        The days it was put on and lifted; ``until`` is None while it stands.
    of_week
        Whether it was put on in the week.
    """

    unit: str
    spans: tuple[str, ...]
    activity: Activity
    reason: str
    since: dt.date
    until: dt.date | None
    of_week: bool

    @property
    def place(self) -> str:
        """Unit and spans in words."""
        if not self.spans:
            return self.unit
        return f"{self.unit} {'span' if len(self.spans) == 1 else 'spans'} {', '.join(self.spans)}"

    def as_dict(self) -> dict[str, Any]:
        """Return the hold as one JSON-ready row."""
        return {
            "unit": self.unit,
            "spans": list(self.spans),
            "activity": self.activity.key,
            "reason": self.reason or None,
            "since": self.since.isoformat(),
            "until": self.until and self.until.isoformat(),
            "of_week": self.of_week,
        }


@dataclass(frozen=True, slots=True)
class WeekWeather:
    """Days lost to weather in a week.

    Parameters
    ----------
    working_days
        Of the week.
    lost_days
        As the holds of the log say, each day by the share of the work under way that it held.
    expected_days
        As the calendar expects; None where it has no list.
    """

    working_days: int
    lost_days: float
    expected_days: float | None

    def as_dict(self) -> dict[str, Any]:
        """Return the days, JSON-ready."""
        return {
            "working_days": self.working_days,
            "lost_days": round(self.lost_days, 2),
            "expected_days": None if self.expected_days is None else round(self.expected_days, 2),
        }


def week_work(before: State, now: State, ends: dt.date) -> tuple[ActivityWeek, ...]:
    """Say what was done between two states, by activity.

    Parameters
    ----------
    before, now
        The log folded as of the ends of the week before and of this one, as known on the same
        moment.
    ends
        The last day of the week.

    Returns
    -------
    tuple of ActivityWeek
        In working order.
    """
    job, plan = now.job, now.log.plan
    names = job.units["unit"].to_numpy(object)
    was, stands = before.unit_standing, now.unit_standing
    started = (was.status == NOT_STARTED) & (stands.status != NOT_STARTED)
    finished = (was.status != COMPLETE) & (stands.status == COMPLETE)
    reopened = (was.status == COMPLETE) & (stands.status != COMPLETE)
    totals, to_date = planned_totals(plan), stands.placed_si.sum(axis=0)
    placed = to_date - was.placed_si.sum(axis=0)
    week = []
    for a, activity in enumerate(job.activities):
        planned = None if np.isnan(totals[a]) else float(totals[a])
        due = _units_due(job, activity.key, ends)
        due_si = None if due is None or planned is None else float(np.nansum(plan.unit_si[due, a]))
        week.append(
            ActivityWeek(
                activity,
                shown_unit(activity.measure, job.units_system),
                float(placed[a]),
                float(to_date[a]),
                planned,
                due_si,
                tuple(names[started[:, a]]),
                tuple(names[finished[:, a]]),
                tuple(names[reopened[:, a]]),
                int((stands.status[:, a] == COMPLETE).sum()),
                len(names),
                None if due is None else due.size,
            )
        )
    return tuple(week)


def _units_due(job: Job, activity: str, day: dt.date) -> NDArray[np.int64] | None:
    """Return the rows of units that the baseline has finished by a day; None without one."""
    rows = job.baseline[job.baseline["activity"] == activity].dropna(subset=["planned_finish"])
    if rows.empty:
        return None
    return unit_rows(job, rows.loc[rows["planned_finish"].dt.date <= day, "unit"])


def week_holds(before: State, now: State) -> tuple[WeekHold, ...]:
    """Return the holds put on between two states, and those that still stand.

    Parameters
    ----------
    before, now
        As ``week_work``.

    Returns
    -------
    tuple of WeekHold
        Those that stand first, then by the moment they were put on.
    """
    log = now.log
    known = log.known_on(now.known_on)
    rows = known.rows
    happened = rows.at_us <= _micros(now)
    held = np.flatnonzero(happened & (rows.kind == HOLD) & (known.status == ON_HOLD))
    free = np.flatnonzero(happened & (known.status != ON_HOLD))
    end = _next_of_cell(held, free, rows.cell)
    shown = (end < 0) | (rows.at_us[held] > _micros(before))
    holds: dict[int, list[tuple[int, int]]] = {}
    for row, over in zip(held[shown].tolist(), end[shown].tolist(), strict=True):
        holds.setdefault(int(rows.event[row]), []).append((row, over))
    found = [_hold(before, now, rows.cell, rows.at_us, event, of) for event, of in holds.items()]
    return tuple(sorted(found, key=lambda one: (one.until is not None, one.since, one.unit)))


def _next_of_cell(
    held: NDArray[np.int64], free: NDArray[np.int64], cell: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return for each row the next of some others in its cell, or -1."""
    if not free.size:
        return np.full(held.size, -1)
    place = np.searchsorted(free, held)
    after = free[np.minimum(place, free.size - 1)]
    return np.where((place < free.size) & (cell[after] == cell[held]), after, -1)


def _hold(
    before: State,
    now: State,
    cell: NDArray[np.int64],
    at_us: NDArray[np.int64],
    event: int,
    rows: list[tuple[int, int]],
) -> WeekHold:
    """Return the hold of one event, on one place or on several spans."""
    job, (n_spans, _, n_activities) = now.job, now.log.shape
    places = [int(cell[row]) // n_activities for row, _ in rows]
    spans = [place for place in places if place < n_spans]
    unit = (
        job.spans["unit"].iloc[spans[0]] if spans else job.units["unit"].iloc[places[0] - n_spans]
    )
    keys = tuple(str(job.spans["span"].iloc[span]) for span in spans)
    ends = [over for _, over in rows]
    return WeekHold(
        unit,
        () if keys == job.spans_of_unit[unit] else keys,
        job.activities[int(cell[rows[0][0]]) % n_activities],
        str(now.log.reasons[event]),
        _day(at_us[rows[0][0]]),
        None if min(ends) < 0 else _day(at_us[ends].max()),
        bool(at_us[rows[0][0]] > _micros(before)),
    )


def week_weather(now: State, first: dt.date, ends: dt.date) -> WeekWeather:
    """Count the days of a week that weather took.

    Parameters
    ----------
    now
        The log folded as of its end.
    first, ends
        Its first and its last day.
    """
    calendar = now.job.calendar
    days = np.arange(np.datetime64(first, "D"), np.datetime64(ends, "D") + 1)
    worked = days[calendar.is_workday(days)]
    by_day = lost_by_day(now.job, now, ends)
    lost = 0.0 if by_day is None else float(by_day[1][np.isin(by_day[0], worked)].sum())
    expected = None
    if calendar.lost_days_per_month is not None:
        expected = float(calendar.daily_loss_probability(calendar.index_of(worked)).sum())
    return WeekWeather(worked.size, lost, expected)


def _micros(state: State) -> int:
    return np.iinfo(np.int64).max if state.as_of is None else micros(state.as_of)


def _day(at_us: np.int64) -> dt.date:
    day: dt.date = np.datetime64(int(at_us) // MICROS_PER_DAY, "D").item()
    return day
