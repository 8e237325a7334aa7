"""Who lags: behind the baseline, behind its own heading's pace, and what that costs.

What is looked at is the front of the line: on every heading, for every activity, the units
that are begun and the one the crew takes next. A unit may be late in two ways, which call for
different remedies: by itself, behind the pace of its heading; or with all its heading, behind
the baseline only.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.cycle import RECENT_UNITS, completions, recent_cycles
from model.fold import State
from model.job import Job
from model.lag_cost import WORTH_SAYING_DAYS, Again, cost_of_lag, waits_most_for, working_days
from model.line import BOUND_AFTER, BOUND_CREW, BOUND_HOLD, BOUND_SET, March
from model.line_now import LineNow, line_now
from model.one_job import StoppedShort
from model.slow_headings import Crew, SlowHeadings
from model.workdays import days_words

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
    "slow_heading_costs_days",
    "next_crew",
)


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
        ``slow_heading_costs_days``  where the unit keeps its pace, but its whole heading is
                              behind the baseline, and its crew slower than its trade's
                              plan: the likely finish would come so much sooner if that
                              crew took the planned days a unit from now on
        ``next_crew``         the activity whose crew follows and has that buffer; blank
                              where there is none
        ===================== ========================================================
    """

    as_of: dt.date
    units: pd.DataFrame

    @property
    def lagging(self) -> pd.DataFrame:
        """The rows of ``units`` that are a working day or more behind their pace."""
        rows: pd.DataFrame = self.units[self.units["behind_pace"] >= WORTH_SAYING_DAYS]
        return rows

    @property
    def late_with_heading(self) -> pd.DataFrame:
        """The rows a working day or more behind the baseline that keep their heading's pace.

        What costs the finish most comes first, then what is farthest behind.
        """
        units = self.units
        late = units["behind_baseline"] >= WORTH_SAYING_DAYS
        rows: pd.DataFrame = units[late & ~(units["behind_pace"] >= WORTH_SAYING_DAYS)]
        return rows.sort_values(
            ["slow_heading_costs_days", "behind_baseline"], ascending=False, kind="stable"
        )

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct lag --json`` prints."""
        rows = [
            {name: None if pd.isna(value) else value for name, value in row.items()}
            for row in self.units.to_dict("records")
        ]
        return {"as_of": self.as_of.isoformat(), "units": rows}

    def __str__(self) -> str:
        lines = [
            f"{row['unit']} {row['activity']}: {days_words(row['behind_pace'])} behind its pace, "
            f"costs the finish {days_words(row['costs_finish_days'])}. {row['why']}"
            for row in self.lagging.to_dict("records")
        ]
        lines = lines or ["No unit lags behind the pace of its heading."]
        lines += [
            f"{row['unit']} {row['activity']}: {days_words(row['behind_baseline'])} behind the "
            f"baseline. {row['why']}"
            for row in self.late_with_heading.to_dict("records")
        ]
        return "\n".join(lines)


def lag(
    job: Job,
    state: State,
    *,
    as_of: dt.date,
    paths: int = PATHS,
    seed: int = 1,
    recent: int = RECENT_UNITS,
    recent_weeks: float | None = None,
    on_row: Callable[[int, int], bool] | None = None,
) -> Lag:
    """Say who lags at the front of the line, and what it costs.

    Parameters
    ----------
    job, state
        The plan, and the log folded as of the end of ``as_of``.
    as_of
        The day.
    paths, seed, recent, recent_weeks
        As ``model.projection.project_finish``.
    on_row
        Called before each unit and activity at the front with how many are done and how many
        there are.

    Returns
    -------
    Lag

    Raises
    ------
    StoppedShort
        When ``on_row`` returns False: some of the rows are no ranking.

    Notes
    -----
    The k-th unit to come on a heading is due k of its recent cycles after the last completion;
    behind pace is how far the likely finish lies after that.

    What a lagging unit costs is found by marching again with the same chances, but with it
    finished when it is due (or now, where that has passed). Only where the lag begins: a unit
    that waits for a trade before it, or for its crew, costs nothing itself; what it waits for
    does. What a slow heading costs is found likewise, with the days of that one crew on the
    units not begun brought to the planned ones; units of one crew share it.
    """
    now = line_now(job, state, as_of, recent=recent, recent_weeks=recent_weeks)
    again = Again(now, paths, seed)
    marched = again.marched
    front = _front(now)
    likely = working_days(now, np.quantile(marched.finish, 0.5, axis=2, method="inverted_cdf"))
    cycle_of = _cycles(job, state, recent, recent_weeks)
    due = _due(job, state, now, front, cycle_of)
    behind_baseline = _behind_baseline(job, now, likely)
    buffer, follower = _buffer_left(now, marched)
    words = _Words(now, marched, state)
    slow = SlowHeadings(job, again, cycle_of)
    rows = []
    for done, (h, u, a) in enumerate(front):
        if on_row is not None and not on_row(done, len(front)):
            raise StoppedShort
        behind_pace, why, slow_costs = (
            round(likely[u, a] - due[u, a], 1),
            words.why(h, u, a),
            np.nan,
        )
        if behind_baseline[u, a] >= WORTH_SAYING_DAYS and not behind_pace >= WORTH_SAYING_DAYS:
            slow_costs, why = slow.cost(h, a), f"{slow.why(h, a)} {why}"
        cost = cost_of_lag(again, h, u, a, likely[u, a], due[u, a])
        next_crew = now.activities[follower[u, a]].key if follower[u, a] >= 0 else ""
        rows.append(
            (now.units[u], now.headings[h], now.activities[a].key, behind_baseline[u, a],
             behind_pace, buffer[u, a], cost, why, slow_costs, next_crew)
        )  # fmt: skip
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


def _cycles(job: Job, state: State, recent: int, weeks: float | None) -> dict[Crew, float]:
    """Return the working days a unit that each crew is expected to go on with."""
    cycles = recent_cycles(state, job, units=recent, weeks=weeks)
    keys = zip(cycles["heading"], cycles["activity"], strict=True)
    return dict(zip(keys, cycles["expected_cycle"].to_list(), strict=True))


def _due(
    job: Job,
    state: State,
    now: LineNow,
    front: list[tuple[int, int, int]],
    cycle_of: Mapping[Crew, float],
) -> NDArray[np.float64]:
    """Return when units are due by their heading's pace, working days from now; NaN if unknown."""
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


def _buffer_left(now: LineNow, marched: March) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Return working days between a unit's likely finish and when its next crew is free for it.

    Below 0 the crew waits. NaN where no crew follows, or the following one has begun. With it,
    the place of that crew's activity; -1 for none.
    """
    buffer = np.full(marched.finish.shape[:2], np.nan)
    whose = np.full(buffer.shape, -1)
    for activity, trade in enumerate(now.activities):
        for follower, next_trade in enumerate(now.activities):
            if trade.key not in next_trade.after or next_trade.calendar_days:
                continue
            for unit in np.flatnonzero(now.to_do[:, activity]):
                before = marched.crew_from[unit, follower]
                if before < 0:
                    continue
                free = working_days(now, np.maximum(marched.finish[before, follower], 0.0))
                done = working_days(now, marched.finish[unit, activity])
                left = float(np.median(free - done))
                if not left >= buffer[unit, activity]:
                    buffer[unit, activity], whose[unit, activity] = left, follower
    return buffer, whose


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
            return f"On hold for {days_words(days)}: {reason or 'no reason given'}."
        if not np.isnan(now.started[unit, activity]):
            return self._under_way(heading, unit, activity)
        return self._waits_for(unit, activity)

    def _under_way(self, heading: int, unit: int, activity: int) -> str:
        """Compare the days spent with what a crew usually takes."""
        pace = self.now.paces[heading][activity].mean_days * self.now.effort[unit, activity]
        spent = self.now.spent_days[unit, activity]
        if spent > pace + WORTH_SAYING_DAYS:
            return f"Under way for {days_words(spent)}; its crew usually takes {pace:.0f}."
        stood = self._stood_still(heading, unit, activity)
        if stood > WORTH_SAYING_DAYS:
            return f"Under way; its crew stood still for {days_words(stood)} before it."
        return "Under way."

    def _stood_still(self, heading: int, unit: int, activity: int) -> float:
        """Return the working days from a crew's last finish to the start of a unit."""
        now, start = self.now, self.now.started[unit, activity]
        ends = now.finished[list(now.runs[heading].units), activity]
        before = ends[ends <= start]
        if not before.size:
            return 0.0
        days = now.as_of + np.array([before.max() + 1, start]).astype(np.int64)
        return float(now.calendar.count(*days))

    def _waits_for(self, unit: int, activity: int) -> str:
        """Name what a start waits for last on most paths."""
        now, marched = self.now, self.marched
        code = waits_most_for(marched, unit, activity)
        if code >= BOUND_AFTER:
            return f"Waits for {now.activities[code - BOUND_AFTER].name.lower()} of its unit."
        if code == BOUND_CREW:
            return (
                f"Waits for its crew, which is on {now.units[marched.crew_from[unit, activity]]}."
            )
        if code == BOUND_SET:
            return f"Waits for the falsework set under {now.units[marched.set_from[unit]]}."
        return "On hold." if code == BOUND_HOLD else "Can start now."
