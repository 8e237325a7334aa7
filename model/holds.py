"""How long holds last: those that are over, those in force, and draws of what is left."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.events import KINDS
from model.fold import State
from model.hold_reasons import is_weather
from model.job import Job
from model.log_arrays import CellRows

USUAL_DAYS = 3.0
"""Mean working days a hold lasts, until the log says otherwise (our choice, no source)."""

USUAL_WEIGHT = 3.0
"""The usual counts like so many holds."""

HOLD, RESUME, FINISH = (KINDS.index(kind) for kind in ("hold", "resume", "finish"))
MICROS_PER_DAY = 86_400_000_000


@dataclass(frozen=True)
class Stretches:
    """Times a cell stood on hold.

    Parameters
    ----------
    row
        The row of the hold.
    began, ended
        Its day, and the day of what the cell was told next.
    over
        Whether it was told anything next.
    """

    row: NDArray[np.int64]
    began: NDArray[np.datetime64]
    ended: NDArray[np.datetime64]
    over: NDArray[np.bool_]


def holds_and_ends(state: State) -> CellRows:
    """Return the holds of a state and what ends them, sorted by cell and time."""
    rows = state.log.known_on(state.known_on).rows
    until = np.iinfo(np.int64).max if state.as_of is None else _micros(state.as_of)
    return rows.take((rows.at_us <= until) & np.isin(rows.kind, [HOLD, RESUME, FINISH]))


def stretches(rows: CellRows, after: np.datetime64) -> Stretches:
    """Return every hold of some rows with the day it ended on.

    Parameters
    ----------
    rows
        As ``holds_and_ends`` returns them.
    after
        The end of one that is not over.
    """
    held = np.flatnonzero(rows.kind == HOLD)
    following = np.minimum(held + 1, len(rows.cell) - 1)
    over = (following > held) & (rows.cell[following] == rows.cell[held])
    ended = np.where(over, _days(rows.at_us[following]), after)
    return Stretches(held, _days(rows.at_us[held]), ended, over)


def ended_holds(state: State, job: Job, *, weather: bool = False) -> NDArray[np.float64]:
    """Return the working days that holds lasted which are over.

    Parameters
    ----------
    state
        The fold of the log.
    job
        The job as planned.
    weather
        Only those for weather; without it, only the others. Days lost to weather are drawn
        for the line as a whole, so that rain among the others would count twice.

    Returns
    -------
    array of float
        One for each hold followed by a resume or a finish by the moment of the state; a hold
        of several spans counts once.
    """
    rows = holds_and_ends(state)
    followed = (
        (rows.kind[:-1] == HOLD) & (rows.kind[1:] != HOLD) & (rows.cell[:-1] == rows.cell[1:])
    )
    event, once = np.unique(rows.event[:-1][followed], return_index=True)
    began, ended = rows.at_us[:-1][followed][once], rows.at_us[1:][followed][once]
    kept = _for_weather(state, event) == weather
    days = job.calendar.count(_days(began), _days(ended))
    return np.asarray(days[kept], dtype=np.float64)


def held_by_weather(state: State) -> NDArray[np.bool_]:
    """Return which units and activities are on hold for weather, shape (units, activities)."""
    held_by = state.unit_standing.held_by
    return np.asarray((held_by >= 0) & _for_weather(state, held_by.ravel()).reshape(held_by.shape))


def _for_weather(state: State, events: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return which events of the log are holds for weather."""
    reasons = state.log.reasons
    return np.array([e >= 0 and is_weather(str(reasons[e])) for e in events.tolist()], dtype=bool)


def held_days(state: State, job: Job, as_of: dt.date) -> NDArray[np.float64]:
    """Return how many working days each hold in force has lasted by the end of a day.

    Parameters
    ----------
    state, job
        The log folded, and the plan.
    as_of
        The day.

    Returns
    -------
    array of float
        Shape (units, activities); 0 where there is no hold.
    """
    held_by = state.unit_standing.held_by
    held = held_by >= 0
    days = np.zeros(held_by.shape)
    began = state.log.events["at"].to_numpy().astype("datetime64[D]")[held_by[held]]
    days[held] = job.calendar.count(began, np.datetime64(as_of, "D") + 1)
    return days


def draw_hold_days(
    rng: np.random.Generator, ended: NDArray[np.float64], held: float, paths: int
) -> NDArray[np.float32]:
    """Draw how many working days a hold in force still lasts.

    Parameters
    ----------
    rng
        Source of chance.
    ended
        Working days that holds lasted which are over.
    held
        Working days this one has lasted so far.
    paths
        How many draws.

    Notes
    -----
    Of the holds that lasted as long as this one so far or longer, what they still lasted from
    there; mixed with an exponential of mean ``USUAL_DAYS``, which does not age. One that lasted
    as long ended on the morning after, which for this one is still to come.
    """
    left = ended[ended >= held] - held
    usual = rng.exponential(USUAL_DAYS, paths)
    if left.size == 0:
        return usual.astype(np.float32)
    from_log = rng.random(paths) < left.size / (left.size + USUAL_WEIGHT)
    return np.where(from_log, rng.choice(left, paths), usual).astype(np.float32)


def _micros(moment: dt.datetime) -> int:
    """Return local microseconds since 1970."""
    return int(np.datetime64(moment, "us").astype(np.int64))


def _days(micros: NDArray[np.int64]) -> NDArray[np.datetime64]:
    """Return the dates of local microseconds."""
    return np.asarray((micros // MICROS_PER_DAY).astype("datetime64[D]"))
