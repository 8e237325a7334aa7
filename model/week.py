"""The owner's week: where are we, how much is placed against plan, when does it finish, why.

A week is told as of the end of its last day and as known on a moment: the end of that day too,
unless another is asked for, so that last week's report can be made again exactly whatever the
log was told since. Beside it stands the week before, as it was known at its own end, which is
what its own report said.

Planning figures only: dates say nothing about strength, stripping or release of falsework,
which the engineer of record decides.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from model.against_plan import FinishAgainstPlan, against_plan
from model.clock import end_of_day, short_date
from model.cycle import RECENT_UNITS
from model.finish_move import FinishMove, PaceChange, finish_moves, pace_changes
from model.fold import State
from model.job import Job
from model.lag import Lag
from model.line_answers import LineAnswers
from model.line_now import LineNow, line_now
from model.problems import InputError, Problem
from model.projection import LITTLE_HISTORY, PATHS, SEED, Band, Forecast
from model.week_words import (
    CAUTION,
    activity_words,
    date_words,
    finish_words,
    history_words,
    hold_words,
    moment_words,
    move_words,
    weather_words,
    where_words,
    why_words,
)
from model.week_work import (
    ActivityWeek,
    WeekHold,
    WeekWeather,
    week_holds,
    week_weather,
    week_work,
)

WEEK = dt.timedelta(days=7)
StateOf = Callable[[dt.datetime, dt.datetime], State]


@dataclass(frozen=True, slots=True)
class WeekMoments:
    """The moments that a week is told by; local and naive.

    Parameters
    ----------
    ending
        Its last day.
    known_on
        Only what the log knew by then.
    """

    ending: dt.date
    known_on: dt.datetime

    @property
    def begins(self) -> dt.date:
        """Its first day."""
        return self.ending - WEEK + dt.timedelta(days=1)

    @property
    def as_of(self) -> dt.datetime:
        """The last moment of the week."""
        return end_of_day(self.ending)

    @property
    def before(self) -> WeekMoments:
        """Those of the week before, as known at its own end."""
        ending = self.ending - WEEK
        return WeekMoments(ending, min(self.known_on, end_of_day(ending)))


@dataclass(frozen=True, slots=True)
class FinishWeek:
    """One projected finish at the end of a week, beside the week before.

    Parameters
    ----------
    now
        The finish and its plan; the heading is blank for the whole line.
    before
        What was projected a week before; None in the first week.
    moved_days
        Working days that the likely date moved; later is above 0.
    """

    now: FinishAgainstPlan
    before: Band | None
    moved_days: int | None

    def as_dict(self) -> dict[str, Any]:
        """Return the finish as one JSON-ready row."""
        return {
            "heading": self.now.heading or None,
            "finish": self.now.finish.as_dict(),
            "before": self.before and self.before.as_dict(),
            "moved_days": self.moved_days,
            "planned": self.now.planned and self.now.planned.isoformat(),
            "days_late": self.now.days_late,
            "done": self.now.done,
        }


@dataclass(frozen=True, slots=True)
class CycleWeek:
    """The recent cycle of one activity on one heading; working days, None where not known.

    Parameters
    ----------
    heading, activity
        Keys.
    recent, before
        At the end of the week and a week before.
    planned
        As the plan of the trade has it.
    samples
        Cycles that ``recent`` is of.
    """

    heading: str
    activity: str
    recent: float | None
    before: float | None
    planned: float | None
    samples: int

    def as_dict(self) -> dict[str, Any]:
        """Return the cycle as one JSON-ready row."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True)
class WeekAnswer:
    """A week of the job, for those who pay for it.

    Parameters
    ----------
    state
        Where the line stands at the end of the week.
    moments
        Which week, and what the log knew.
    activities
        What was done, in working order.
    holds, weather
        What stood still, and days lost to weather.
    finishes
        The whole line, then the headings.
    moves
        Likewise why each of them moved; none in the first week.
    paces
        Crews whose expected days changed, what adds up to most first.
    cycles
        By heading and activity; crews only.
    lag
        Who lags.
    forecast
        What is projected.
    told_since
        Entries about the week or before that the log was told after ``known_on``. Not part of
        what the week says, for it may grow.
    """

    state: State
    moments: WeekMoments
    activities: tuple[ActivityWeek, ...]
    holds: tuple[WeekHold, ...]
    weather: WeekWeather
    finishes: tuple[FinishWeek, ...]
    moves: tuple[FinishMove, ...]
    paces: tuple[PaceChange, ...]
    cycles: tuple[CycleWeek, ...]
    lag: Lag
    forecast: Forecast
    told_since: int = 0

    @property
    def job(self) -> Job:
        """The job as planned."""
        return self.state.job

    @property
    def finish(self) -> FinishWeek:
        """Of the whole line."""
        return self.finishes[0]

    @property
    def move(self) -> FinishMove | None:
        """Of the whole line; None in the first week."""
        return self.moves[0] if self.moves else None

    @property
    def days_words(self) -> str:
        """Which days they are."""
        return f"{short_date(self.moments.begins)} to {date_words(self.moments.ending)}"

    @property
    def lagging(self) -> pd.DataFrame:
        """Who lags by more than a day, by itself or with its heading; what costs most first.

        The rows of ``Lag.units`` and ``costs``: working days of the finish, either way.
        """
        rows = pd.concat([self.lag.lagging, self.lag.late_with_heading])
        costs = rows[["costs_finish_days", "slow_heading_costs_days"]].max(axis=1)
        rows = rows.assign(costs=costs.fillna(0.0))
        return rows.sort_values("costs", ascending=False, kind="stable", ignore_index=True)

    @property
    def little_history(self) -> tuple[int, int]:
        """How many crews with work left have too few recent cycles to go by, and of how many."""
        units = self.forecast.units
        left = units[units["p50"].notna()]
        to_do = set(zip(left["heading"], left["activity"], strict=True))
        samples = [one.samples for one in self.cycles if (one.heading, one.activity) in to_do]
        return sum(number < LITTLE_HISTORY for number in samples), len(samples)

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct report --json`` prints."""
        moments = self.moments
        return {
            "project": self.job.name,
            "week_begins": moments.begins.isoformat(),
            "week_ending": moments.ending.isoformat(),
            "known_on": moments.known_on.isoformat(timespec="seconds"),
            "known_on_before": moments.before.known_on.isoformat(timespec="seconds"),
            "activities": [activity.as_dict() for activity in self.activities],
            "holds": [hold.as_dict() for hold in self.holds],
            "weather": self.weather.as_dict(),
            "finishes": [finish.as_dict() for finish in self.finishes],
            "moves": [move.as_dict() for move in self.moves],
            "paces": [pace.as_dict() for pace in self.paces],
            "cycles": [cycle.as_dict() for cycle in self.cycles],
            "lag": self.lag.as_dict()["units"],
            "notes": list(self.forecast.notes),
        }

    def __str__(self) -> str:
        moments, finish = self.moments, self.finish
        lines = [
            f"{self.job.name}: week of {self.days_words}",
            f"as known on {moment_words(moments.known_on)}",
            where_words(self.activities),
            f"Finish: {finish_words(finish.now)}{history_words(*self.little_history)}",
            f"Moved: {move_words(finish.before, finish.moved_days, self.move)}",
        ]
        lines += [f"  {line}" for line in why_words(self.move)] if self.move else []
        lines += [activity_words(activity) for activity in self.activities]
        lines += [f"on hold: {hold_words(hold)}" for hold in self.holds]
        return "\n".join([*lines, f"Weather: {weather_words(self.weather)}", CAUTION])


def week_moments(
    job: Job,
    ending: dt.date | None,
    known_on: dt.datetime | None,
    *,
    now: dt.datetime,
    last_told: dt.datetime,
) -> WeekMoments:
    """Say by which moments a week is told.

    Parameters
    ----------
    job
        Says when work began.
    ending
        The last day of the week; without it, that of the last week from Monday to Sunday that
        is over.
    known_on
        Only what the log knew by then; the end of the week without it.
    now, last_told
        What a clock on site shows, and when the log last came to know something. What the log
        knows has been, whatever the clock shows.

    Raises
    ------
    InputError
        For a week that ends before the job began or is still to come, or of which the log
        could know nothing yet.

    Notes
    -----
    A week that ends today is told as known on this second, which the answer names; asked for
    again with that moment, it says the same.
    """
    latest = max(now, last_told).replace(microsecond=0)
    ending = ending or latest.date() - dt.timedelta(days=latest.isoweekday())
    known = min(known_on or end_of_day(ending), latest)
    moments = WeekMoments(ending, known)
    wrong = _moments_problem(job, moments, latest)
    if wrong is not None:
        raise InputError([wrong])
    return moments


def _moments_problem(job: Job, moments: WeekMoments, latest: dt.datetime) -> Problem | None:
    start, ending = job.calendar.start, moments.ending
    if ending < start:
        return Problem(
            "request",
            f"The week ending {ending} is over before the job starts on {start}.",
            "Ask for a later one.",
            field="week_ending",
        )
    if ending > latest.date():
        return Problem(
            "request",
            f"The week ending {ending} is still to come: it is {latest.date()} on site.",
            "Ask for one that is over, or ends today.",
            field="week_ending",
        )
    if moments.known_on.date() < moments.begins:
        return Problem(
            "request",
            f"On {moments.known_on.date()} nothing was known yet of the week that began on "
            f"{moments.begins}.",
            "Ask what was known in that week or later.",
            field="known_on",
        )
    return None


def week(line: LineAnswers, state_of: StateOf, moments: WeekMoments) -> WeekAnswer:
    """Say what a week was.

    Parameters
    ----------
    line
        Answers about the line.
    state_of
        Folds the log as of a local moment, as known on another.
    moments
        Which week, as known when.

    Returns
    -------
    WeekAnswer
    """
    as_of, known_on, before = moments.as_of, moments.known_on, moments.before
    now, was = state_of(as_of, known_on), state_of(before.as_of, known_on)
    forecast, job = line.forecast(as_of, known_on), now.job
    first = before.ending < job.calendar.start - dt.timedelta(days=1)
    last = None if first else line.forecast(before.as_of, before.known_on)
    stands = _line(now, moments.ending)
    moves: tuple[FinishMove, ...] = ()
    paces: tuple[PaceChange, ...] = ()
    if not first:
        then_now = _line(was, before.ending)
        then = then_now
        if _told(now, before, known_on):
            then = _line(state_of(before.as_of, before.known_on), before.ending)
        moves = finish_moves(then, then_now, stands, paths=PATHS, seed=SEED)
        paces = pace_changes(then, stands)
    return WeekAnswer(
        state=now,
        moments=moments,
        activities=week_work(was, now, moments.ending),
        holds=week_holds(was, now),
        weather=week_weather(now, moments.begins, moments.ending),
        finishes=_finishes(job, forecast, last),
        moves=moves,
        paces=paces,
        cycles=_cycles(job, forecast, last),
        lag=line.lag(as_of, known_on),
        forecast=forecast,
        told_since=_told(now, moments, None),
    )


def _line(state: State, as_of: dt.date) -> LineNow:
    return line_now(state.job, state, as_of, recent=RECENT_UNITS)


def _told(state: State, moments: WeekMoments, until: dt.datetime | None) -> int:
    """Count what the log was told later about a week or the time before it.

    A void counts where it was made: what it cancels may be of any time.
    """
    events, zone = state.log.events, str(state.job.timezone)
    told = events["recorded_at"].dt.tz_convert(zone).dt.tz_localize(None)
    later = (told > moments.known_on) & (events["at"] <= moments.as_of)
    return int((later if until is None else later & (told <= until)).sum())


def _finishes(job: Job, now: Forecast, before: Forecast | None) -> tuple[FinishWeek, ...]:
    rows = []
    for finish in against_plan(job, now):
        if before is None:
            rows.append(FinishWeek(finish, None, None))
            continue
        was = before.headings.get(finish.heading, before.finish)
        moved = job.calendar.count(
            np.datetime64(was.p50, "D"), np.datetime64(finish.finish.p50, "D")
        )
        rows.append(FinishWeek(finish, was, int(moved)))
    return tuple(rows)


def _cycles(job: Job, now: Forecast, before: Forecast | None) -> tuple[CycleWeek, ...]:
    """Lay the recent cycles beside those of a week before."""
    crews = {activity.key for activity in job.activities if not activity.calendar_days}
    keys = ["heading", "activity"]
    then = {} if before is None else before.cycle.set_index(keys)["recent_cycle"].to_dict()
    return tuple(
        CycleWeek(
            str(row.heading),
            str(row.activity),
            _known(row.recent_cycle),
            _known(then.get((row.heading, row.activity), np.nan)),
            _known(row.planned_cycle),
            int(str(row.samples)),
        )
        for row in now.cycle.itertuples()
        if row.activity in crews
    )


def _known(days: Any) -> float | None:
    return None if pd.isna(days) else float(days)
