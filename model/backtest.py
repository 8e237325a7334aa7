"""How right old projections were: projected as known then, compared with what came after.

At the end of every past week the log is folded as of then, as known then, and projected. What
is asked of it: when will the next 1, 3, 5 and 10 units be complete? Each answer is set against
what came after, and against two plain ways to project: the average pace since the first unit
was complete, and that of the last four weeks.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.cycle import RECENT_UNITS
from model.fold import State, fold
from model.job import Job
from model.line_now import LineNow, line_now
from model.log_arrays import LogArrays
from model.simulation import simulate

HORIZONS = (1, 3, 5, 10)
"""Units to come that are asked for."""

HEADLINE = 10
"""The horizon that the headline figures speak of."""

PATHS = 2_000
FIRST_COMPLETE = 4
"""Projections begin when so many units are complete."""

QUANTILES = (0.10, 0.25, 0.50, 0.75, 0.90)
FOUR_WEEKS = 4
RIVALS = ("average since start", "last four weeks")


@dataclass(frozen=True)
class Backtest:
    """Old projections against what came after.

    Parameters
    ----------
    outcomes
        One row per past week and horizon that can be judged: ``as_of``, ``units_ahead``,
        ``p10`` … ``p90`` (dates), ``actual`` (NaT where it has not come by now, which is
        after ``p90``), ``error_days`` (working days the 50 per cent date was early, negative:
        late), and the same error by rival. Not yet come counts as if it came tomorrow.
    """

    outcomes: pd.DataFrame

    @property
    def headline(self) -> pd.DataFrame:
        """Outcomes for the next ten units, or the farthest horizon there is."""
        ahead = self.outcomes["units_ahead"]
        rows: pd.DataFrame = self.outcomes[ahead == min(HEADLINE, ahead.max())]
        return rows

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct backtest --json`` prints."""
        if self.outcomes.empty:
            none = {"coverage_50": None, "coverage_80": None, "mean_abs_error_days": None}
            return {"projections": 0, **none, "rivals": dict.fromkeys(RIVALS), "by_horizon": []}
        head = self.headline
        by_horizon = [
            {"units_ahead": int(str(ahead)), **_figures(rows)}
            for ahead, rows in self.outcomes.groupby("units_ahead")
        ]
        return {**_figures(head), "by_horizon": by_horizon}

    def __str__(self) -> str:
        if self.outcomes.empty:
            return "No past projection can be judged yet."
        head = self.headline
        inside = int(_inside(head, "p10", "p90").sum())
        ahead = int(head["units_ahead"].iloc[0])
        which = "the next unit" if ahead == 1 else f"the next {ahead} units"
        return (
            f"Of {len(head)} past projections, the finish of {which} fell inside the "
            f"80\u00a0% band {inside} times."
        )


def _inside(rows: pd.DataFrame, low: str, high: str) -> pd.Series[bool]:
    """Tell which outcomes fell inside a band."""
    return (rows["actual"] >= rows[low]) & (rows["actual"] <= rows[high])


def _figures(rows: pd.DataFrame) -> dict[str, Any]:
    """Return coverage and errors of some outcomes."""
    return {
        "projections": len(rows),
        "coverage_50": float(_inside(rows, "p25", "p75").mean()),
        "coverage_80": float(_inside(rows, "p10", "p90").mean()),
        "mean_abs_error_days": float(rows["error_days"].abs().mean()),
        "rivals": {
            name: None if rows[name].isna().all() else float(rows[name].abs().mean())
            for name in RIVALS
        },
    }


def backtest(
    job: Job,
    events: pd.DataFrame | LogArrays,
    *,
    now: dt.date,
    paths: int = PATHS,
    seed: int = 1,
    recent: int = RECENT_UNITS,
    recent_weeks: float | None = None,
    as_known: bool = True,
    on_week: Callable[[int, int], bool] | None = None,
) -> Backtest:
    """Project at the end of every past week and compare with what came after.

    Parameters
    ----------
    job
        The job as planned.
    events
        The log.
    now
        What came after is known up to the end of this day.
    paths, seed, recent, recent_weeks
        As ``model.projection.project_finish``; each projection looks back from its own week.
    as_known
        Whether each projection sees only what the log had been told by then.
    on_week
        Called with the weeks done and the weeks in all; the rest is left out where it
        returns False.

    Returns
    -------
    Backtest

    Notes
    -----
    A projection is judged once the day after its 90 per cent date has passed, whatever came;
    judging as soon as the units are complete would favour the quick ones.

    Work recorded late makes an ``as_known`` projection see less than one made today.
    """
    log = events if isinstance(events, LogArrays) else LogArrays(job, events)
    end = dt.datetime.combine(now, dt.time(23, 59, 59))
    actual = _complete_on(fold(log, job, as_of=end), job)
    weeks = _weeks(job, actual, now)
    line_on = partial(line_now, job, recent=recent, recent_weeks=recent_weeks)
    rows: list[dict[str, Any]] = []
    for done, week in enumerate(weeks):
        moment = dt.datetime.combine(week, dt.time(23, 59, 59))
        known_on = moment.replace(tzinfo=job.timezone) if as_known else None
        state = fold(log, job, as_of=moment, known_on=known_on)
        rows += _outcomes(job, state, week, actual, now, paths, seed, line_on)
        if on_week is not None and not on_week(done + 1, len(weeks)):
            break
    return Backtest(pd.DataFrame(rows))


def _complete_on(state: State, job: Job) -> NDArray[np.datetime64]:
    """Return the day each unit was complete; NaT where it is not.

    Curing that the log never records is left out.
    """
    rows = state.units
    cures = {activity.key for activity in job.activities if activity.calendar_days}
    recorded = set(rows.loc[rows["finished"].notna(), "activity"])
    counted = rows[~rows["activity"].isin(cures - recorded)]
    by_unit = counted.groupby("unit", sort=False)["finished"]
    last = by_unit.max().where(by_unit.count() == by_unit.size())
    return last.reindex(job.units["unit"]).to_numpy().astype("datetime64[D]")


def _weeks(job: Job, complete: NDArray[np.datetime64], now: dt.date) -> list[dt.date]:
    """Return the Fridays on which there was something to project from."""
    known = np.sort(complete[~np.isnat(complete)])
    if known.size <= FIRST_COMPLETE:
        return []
    first = np.busday_offset(known[FIRST_COMPLETE - 1], 0, roll="forward", weekmask="Fri")
    days = np.arange(first, np.datetime64(now, "D"), np.timedelta64(7, "D"))
    return [day.item() for day in days]


def _outcomes(
    job: Job,
    state: State,
    week: dt.date,
    actual: NDArray[np.datetime64],
    now: dt.date,
    paths: int,
    seed: int,
    line_on: Callable[[State, dt.date], LineNow],
) -> list[dict[str, Any]]:
    """Return what one past week projected and what came after."""
    then = _complete_on(state, job)
    to_do = np.isnat(then)
    if not to_do.any() or to_do.all():
        return []
    ends = _ends_of_units(line_on(state, week), to_do, paths, seed)
    came = np.sort(np.where(np.isnat(actual), np.datetime64("9999-01-01"), actual)[to_do])
    rows = []
    for ahead in (h for h in HORIZONS if h <= to_do.sum()):
        band = np.quantile(ends[ahead - 1], QUANTILES, method="inverted_cdf")
        dates = np.datetime64(week, "D") + 1 + band.astype(np.int64)
        if dates[-1] >= np.datetime64(now, "D"):
            continue
        happened = came[ahead - 1] <= np.datetime64(now, "D")
        until = came[ahead - 1] if happened else np.datetime64(now, "D") + 1
        row: dict[str, Any] = {"as_of": pd.Timestamp(week), "units_ahead": ahead}
        row |= {
            f"p{round(100 * q)}": pd.Timestamp(d) for q, d in zip(QUANTILES, dates, strict=True)
        }
        row["actual"] = pd.Timestamp(until) if happened else pd.NaT
        row["error_days"] = float(job.calendar.count(dates[2], until))
        taken = float(job.calendar.count(np.datetime64(week) + 1, until + 1))
        row |= {
            name: taken - ahead / pace if pace > 0 else np.nan
            for name, pace in zip(RIVALS, _plain_paces(job, then, week), strict=True)
        }
        rows.append(row)
    return rows


def _ends_of_units(
    line: LineNow, to_do: NDArray[np.bool_], paths: int, seed: int
) -> NDArray[np.int64]:
    """Return the day numbers of the next units' completions, in order, on every path."""
    days = simulate(line, paths, seed).days[to_do].max(axis=1)
    return np.sort(days, axis=0).astype(np.int64)


def _plain_paces(job: Job, complete: NDArray[np.datetime64], week: dt.date) -> Sequence[float]:
    """Return units complete per working day: since the start, and over the last four weeks.

    The start is the first completion, not the first day of work: a rival that counts the
    months before anything could be complete would be too easily beaten. A job whose last four
    weeks completed nothing goes by the average since the start.
    """
    today = np.datetime64(week, "D") + 1
    known = np.sort(complete[~np.isnat(complete)])
    days = max(float(job.calendar.count(known[0] + 1, today)), 1.0)
    since_start = (known.size - 1) / days
    begin = today - 7 * FOUR_WEEKS
    lately = np.count_nonzero(known >= begin) / max(float(job.calendar.count(begin, today)), 1.0)
    return since_start, lately or since_start
