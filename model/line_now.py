"""The job and its log as a line that stands somewhere now and can be marched on from there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.activities import Activity
from model.chance import CHANCES, chances, keys
from model.cycle import clear_days, completions
from model.fold import State
from model.holds import draw_hold_days, ended_holds, held_by_weather, held_days
from model.job import Job
from model.line import (
    DAYS_BACK,
    SMALL,
    DayCounter,
    Days,
    March,
    Progress,
    Run,
    Step,
    in_ticks,
    march,
)
from model.lost_days import LostDays, as_known
from model.pace import History, Pace, draw_from, histories_of, log_sizes, paces_of
from model.workdays import WorkCalendar

SPARE_DAYS = 90
LONGEST_DAYS = 10_000
"""A march that goes on for longer is cut off there (27 years)."""

LEAST_LEFT = 2 * SMALL
"""Days: work that begins at midnight, however little is left, ends on the day after."""

WORK_STREAM, WEATHER_STREAM, HOLD_STREAM, POOL_STREAM, LEFT_STREAM = range(5)


@dataclass(frozen=True)
class Luck:
    """What chance decides of the line as a whole; the rest is looked up unit by unit.

    Parameters
    ----------
    seed
        What it was drawn with.
    paths
        How many.
    all_pools, pools
        One below the other, and by heading, then activity: every path's idea of the crew's
        pace, shape (pool size, paths), days on an average first unit.
    left
        For work under way or at hand (``Progress.at_hand``), the days left on every path.
    held_until
        For a unit and activity on hold, days from now until it is resumed.
    """

    seed: int
    paths: int
    all_pools: NDArray[np.float32]
    pools: tuple[tuple[NDArray[np.float32], ...], ...]
    left: Mapping[tuple[int, int], Days]
    held_until: Mapping[tuple[int, int], Days]


@dataclass(frozen=True)
class Draws:
    """What chance decides, on every path, laid out for the march.

    Parameters
    ----------
    work
        Shape (units, activities, paths): days of work left; 0 where it is finished.
    held_until
        For a unit and activity on hold, days from now until it is resumed.
    seed
        What they were drawn with.
    counter
        Which days count, with each path's weather.
    first
        The first of these paths.
    """

    work: Days
    held_until: Mapping[tuple[int, int], Days]
    seed: int
    counter: DayCounter
    first: int = 0


@dataclass(frozen=True)
class LineNow:
    """Where the line stands at the end of a day, and how fast it goes.

    Parameters
    ----------
    as_of
        That day; work goes on from the next.
    units, headings
        Keys, in the order of the arrays and of ``runs``.
    activities
        In working order.
    calendar
        Which days are worked, and what share of them weather takes.
    runs
        Headings as the march sees them.
    finished, started
        Shape (units, activities), days from now (0 or less); NaN where not.
    on_hold
        The same shape.
    left_share
        The same shape: share of the work not done yet of what is under way, where the log
        says how much is placed; else NaN.
    spent_days
        The same shape: clear working days spent so far on what is under way.
    paces
        One sequence per heading, one pace per activity, for an average first unit.
    effort
        The same shape: how many times that unit's days each takes, by size and learning.
    held_days
        The same shape: working days a hold in force has lasted so far; 0 elsewhere.
    ended_holds
        Working days that holds have lasted which are over, but for weather.
    weather_holds
        Likewise, those for weather.
    by_weather
        Shape (units, activities): whether weather is the reason of the hold in force.
    lost_days
        What the log says of days lost to weather, where the calendar has no list.
    learning
        By activity: share of the days that each doubling of units takes; None where the log
        shows no learning.
    """

    as_of: np.datetime64
    units: tuple[str, ...]
    headings: tuple[str, ...]
    activities: tuple[Activity, ...]
    calendar: WorkCalendar
    runs: tuple[Run, ...]
    finished: NDArray[np.float64]
    started: NDArray[np.float64]
    on_hold: NDArray[np.bool_]
    left_share: NDArray[np.float64]
    spent_days: NDArray[np.float64]
    paces: tuple[tuple[Pace, ...], ...]
    effort: NDArray[np.float64]
    held_days: NDArray[np.float64]
    ended_holds: NDArray[np.float64]
    weather_holds: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    by_weather: NDArray[np.bool_] | None = None
    lost_days: LostDays | None = None
    learning: tuple[float | None, ...] = ()

    @property
    def steps(self) -> tuple[Step, ...]:
        """Activities as the march sees them."""
        return steps_of(self.activities)

    @property
    def to_do(self) -> NDArray[np.bool_]:
        """Which units and activities are not finished."""
        return np.isnan(self.finished)

    def luck(self, paths: int, seed: int) -> Luck:
        """Draw what chance decides of the line as a whole.

        Parameters
        ----------
        paths, seed
            How many paths, and the seed that gives the same ones again.
        """
        # One piece of memory for all of them, which the compiled march takes as it is.
        rows = sum(pace.pool_size for row in self.paces for pace in row)
        all_pools, last, pools = np.empty((rows, paths), dtype=np.float32), 0, []
        for heading, row in enumerate(self.paces):
            mine = []
            for activity, pace in enumerate(row):
                first, last = last, last + pace.pool_size
                place = POOL_STREAM, heading, activity
                mine.append(pace.pool(seed, place, paths, out=all_pools[first:last]))
            pools.append(tuple(mine))
        held = self._holds(paths, seed)
        return Luck(seed, paths, all_pools, tuple(pools), self._left(pools, seed), held)

    def draws(self, luck: Luck, first: int = 0, last: int | None = None) -> Draws:
        """Lay out the work left, the ends of holds and the weather of some paths.

        Parameters
        ----------
        luck
            As ``luck`` returns it.
        first, last
            From which path to before which; ``first`` a multiple of four. All by default.
        """
        last = luck.paths if last is None else last
        held = {cell: days[first:last] for cell, days in luck.held_until.items()}
        days = int(self.guess_days(luck)[first:last].max())
        counter = self._counter(days, first, last, luck.seed)
        return Draws(self._work(luck, first, last), held, luck.seed, counter, first)

    def draw(self, paths: int, seed: int) -> Draws:
        """Draw and lay out all at once; see ``luck`` and ``draws``."""
        return self.draws(self.luck(paths, seed))

    def march(self, draws: Draws, *, keep_starts: bool = False) -> tuple[March, DayCounter]:
        """March on from now.

        Parameters
        ----------
        draws
            As ``draw`` returns them, or changed.
        keep_starts
            Whether to keep starts as well as finishes.

        Returns
        -------
        March, DayCounter
            And the days it was counted with, which reach far enough.
        """
        progress = Progress(self.finished, self.started, draws.held_until)
        counter = draws.counter
        while True:
            marched = march(
                self.steps, self.runs, progress, draws.work, counter, keep_starts=keep_starts
            )
            longest = float(np.nanmax(marched.finish, initial=0.0))
            if longest < counter.horizon_days - 1 or counter.horizon_days >= LONGEST_DAYS:
                return marched, counter
            horizon = min(2 * counter.horizon_days, LONGEST_DAYS)
            last = draws.first + draws.work.shape[2]
            counter = self._counter(horizon, draws.first, last, draws.seed)

    def _work(self, luck: Luck, first: int, last: int) -> Days:
        """Lay out the days of work left of every unit and activity."""
        work = np.zeros((*self.finished.shape, last - first), dtype=np.float32)
        for place, run in enumerate(self.runs):
            units = np.array(run.units)
            for activity, pool in enumerate(luck.pools[place]):
                to_do = units[self.to_do[units, activity]]
                mine = np.ascontiguousarray(pool[:, first:last])
                work[to_do, activity] = self._days(mine, luck.seed, to_do, activity, first)
        for cell, days in luck.left.items():
            work[cell] = days[first:last]
        return work

    def _days(
        self,
        pool: NDArray[np.float32],
        seed: int,
        units: NDArray[np.intp],
        activity: int,
        first: int,
    ) -> NDArray[np.float32]:
        """Draw whole units' days from the pools of some paths."""
        days = draw_from(pool, keys(seed, WORK_STREAM, activity, units), first)
        days *= self.effort[units, activity, None].astype(np.float32)
        return in_ticks(days)

    def _left(
        self, pools: Sequence[Sequence[NDArray[np.float32]]], seed: int
    ) -> dict[tuple[int, int], Days]:
        """Draw the days left, from a morning on, of all work under way or at hand."""
        left: dict[tuple[int, int], Days] = {}
        under_way = self.to_do & ~np.isnan(self.started)
        progress = Progress(self.finished, self.started)
        for place, run in enumerate(self.runs):
            at_hand = set(progress.at_hand(run, self.steps))
            for activity, trade in enumerate(self.activities):
                mine = [u for u in run.units if under_way[u, activity] or (u, activity) in at_hand]
                if trade.calendar_days or not mine:
                    continue
                units = np.array(mine, dtype=int)
                drawn = self._days(pools[place][activity], seed, units, activity, 0)
                for unit, days in zip(mine, drawn, strict=True):
                    rng = np.random.default_rng([seed, LEFT_STREAM, unit, activity])
                    _end_within_the_last_day(days, rng)
                    if under_way[unit, activity]:
                        self._leave_what_is_left(days, unit, activity, rng)
                    left[unit, activity] = in_ticks(np.maximum(days, LEAST_LEFT, out=days))
        return left

    def _leave_what_is_left(
        self, work: Days, unit: int, activity: int, rng: np.random.Generator
    ) -> None:
        """Turn the days of a whole unit into the days left of one under way, in place."""
        share = self.left_share[unit, activity]
        placed = not np.isnan(share)
        by_share = work * work.dtype.type(share)
        if placed and self.activities[activity].measure != "concrete":
            work[:] = by_share
            return
        if self.on_hold[unit, activity]:
            work *= rng.random(work.size, dtype=np.float32)
        else:
            self._leave_what_time_leaves(work, unit, activity, rng)
        if placed:
            # Concrete comes last: forms and steel are done before the first load, so that few
            # loads do not mean much work left, only no more than time says.
            np.minimum(work, by_share, out=work)

    def _leave_what_time_leaves(
        self, work: Days, unit: int, activity: int, rng: np.random.Generator
    ) -> None:
        """Turn the days of a whole unit into those left after the days spent, in place."""
        spent = work.dtype.type(self.spent_days[unit, activity])
        longer = work[work > spent]
        over = work <= spent
        # Given that it is not done yet, it takes as long as units that took longer; one
        # that took longer than any known may end any time within another half of it.
        instead = (
            rng.choice(longer, int(over.sum()))
            if longer.size
            else spent * (1 + rng.random(int(over.sum()), dtype=np.float32) / 2)
        )
        work[over] = instead
        work -= spent

    def _holds(self, paths: int, seed: int) -> dict[tuple[int, int], Days]:
        """Draw when holds are lifted."""
        held = np.argwhere(self.on_hold & self.to_do)
        if not held.size:
            return {}
        dry = DayCounter(self.worked(-DAYS_BACK, LONGEST_DAYS // 10))
        start = np.zeros(paths, dtype=np.float32)
        until = {}
        for unit, activity in held.tolist():
            rng = np.random.default_rng([seed, HOLD_STREAM, unit, activity])
            rain = self.by_weather is not None and self.by_weather[unit, activity]
            ended = self.weather_holds if rain else self.ended_holds
            days = draw_hold_days(rng, ended, self.held_days[unit, activity], paths)
            until[unit, activity] = dry.after_work(start, in_ticks(days), weather=False)
        return until

    def guess_days(self, luck: Luck) -> NDArray[np.int64]:
        """Guess for how many calendar days the march goes on, on every path.

        As long as its slowest crew takes, or its falsework sets where they are few.
        """
        counted = float((self.worked(0, 730) - self.lost_chances(730) / CHANCES).mean())
        cures = np.array([activity.calendar_days for activity in self.activities])
        days = np.zeros(luck.paths)
        for run, row in zip(self.runs, luck.pools, strict=True):
            work = np.where(self.to_do, self.effort, 0.0)[list(run.units)].sum(axis=0)
            each = np.stack([pool.mean(axis=0) for pool in row]) * work[:, None]
            each[~cures] /= max(counted, 0.05)
            unit = each.sum(axis=0) / len(run.units)
            turns = len(run.units) / (run.sets or len(run.units))
            turnaround = run.turnaround_days / max(counted, 0.05)
            by_sets = turns * (unit + turnaround)
            np.maximum(
                days, np.maximum(each[~cures].max(axis=0, initial=0.0), by_sets) + unit, out=days
            )
        return np.minimum(1.1 * days + SPARE_DAYS, LONGEST_DAYS).astype(np.int64)

    def worked(self, first: int, last: int) -> NDArray[np.bool_]:
        """Return which days from now are worked."""
        days = self.as_of + 1 + np.arange(first, last)
        return np.asarray(self.calendar.is_workday(days))

    def lost_chances(self, days: int) -> NDArray[np.int64]:
        """Return how many of ``CHANCES`` each day from now is lost with; 0 if it is not worked."""
        worked = self.worked(0, days)
        if not any(self.calendar.lost_days_per_month or ()):
            return np.zeros(days, dtype=np.int64)
        dates = self.as_of + 1 + np.arange(days)
        share = self.calendar.daily_loss_probability(self.calendar.index_of(dates))
        return np.where(worked, np.round(share * CHANCES), 0).astype(np.int64)

    def _counter(self, days: int, first: int, last: int, seed: int) -> DayCounter:
        """Return the days that count, with each path's weather."""
        worked, limit = self.worked(-DAYS_BACK, days), self.lost_chances(days)
        if not limit.any():
            return DayCounter(worked)
        lost = np.zeros((days, last - first), dtype=bool)
        rainy = np.flatnonzero(limit)
        drawn = chances(keys(seed, WEATHER_STREAM, rainy), first, last - first)
        lost[rainy] = drawn < limit[rainy, None]
        return DayCounter(worked, lost)


def line_now(
    job: Job, state: State, as_of: dt.date, *, recent: int, recent_weeks: float | None = None
) -> LineNow:
    """Return the line of a job as it stands at the end of a day.

    Parameters
    ----------
    job, state
        The plan, and the log folded as of that day.
    as_of
        The day.
    recent, recent_weeks
        How far back crew's days are drawn from; see ``model.cycle.recent_completions``.

    Notes
    -----
    Where the calendar has no list of days lost to weather, they are counted from the log (see
    ``model.lost_days``), for the days to come and for those past alike.
    """
    job, lost = as_known(job, state, as_of)
    finished = completions(state, job)
    histories = histories_of(finished, job, units=recent, weeks=recent_weeks)
    today = np.datetime64(as_of, "D")
    table = state.units.set_index(["unit", "activity"])
    cells = pd.MultiIndex.from_product(
        [job.units["unit"], [activity.key for activity in job.activities]]
    )
    table = table.reindex(cells)
    shape = (len(job.units), len(job.activities))
    complete = (table["status"] == "complete").to_numpy().reshape(shape)
    begun = table["status"].isin(["under_way", "on_hold"]).to_numpy().reshape(shape)
    finish = _days_from(today, table["finished"]).reshape(shape)
    start = _days_from(today, table["started"]).reshape(shape)
    return LineNow(
        as_of=today,
        units=tuple(job.units["unit"]),
        headings=tuple(heading.key for heading in job.headings),
        activities=job.activities,
        calendar=job.calendar,
        runs=runs_of(job),
        finished=np.where(complete, np.nan_to_num(finish, nan=0.0), np.nan),
        started=np.where(begun, np.nan_to_num(start, nan=0.0), np.where(complete, start, np.nan)),
        on_hold=(table["status"] == "on_hold").to_numpy().reshape(shape),
        left_share=left_share(table).reshape(shape),
        spent_days=_spent_days(start, begun, finished, job, today),
        paces=paces_of(histories, job),
        effort=_efforts(job, histories, complete),
        held_days=held_days(state, job, as_of),
        ended_holds=ended_holds(state, job),
        weather_holds=ended_holds(state, job, weather=True),
        by_weather=held_by_weather(state),
        lost_days=lost,
        learning=tuple(history.learning_slope for history in histories),
    )


def _end_within_the_last_day(work: Days, rng: np.random.Generator) -> None:
    """Take off work that begins on a morning, in place, what is left of its last day.

    Crew's days are whole ones, to the end of the day on which the log has the finish; it came
    at some time of that day, taken as any alike. Without this, whatever is not a whole number
    (days less those lost to weather, or brought to a unit's size) would be put off to the end
    of the next day, half a day late on average. Whole days fall on the same days either way.
    """
    work -= rng.random(work.size, dtype=np.float32)
    np.maximum(work, 0.0, out=work)


def _efforts(
    job: Job, histories: Sequence[History], complete: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Return how many times the days of an average first unit each unit and activity takes."""
    size_powers = np.array([history.size_power for history in histories])
    learning_powers = np.array([history.learning_power for history in histories])
    efforts = np.exp(np.outer(log_sizes(job), size_powers))
    for run in runs_of(job):
        units = np.array(run.units)
        # Those to do come after those complete, in building order.
        number = np.cumsum(~complete[units], axis=0) + complete[units].sum(axis=0)
        efforts[units] *= np.maximum(number, 1.0) ** learning_powers
    return efforts


def steps_of(activities: Sequence[Activity]) -> tuple[Step, ...]:
    """Return activities as the march sees them."""
    places = {activity.key: place for place, activity in enumerate(activities)}
    return tuple(
        Step(
            tuple(places[key] for key in activity.after),
            activity.lag_days,
            activity.calendar_days,
            activity.weather,
        )
        for activity in activities
    )


def runs_of(job: Job) -> tuple[Run, ...]:
    """Return headings as the march sees them."""
    rows: Mapping[str, int] = {unit: row for row, unit in enumerate(job.units["unit"])}
    return tuple(
        Run(
            tuple(rows[unit] for unit in heading.units),
            heading.falsework_sets,
            heading.turnaround_days,
        )
        for heading in job.headings
    )


def _days_from(today: np.datetime64, dates: pd.Series[pd.Timestamp]) -> NDArray[np.float64]:
    """Return days from the end of today to the end of dates; NaN where there is none."""
    days = dates.to_numpy().astype("datetime64[D]")
    return np.where(np.isnat(days), np.nan, (days - today).astype(np.float64))


def left_share(table: pd.DataFrame) -> NDArray[np.float64]:
    """Return what share of the work under way is left, where the log says how much is placed.

    Parameters
    ----------
    table
        Rows of ``State.units``; NaN for those that are not under way, or have nothing placed.
    """
    percent = table["percent"].to_numpy(float)
    under_way = table["status"].isin(["under_way", "on_hold"]).to_numpy()
    return np.where(under_way & (percent > 0), 1.0 - percent / 100.0, np.nan)


def _spent_days(
    start: NDArray[np.float64],
    begun: NDArray[np.bool_],
    finished: pd.DataFrame,
    job: Job,
    today: np.datetime64,
) -> NDArray[np.float64]:
    """Return clear working days spent on work under way since its crew was free for it."""
    last = {
        key: group["finished"].max() for key, group in finished.groupby(["heading", "activity"])
    }
    spent = np.zeros(start.shape)
    end = float(job.calendar.index_of(today + 1))
    rows = job.units["unit"].tolist()
    for unit, activity in np.argwhere(begun):
        trade = job.activities[activity]
        day = today + np.timedelta64(int(np.nan_to_num(start[unit, activity])), "D")
        begin = float(job.calendar.index_of(day))
        before = last.get((job.heading_of_unit[rows[unit]], trade.key))
        if before is not None:
            begin = max(begin, float(job.calendar.index_of(np.datetime64(before, "D") + 1)))
        lost = trade.weather and not trade.calendar_days
        days = clear_days(np.array([begin]), np.array([end]), job.calendar)[0]
        spent[unit, activity] = max(days if lost else end - begin, 0.0)
    return spent
