"""Weeks of small jobs in one line."""

from __future__ import annotations

import datetime as dt

from model.events import Event
from model.fold import State, fold
from model.job import Job
from model.line_answers import LineAnswers
from model.log_arrays import LogArrays
from model.week import week, week_moments
from model.week_answer import WeekAnswer
from tests.model.builders import NOW, a_frame

SECOND_SUNDAY = dt.date(2026, 3, 15)


def week_of(
    job: Job, *events: Event, ending: dt.date = SECOND_SUNDAY, known_on: dt.datetime | None = None
) -> WeekAnswer:
    """The week of a job with some events, asked for long after it."""
    log = LogArrays(job, a_frame(*events))

    def state_of(as_of: dt.datetime, known: dt.datetime | None) -> State:
        return fold(log, job, as_of=as_of, known_on=known and known.replace(tzinfo=job.timezone))

    line = LineAnswers(
        job, lambda: log, lambda _, as_of, known: state_of(as_of, known), lambda: NOW
    )
    moments = week_moments(job, ending, known_on, now=NOW, last_told=NOW)
    return week(line, state_of, moments)
