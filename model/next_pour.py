"""What the next pour of a unit needs, put together from the plan, the log and what is asked.

What is asked for goes before what the project folder says (``[pour]``), that before recent pours
of the log, and those before common practice. Planning figures only: the engineer of record
decides what is poured, and when.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import cast

import numpy as np

from model.activities import Activity
from model.fold import State
from model.job import Job
from model.pour_asked import PourAsked
from model.pour_before import (
    Row,
    before_pour,
    not_before,
    place_of,
    placed_lately,
    standing,
    units_ahead,
)
from model.pour_habits import PourHabits
from model.pour_plan import (
    Concrete,
    PlacingRate,
    PourPlan,
    RateSource,
    StartSource,
    Surface,
    Trucks,
)
from model.pour_rate import FEWEST_POURS, PastPour, past_pours, rate_band
from model.problems import InputError, Problem
from model.section_plan import QUANTITY_OF
from model.units import to_si

COMMON_RATE_YD3_PER_H = 60.0
"""Concrete placed per hour: common practice, no source."""

COMMON_LOAD_YD3 = 9.0
"""What a truck brings: common practice, no source."""

USUAL_START = dt.time(6, 0)
"""When a pour begins where nobody says (our choice, no source)."""

DECK_QUANTITY = "deck_m3"
"""Of the quantities a section gives, the one whose top is the finished deck."""

LONGEST_HOURS = 200.0
"""A pour that takes longer comes from a rate or a volume in another unit."""

FIRST_YEAR, LAST_YEAR = 1990, 2200
"""A start outside these years is a slip of the pen."""

NAMED = 12
"""So many names are listed in a message, and how many there are."""


def next_pour(
    state: State, unit: str, activity: Activity, asked: PourAsked, now: dt.datetime
) -> PourPlan:
    """Plan a pour of a unit.

    Parameters
    ----------
    state
        The fold of the log.
    unit
        Where.
    activity
        One of the job's; it must measure concrete.
    asked
        What the asker says; see ``PourAsked``.
    now
        The moment the plan is made at (local): it starts later unless asked otherwise.

    Returns
    -------
    PourPlan

    Raises
    ------
    InputError
        For a unit or span the job does not have, an activity that is no pour, a pour that is
        finished, and numbers that cannot be.
    """
    pour = _Pour(state, unit, asked.get("span") or "", activity, asked)
    _check_place(pour)
    _check_numbers(asked)
    row = standing(state, unit, pour.span, activity)
    _check_open(pour, row)
    concrete = _concrete(pour, row)
    before = before_pour(state, unit, pour.span, activity)
    waits_until = not_before(pour.job, activity, before)
    goes_on = row["status"] == "under_way" and placed_lately(state, unit, pour.span, activity, now)
    start, start_from = _start(pour, now, waits_until, goes_on=goes_on)
    rate, recent = _rate(pour)
    plan = PourPlan(
        unit=unit,
        span=pour.span,
        heading=pour.heading,
        activity=activity,
        status=row["status"],
        reason=row["reason"],
        concrete=concrete,
        rate=rate,
        trucks=_trucks(pour),
        start=start,
        zone=pour.job.timezone,
        start_from=start_from,
        surface=_surface(pour, concrete) if leaves_deck(pour.job, activity) else None,
        weather=asked.get("weather"),
        cure_days=_cure_days(pour.job, activity),
        before=before,
        not_before=waits_until,
        ahead=units_ahead(pour.state, unit, activity),
        working_day=bool(pour.job.calendar.is_workday(np.datetime64(start.date(), "D"))),
        lost_day_chance=_lost_day_chance(pour, start.date()),
        recent=recent,
    )
    _check_length(plan)
    return plan


@dataclass(frozen=True)
class _Pour:
    """The question: which pour, and what is said of it."""

    state: State
    unit: str
    span: str
    activity: Activity
    asked: PourAsked

    @property
    def job(self) -> Job:
        return self.state.job

    @property
    def where(self) -> str:
        return f"{self.unit} span {self.span}" if self.span else self.unit

    @property
    def heading(self) -> str:
        return self.job.heading_of_unit.get(self.unit, "")

    @property
    def habits(self) -> PourHabits:
        """What the pour goes by: what is asked, then what the folder says."""
        asked = PourHabits(
            rate_m3_per_h=self.asked.get("rate_m3_per_h"),
            load_m3=self.asked.get("load_m3"),
            round_trip_minutes=self.asked.get("round_trip_minutes"),
            allowance=self.asked.get("allowance"),
        )
        return asked.over(self.job.pours.habits(self.activity.key))


def leaves_deck(job: Job, activity: Activity) -> bool:
    """Tell whether the top of a pour is the finished deck.

    Parameters
    ----------
    job, activity
        The job, and one of its activities.

    Returns
    -------
    bool
        What the section says of the activity's concrete, where it plans it; otherwise whether
        a cure comes after it.
    """
    quantity = QUANTITY_OF.get((activity.key, activity.measure))
    if quantity is not None:
        return quantity == DECK_QUANTITY
    return _cure_days(job, activity) is not None


def pours_of(job: Job) -> tuple[Activity, ...]:
    """Return the activities that place concrete."""
    return tuple(activity for activity in job.activities if activity.measure == "concrete")


# What is asked for


def _refusal(message: str, fix: str, field: str) -> InputError:
    return InputError([Problem("request", message, fix, field=field)])


def _check_place(pour: _Pour) -> None:
    """Refuse what the job does not have, and what is no pour."""
    job, activity = pour.job, pour.activity
    if activity.measure != "concrete":
        pours = ", ".join(one.key for one in pours_of(job))
        fix = f"Use one of {pours}." if pours else "This job has no activity that places it."
        raise _refusal(f"{activity.name} places no concrete.", fix, "activity")
    if pour.unit not in job.spans_of_unit:
        fix = f"Use one of {_listed(list(job.units['unit']))}."
        raise _refusal(f"{pour.unit!r} is no unit of this job.", fix, "unit")
    if pour.span and activity.grain == "unit":
        raise _refusal(f"{activity.name} goes by whole units.", "Leave the span out.", "span")
    if pour.span and pour.span not in job.spans_of_unit[pour.unit]:
        fix = f"Use one of {_listed(list(job.spans_of_unit[pour.unit]))}."
        raise _refusal(f"{pour.span!r} is no span of {pour.unit}.", fix, "span")


def _check_open(pour: _Pour, row: Row) -> None:
    """Refuse what is poured already."""
    if row["status"] != "complete":
        return
    at = row["finished_at"]
    raise _refusal(
        f"{pour.activity.name} of {pour.where} was finished on {at.day} {at:%b %Y}.",
        "Ask about one that is still to be poured; if it is not finished after all, record a "
        "reopen first.",
        "unit",
    )


def _check_numbers(asked: PourAsked) -> None:
    """Refuse numbers that cannot be."""
    above_nothing = {
        "rate": asked.get("rate_m3_per_h"),
        "load": asked.get("load_m3"),
        "round_trip": asked.get("round_trip_minutes"),
        "volume": asked.get("volume_m3"),
    }
    problems = [
        Problem("request", "It must be a number above 0.", "Correct it, or leave it out.",
                field=field)
        for field, number in above_nothing.items()
        if number is not None and not (math.isfinite(number) and number > 0.0)
    ]  # fmt: skip
    allowance = asked.get("allowance")
    if allowance is not None and not 0.0 <= allowance <= 1.0:
        message = f"It is {100 * allowance:g} per cent; expected 0 to 100."
        problems.append(Problem("request", message, "Correct it.", field="allowance"))
    start = asked.get("start")
    if start is not None and not FIRST_YEAR <= start.year <= LAST_YEAR:
        message = f"The pour starts in the year {start.year}."
        problems.append(Problem("request", message, "Correct the year.", field="start"))
    if problems:
        raise InputError(problems)


def _check_length(plan: PourPlan) -> None:
    """Refuse a pour that takes weeks: a number is in another unit."""
    longest = max(plan.hours or 0.0, plan.hours_high or 0.0)
    if longest > LONGEST_HOURS:
        message = f"The pour would take {longest:,.0f} hours."
        raise _refusal(message, "Correct the volume, or what is placed per hour.", "rate")


# How much, how fast, brought by what


def _concrete(pour: _Pour, row: Row) -> Concrete:
    planned_m3 = float(row["planned_si"])
    return Concrete(
        planned_m3=None if math.isnan(planned_m3) else planned_m3,
        planned_from=row["planned_from"],
        placed_m3=float(row["placed_si"]),
        given_m3=pour.asked.get("volume_m3"),
        allowance=pour.habits.allowance or 0.0,
    )


def _rate(pour: _Pour) -> tuple[PlacingRate, tuple[PastPour, ...]]:
    """Choose the rate; recent pours come along, also where it is not theirs."""
    past, rate = past_pours(pour.state, pour.activity), pour.habits.rate_m3_per_h
    own = past.recent(pour.heading) if pour.heading else ()
    recent = own if len(own) >= FEWEST_POURS else past.recent()
    if rate is not None:
        given = pour.asked.get("rate_m3_per_h") is not None
        return PlacingRate(rate, "given" if given else "project"), recent
    if len(recent) < FEWEST_POURS:
        return PlacingRate(to_si(COMMON_RATE_YD3_PER_H, "yd3"), "common_practice"), recent
    band, source = rate_band(recent), "recent_heading" if recent is own else "recent"
    return PlacingRate(band.median_m3_per_h, cast(RateSource, source), band), recent


def _trucks(pour: _Pour) -> Trucks:
    load, trip = pour.habits.load_m3, pour.habits.round_trip_minutes
    if load is None:
        return Trucks(to_si(COMMON_LOAD_YD3, "yd3"), "common_practice", trip)
    given = pour.asked.get("load_m3") is not None
    return Trucks(load, "given" if given else "project", trip)


# When


def _start(
    pour: _Pour, now: dt.datetime, waits_until: dt.date | None, *, goes_on: bool
) -> tuple[dt.datetime, StartSource]:
    """Return when it starts: as asked, now where it goes on, or the next day that may be."""
    wanted, usual = pour.asked.get("start"), pour.habits.start
    if isinstance(wanted, dt.datetime):
        return wanted, "given"
    if wanted is None and goes_on:
        return now.replace(second=0, microsecond=0), "under_way"
    hour = usual or USUAL_START
    if wanted is None:
        soon = now.date() if now.time() < hour else now.date() + dt.timedelta(days=1)
        first = max(soon, waits_until or soon)
        day = pour.job.calendar.add(np.datetime64(first, "D"), 0)
        wanted = dt.date.fromisoformat(str(day))
    return dt.datetime.combine(wanted, hour), "project" if usual else "usual"


def _lost_day_chance(pour: _Pour, day: dt.date) -> float | None:
    """Return the chance that weather takes a working day of the month."""
    calendar = pour.job.calendar
    if calendar.lost_days_per_month is None or not pour.activity.weather:
        return None
    # A day that is not worked has no chance of its own; its month's first working day has.
    index = calendar.index_of(np.datetime64(day.replace(day=1), "D"))
    return float(calendar.daily_loss_probability(index))


# The deck and its cure


def _surface(pour: _Pour, concrete: Concrete) -> Surface:
    """Return the deck it covers: in the share of the planned concrete that it places."""
    places = pour.job.spans if pour.span else pour.job.units
    place = places.iloc[place_of(pour.job, pour.unit, pour.span)]
    return Surface(
        float(place["area_m2"]) * concrete.share, float(place["length_m"]) * concrete.share
    )


def _cure_days(job: Job, activity: Activity) -> float | None:
    """Return the days of the cure that comes after a pour; None without one."""
    cures = [a for a in job.activities if a.calendar_days and activity.key in a.after]
    return max((cure.planned_cycle_days for cure in cures), default=None)


def _listed(names: list[str]) -> str:
    """Return names for a message, cut short where there are many."""
    if len(names) <= NAMED:
        return ", ".join(names)
    return f"{', '.join(names[:NAMED])}, … ({len(names)} in all)"
