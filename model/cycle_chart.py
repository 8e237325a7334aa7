"""The control chart of one crew's cycles, with what it says in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.cycle import (
    RECENT_UNITS,
    ControlChart,
    PaceShift,
    completions,
    control_chart,
    pace_shift,
)
from model.fold import State
from model.job import Job
from model.lost_days import as_known
from model.pace import History, histories_of, learning_words


@dataclass(frozen=True)
class CycleChart:
    """Cycles of one activity on one heading, in order of completion.

    Parameters
    ----------
    heading, activity
        Keys.
    units, finished
        Unit of each cycle and the day it was finished.
    cycles
        Working days.
    chart
        Their limits; None for fewer than two.
    shift
        The last lasting change of pace; None for none found.
    planned_days
        Cycle of the plan; NaN for curing, which has none.
    learning_slope
        Share of the days that each doubling of units takes, by the trade's units on all
        headings; None where the log shows no learning.
    """

    heading: str
    activity: str
    units: tuple[str, ...]
    finished: NDArray[np.datetime64]
    cycles: NDArray[np.float64]
    chart: ControlChart | None
    shift: PaceShift | None
    planned_days: float
    learning_slope: float | None = None

    @property
    def outside(self) -> tuple[str, ...]:
        """Units whose cycle lies outside the limits."""
        if self.chart is None:
            return ()
        return tuple(np.array(self.units, dtype=object)[self.chart.outside])

    def __str__(self) -> str:
        if self.chart is None:
            return "Too few units are complete here to chart their cycles; two cycles are needed."
        said = [f"{self.cycles.size} cycles, {self.chart.center:.1f} working days on average."]
        if self.shift is None:
            said.append("No lasting change of pace found.")
        else:
            word = "slower" if self.shift.after_days > self.shift.before_days else "faster"
            said.append(
                f"The pace has changed: {word} from {self.units[self.shift.at]} on, "
                f"{self.shift.before_days:.1f} working days before, "
                f"{self.shift.after_days:.1f} since."
            )
        if self.learning_slope is not None:
            said.append(f"Over all headings {learning_words(self.learning_slope)}.")
        if self.outside:
            said.append(f"Outside the limits: {', '.join(self.outside)}.")
        return " ".join(said)


def cycle_chart(job: Job, state: State, heading: str, activity: str) -> CycleChart:
    """Chart the cycles of an activity on a heading against their own limits.

    Parameters
    ----------
    job, state
        The plan, and the log folded.
    heading, activity
        Keys the job has.
    """
    rows = completions(state, job).dropna(subset=["cycle_days"])
    rows = rows[(rows["heading"] == heading) & (rows["activity"] == activity)]
    cycles = rows["cycle_days"].to_numpy(float)
    trade = job.activity_by_key[activity]
    place = job.activities.index(trade)
    return CycleChart(
        heading=heading,
        activity=activity,
        units=tuple(rows["unit"]),
        finished=rows["finished"].to_numpy().astype("datetime64[D]"),
        cycles=cycles,
        chart=control_chart(cycles) if cycles.size > 1 else None,
        shift=pace_shift(cycles),
        planned_days=float("nan") if trade.calendar_days else trade.planned_cycle_days,
        learning_slope=_histories(job, state)[place].learning_slope,
    )


def _histories(job: Job, state: State) -> tuple[History, ...]:
    """Return every trade's history as the projection reads it."""
    as_of = state.as_of.date() if state.as_of else job.calendar.start
    known, _ = as_known(job, state, as_of)
    return histories_of(completions(state, known), known, units=RECENT_UNITS)
