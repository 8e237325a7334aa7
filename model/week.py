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
from typing import Any

import numpy as np
import pandas as pd

from model.against_plan import against_plan
from model.clock import end_of_day
from model.cycle import RECENT_UNITS
from model.finish_move import FinishMove, PaceChange, finish_moves, pace_changes
from model.fold import State
from model.job import Job
from model.line_answers import LineAnswers
from model.line_now import LineNow, line_now
from model.problems import InputError, Problem
from model.projection import PATHS, SEED, Forecast
from model.week_answer import CycleWeek, FinishWeek, WeekAnswer, WeekMoments
from model.week_work import (
    week_holds,
    week_weather,
    week_work,
)

StateOf = Callable[[dt.datetime, dt.datetime], State]


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
