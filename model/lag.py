"""Who lags: behind the baseline, behind its own heading's pace, and what that costs.

What is looked at is the front of the line: on every heading, for every activity, the units
that are begun and the one the crew takes next.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.cycle import RECENT_UNITS, completions, recent_cycles
from model.fold import State
from model.job import Job
from model.line import (
    BOUND_AFTER,
    BOUND_CREW,
    BOUND_HOLD,
    BOUND_NOW,
    BOUND_SET,
    SMALL,
    Days,
    March,
    Run,
)
from model.line_now import LineNow, line_now
from model.simulation import day_numbers

PATHS = 2_000
COLUMNS = (
    "unit",
    "heading",
    "activity",
    "behind_baseline",
    "behind_pace",
    "buffer_left",
    "costs_finish_days",
    "why",
)
WORTH_SAYING_DAYS = 1.0


@dataclass(frozen=True)
class Lag:
    """Units at the front of the line, the one that costs the finish most first.

    Parameters
    ----------
    as_of
        The log was read to the end of this day.
    units
        One row per unit and activity at the front. Working days throughout, NaN where there is
        no such number:

        ===================== ========================================================
        ``behind_baseline``   its likely finish is so many days after the planned one
        ``behind_pace``       … after the one its heading's recent cycle would give
        ``buffer_left``       days its following crew still has work before it; below 0
                              that crew starves so long
        ``costs_finish_days`` the likely finish of the line would come so much sooner if
                              it were not behind its pace
        ``why``               the cause in words
        ===================== ========================================================
    """

    as_of: dt.date
    units: pd.DataFrame

    @property
    def lagging(self) -> pd.DataFrame:
        """The rows of ``units`` that are a working day or more behind their pace."""
        rows: pd.DataFrame = self.units[self.units["behind_pace"] >= WORTH_SAYING_DAYS]
        return rows

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct lag --json`` prints."""
        rows = [
            {name: None if pd.isna(value) else value for name, value in row.items()}
            for row in self.units.to_dict("records")
        ]
        return {"as_of": self.as_of.isoformat(), "units": rows}

    def __str__(self) -> str:
        late = self.lagging
        if late.empty:
            return "No unit lags behind the pace of its heading."
        return "\n".join(
            f"{row.unit} {row.activity}: {_days(row.behind_pace)} behind its pace, costs the "
            f"finish {row.costs_finish_days:.1f}. {row.why}"
            for row in late.itertuples()
        )


def _days(days: Any) -> str:
    """Say how many working days, in words."""
    whole = round(float(days))
    return "1 working day" if whole == 1 else f"{whole} working days"


def lag(
    job: Job,
    state: State,
    *,
    as_of: dt.date,
    paths: int = PATHS,
    seed: int = 1,
    recent: int = RECENT_UNITS,
) -> Lag:
    """Say who lags at the front of the line, and what it costs.

    Parameters
    ----------
    job, state
        The plan, and the log folded as of the end of ``as_of``.
    as_of
        The day.
    paths, seed, recent
        As ``model.projection.project_finish``.

    Returns
    -------
    Lag

    Notes
    -----
    The k-th unit to come on a heading is due k of its recent cycles after the last completion;
    behind pace is how far the likely finish lies after that.

    What a lagging unit costs is found by marching again with the same chances, but with it
    finished when it is due (or now, where that has passed). Only where the lag begins: a unit
    that waits for a trade before it, or for its crew, costs nothing itself; what it waits for
    does.
    """
    now = line_now(job, state, as_of, recent=recent)
    again = _Again(now, paths, seed)
    marched = again.marched
    front = _front(now)
    likely = _working(now, np.quantile(marched.finish, 0.5, axis=2, method="inverted_cdf"))
    due = _due(job, state, now, front, recent)
    behind_baseline = _behind_baseline(job, now, likely)
    buffer = _buffer_left(now, marched)
    words = _Words(now, marched, state)
    rows = [
        (
            now.units[u],
            now.headings[h],
            now.activities[a].key,
            behind_baseline[u, a],
            round(likely[u, a] - due[u, a], 1),
            buffer[u, a],
            _cost(again, h, u, a, likely[u, a], due[u, a]),
            words.why(h, u, a),
        )
        for h, u, a in front
    ]
    units = pd.DataFrame(rows, columns=list(COLUMNS)).sort_values(
        ["costs_finish_days", "behind_pace", "behind_baseline"],
        ascending=False,
        kind="stable",
        ignore_index=True,
    )
    return Lag(as_of, units)


def _front(now: LineNow) -> list[tuple[int, int, int]]:
    """Return heading, unit and activity of what is begun and what each crew takes next."""
    front = []
    for heading, run in enumerate(now.runs):
        for activity, trade in enumerate(now.activities):
            if trade.calendar_days:
                continue
            to_do = [unit for unit in run.units if now.to_do[unit, activity]]
            begun = [unit for unit in to_do if not np.isnan(now.started[unit, activity])]
            waiting = [unit for unit in to_do if unit not in begun]
            front += [(heading, unit, activity) for unit in [*begun, *waiting[:1]]]
    return front


def _working(now: LineNow, moments: NDArray[Any]) -> NDArray[np.float64]:
    """Turn finishes (days from now) into working days from now, to the end of their day."""
    day = now.as_of + np.ceil(moments - SMALL).astype(np.int64) + 1
    return (now.calendar.index_of(day) - now.calendar.index_of(now.as_of + 1)).astype(np.float64)


def _due(
    job: Job, state: State, now: LineNow, front: list[tuple[int, int, int]], recent: int
) -> NDArray[np.float64]:
    """Return when units are due by their heading's pace, working days from now; NaN if unknown."""
    cycles = recent_cycles(state, job, units=recent)
    keys = zip(cycles["heading"], cycles["activity"], strict=True)
    cycle_of = dict(zip(keys, cycles["expected_cycle"].to_list(), strict=True))
    last = {
        key: np.datetime64(group["finished"].max(), "D")
        for key, group in completions(state, job).groupby(["heading", "activity"])
    }
    due = np.full(now.finished.shape, np.nan)
    place: dict[tuple[str, str], int] = {}
    for heading, unit, activity in front:
        key = (now.headings[heading], now.activities[activity].key)
        place[key] = place.get(key, 0) + 1
        if key in last:
            since = float(now.calendar.count(last[key] + 1, now.as_of + 1))
            due[unit, activity] = place[key] * cycle_of[key] - since
    return due


def _behind_baseline(job: Job, now: LineNow, likely: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far likely finishes lie behind the planned ones; NaN without a plan."""
    behind = np.full(likely.shape, np.nan)
    row_of = {unit: row for row, unit in enumerate(now.units)}
    place_of = {activity.key: place for place, activity in enumerate(now.activities)}
    for row in job.baseline.itertuples():
        unit, activity = row_of.get(str(row.unit)), place_of.get(str(row.activity))
        if unit is not None and activity is not None:
            day = np.datetime64(str(row.planned_finish)[:10], "D") + 1
            planned = float(now.calendar.count(now.as_of + 1, day))
            behind[unit, activity] = likely[unit, activity] - planned
    return behind


def _buffer_left(now: LineNow, marched: March) -> NDArray[np.float64]:
    """Return working days between a unit's likely finish and when its next crew is free for it.

    Below 0 the crew waits. NaN where no crew follows, or the following one has begun.
    """
    buffer = np.full(marched.finish.shape[:2], np.nan)
    for activity, trade in enumerate(now.activities):
        for follower, next_trade in enumerate(now.activities):
            if trade.key not in next_trade.after or next_trade.calendar_days:
                continue
            for unit in np.flatnonzero(now.to_do[:, activity]):
                before = marched.crew_from[unit, follower]
                if before < 0:
                    continue
                free = _working(now, np.maximum(marched.finish[before, follower], 0.0))
                done = _working(now, marched.finish[unit, activity])
                left = float(np.median(free - done))
                buffer[unit, activity] = np.fmin(buffer[unit, activity], left)
    return buffer


class _Again:
    """The march from now, and again with the same luck where one heading goes otherwise.

    Headings do not wait for one another, so only that one is marched again.
    """

    def __init__(self, now: LineNow, paths: int, seed: int) -> None:
        self.now = now
        self.draws = now.draw(paths, seed)
        # In NumPy, whichever way a forecast goes: it also tells what each start waits for, and
        # with the draws laid out once one heading more takes no longer than compiled.
        self.marched, _ = now.march(self.draws)
        self._last = np.stack([_last_day(now, self.marched, run) for run in now.runs])
        self._end = self._likely_end(self._last)

    def saves(self, heading: int, line: LineNow, work: Days | None = None) -> float:
        """Return by how many working days the whole line would likely finish sooner.

        Parameters
        ----------
        heading
            Which one goes otherwise.
        line, work
            How it would go: with other finishes, or with other days of work.
        """
        run = self.now.runs[heading]
        draws = self.draws if work is None else replace(self.draws, work=work)
        marched, _ = replace(line, runs=(run,)).march(draws)
        last = self._last.copy()
        last[heading] = _last_day(line, marched, run)
        return round(max(self._end - self._likely_end(last), 0.0), 2)

    def _likely_end(self, last: NDArray[np.int16]) -> float:
        """Return the mean of the middle tenth of the line's ends, in working days from now.

        The middle tenth and not the single middle path: it moves by less than a day.
        """
        ends = np.sort(_working(self.now, last.max(axis=0).astype(np.int64) + 1))
        middle = ends[int(0.45 * ends.size) : max(int(0.55 * ends.size), 1)]
        return float(middle.mean())


def _last_day(now: LineNow, marched: March, run: Run) -> NDArray[np.int16]:
    """Return the day a heading's last finish falls on, on every path."""
    units = list(run.units)
    days = day_numbers(marched.finish[units], now.to_do[units])
    return np.asarray(days.max(axis=(0, 1)))


def _cost(
    again: _Again, heading: int, unit: int, activity: int, likely: float, due: float
) -> float:
    """Return how much sooner the line would likely finish if a unit were not behind."""
    now = again.now
    begun = not np.isnan(now.started[unit, activity])
    if not begun and _waits_most_for(again.marched, unit, activity) not in (BOUND_NOW, BOUND_SET):
        return 0.0
    if not (likely - due >= WORTH_SAYING_DAYS or now.on_hold[unit, activity]):
        return 0.0
    finished = now.finished.copy()
    finished[unit, activity] = _moment(now, np.nan_to_num(max(due, 0.0)))
    return again.saves(heading, replace(now, finished=finished))


def _moment(now: LineNow, working_days: float) -> float:
    """Return the days from now by which so many working days have passed."""
    whole = int(np.ceil(working_days - SMALL))
    if whole <= 0:
        return 0.0
    first = now.calendar.index_of(now.as_of + 1)
    day = now.calendar.date_of(first + whole - 1)
    return float((day - now.as_of).astype(np.int64))


def _waits_most_for(marched: March, unit: int, activity: int) -> int:
    """Return what a start waits for last on most paths."""
    return int(np.bincount(marched.bound[unit, activity]).argmax())


class _Words:
    """Causes in words."""

    def __init__(self, now: LineNow, marched: March, state: State) -> None:
        self.now, self.marched = now, marched
        rows = state.units[state.units["status"] == "on_hold"]
        self.reasons: Mapping[tuple[str, str], str] = {
            (str(row.unit), str(row.activity)): str(row.reason) for row in rows.itertuples()
        }

    def why(self, heading: int, unit: int, activity: int) -> str:
        """Say what a unit's activity waits for, or why it is slow."""
        now = self.now
        if now.on_hold[unit, activity]:
            reason = self.reasons.get((now.units[unit], now.activities[activity].key), "")
            days = now.held_days[unit, activity]
            return f"On hold for {_days(days)}: {reason or 'no reason given'}."
        if not np.isnan(now.started[unit, activity]):
            return self._under_way(heading, unit, activity)
        return self._waits_for(unit, activity)

    def _under_way(self, heading: int, unit: int, activity: int) -> str:
        """Compare the days spent with what a crew usually takes."""
        pace = self.now.paces[heading][activity].mean_days * self.now.effort[unit, activity]
        spent = self.now.spent_days[unit, activity]
        if spent > pace + WORTH_SAYING_DAYS:
            return f"Under way for {_days(spent)}; its crew usually takes {pace:.0f}."
        return "Under way."

    def _waits_for(self, unit: int, activity: int) -> str:
        """Name what a start waits for last on most paths."""
        now, marched = self.now, self.marched
        code = _waits_most_for(marched, unit, activity)
        if code >= BOUND_AFTER:
            return f"Waits for {now.activities[code - BOUND_AFTER].name.lower()} of its unit."
        if code == BOUND_CREW:
            return (
                f"Waits for its crew, which is on {now.units[marched.crew_from[unit, activity]]}."
            )
        if code == BOUND_SET:
            return f"Waits for the falsework set under {now.units[marched.set_from[unit]]}."
        return "On hold." if code == BOUND_HOLD else "Can start now."
