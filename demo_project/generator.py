"""The log of the demo: nine months of a job that behaves like one.

Crews learn, rain comes in spells, one heading lags, deck forms run short in summer, work is
held for reasons, and people press the wrong button and put it right. Everything follows from
the seed.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
from numpy.typing import NDArray

from demo_project import words
from demo_project.day_book import DayBook
from demo_project.march import ForcedStop, Site, Stop, Work, march
from demo_project.slips import with_slips
from model.activities import Activity
from model.events import Event
from model.job import Job
from model.workdays import WorkCalendar

LOG_ENDS = dt.datetime(2026, 11, 24, 19, 0)
"""Local time at which the demo's log ends: the evening of a Tuesday."""

FIRST_UNIT_PACE: dict[str, float] = {
    "E_from_west": 3.0,
    "W_from_west": 2.6,
    "E_from_east": 2.1,
    "W_from_east": 1.9,
}
"""Time of a heading's first unit over the plan's; later headings have seen it done."""

LEARNING_EXPONENT = math.log2(0.8)
"""An 80 per cent unit curve: twice the units, 0.8 of the time."""

BEST_PACE = 1.0
LAGGING: dict[tuple[str, str], float] = {
    ("W_from_west", "rebar"): 1.5,
    ("W_from_west", "deck_forms"): 1.3,
}
"""The heading that lags: its rebar crew is short-handed."""

NOISE_SD, NOISE_MEMORY = 0.14, 0.4
HOLD_CHANCE, LONG_HOLD_CHANCE = 0.13, 0.15
RAIN_MEMORY = 0.35


def demo_events(job: Job, seed: int = 20260302) -> list[Event]:
    """Return the demo's log from its first day to the evening of 24 November 2026.

    Parameters
    ----------
    job
        The demo's job as read from its folder: calendar, headings, planned quantities.
    seed
        The same seed gives the same log, identifiers included.

    Returns
    -------
    list of Event
        In the order the log came to know them; every one carries ``recorded_at``.
    """
    streams = np.random.default_rng(seed).spawn(4)
    site = Site(job.calendar, job.activities, rain(job.calendar, streams[0]))
    pieces = march(site, job.headings, draw_works(job, streams[1]), forced_stops(job.calendar))
    book = DayBook(job, streams[2])
    for piece in pieces:
        if book.date(piece.shifts[0]) <= LOG_ENDS.date():
            book.write(piece)
    events = with_slips(book, streams[3])
    ends = LOG_ENDS.replace(tzinfo=job.timezone).astimezone(dt.UTC)
    known = [event for event in events if event.recorded_at and event.recorded_at <= ends]
    return sorted(known, key=lambda event: (event.recorded_at, event.at))


def rain(calendar: WorkCalendar, rng: np.random.Generator, n_days: int = 600) -> NDArray[np.bool_]:
    """Draw which working days are lost to weather, in spells.

    Parameters
    ----------
    calendar
        Gives each day's chance.
    rng
        Source of chance.
    n_days
        Working days to draw.

    Returns
    -------
    array of bool, shape (n_days,)

    Notes
    -----
    A first-order chain that keeps each day's chance p: lost after a lost day with
    p + m(1 − p), after a dry one with p(1 − m), m = ``RAIN_MEMORY``.
    """
    chance = calendar.daily_loss_probability(np.arange(n_days))
    draws = rng.random(n_days)
    lost = np.zeros(n_days, dtype=bool)
    for day in range(n_days):
        wet_before = day > 0 and lost[day - 1]
        memory = RAIN_MEMORY * (1 - chance[day] if wet_before else -chance[day])
        lost[day] = draws[day] < chance[day] + memory * (chance[day] > 0)
    return lost


def draw_works(job: Job, rng: np.random.Generator) -> dict[tuple[str, str], Work]:
    """Draw what each crew needs for each unit: learning, size, noise with memory, holds."""
    works: dict[tuple[str, str], Work] = {}
    spans = job.spans_of_unit
    for heading in job.headings:
        for activity in job.activities:
            noise = 0.0
            for number, unit in enumerate(heading.units, start=1):
                noise = NOISE_MEMORY * noise + NOISE_SD * rng.standard_normal()
                pace = _pace(heading.key, activity.key, number) * np.exp(noise)
                size = (len(spans[unit]) / 3) ** 0.6
                shifts = max(1, round(activity.planned_cycle_days * pace * size))
                stops = _draw_stops(activity, shifts, rng)
                works[unit, activity.key] = Work(shifts, stops, _by_night(activity, rng))
    return works


def _pace(heading: str, activity: str, number: int) -> float:
    """Return a crew's time over the plan's for the n-th unit of its heading."""
    learned = FIRST_UNIT_PACE.get(heading, 1.0) * math.pow(number, LEARNING_EXPONENT)
    return max(learned, BEST_PACE) * LAGGING.get((heading, activity), 1.0)


def _by_night(activity: Activity, rng: np.random.Generator) -> bool:
    """Draw whether a pour goes by night in the season of night pours."""
    return bool(rng.random() < 0.65) and activity.key == "deck_pour"


def _draw_stops(activity: Activity, shifts: int, rng: np.random.Generator) -> tuple[Stop, ...]:
    """Draw at most one hold of a piece of work; most are short, a few are long."""
    held, long, where = rng.random(3)
    length = int(rng.integers(4, 9)) if long < LONG_HOLD_CHANCE else int(rng.integers(1, 4))
    reasons = words.HOLD_REASONS.get(activity.key, ())
    if held >= HOLD_CHANCE or shifts < 2 or not reasons:
        return ()
    after = 1 + int(where * (shifts - 1))
    return (Stop(after, length, reasons[int(rng.integers(len(reasons)))]),)


def forced_stops(calendar: WorkCalendar) -> list[ForcedStop]:
    """Return the stops the demo is known for: the form shortage, and one still open."""

    def shift(month: int, day: int) -> int:
        return int(calendar.index_of(f"2026-{month:02d}-{day:02d}"))

    shortage = Stop(0, 13, words.FORM_SHORTAGE)
    stems = Stop(0, 9, words.STEMS_NOT_RELEASED)
    return [
        ForcedStop("W_from_west", "deck_forms", shift(7, 13), shortage),
        ForcedStop("E_from_east", "bottom_slab_stems", shift(11, 20), stems),
    ]
