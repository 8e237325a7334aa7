"""What a week was, ready to be shown: the answer that ``model.week`` gives."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pandas as pd

from model.against_plan import FinishAgainstPlan
from model.clock import end_of_day, short_date
from model.finish_move import FinishMove, PaceChange
from model.fold import State
from model.job import Job
from model.lag import Lag
from model.projection import LITTLE_HISTORY, Band, Forecast
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
)

WEEK = dt.timedelta(days=7)


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
