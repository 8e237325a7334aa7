"""How long holds last: those that are over, those in force, and draws of what is left."""

from __future__ import annotations

import datetime as dt

import numpy as np
from numpy.typing import NDArray

from model.events import KINDS
from model.fold import State
from model.job import Job

USUAL_DAYS = 3.0
"""Mean working days a hold lasts, until the log says otherwise (our choice, no source)."""

USUAL_WEIGHT = 3.0
"""The usual counts like so many holds."""

HOLD, RESUME, FINISH = (KINDS.index(kind) for kind in ("hold", "resume", "finish"))
MICROS_PER_DAY = 86_400_000_000


def ended_holds(state: State, job: Job) -> NDArray[np.float64]:
    """Return the working days that holds lasted which are over.

    Parameters
    ----------
    state
        The fold of the log.
    job
        The job as planned.

    Returns
    -------
    array of float
        One for each hold followed by a resume or a finish by the moment of the state; a hold
        of several spans counts once.
    """
    rows = state.log.known_on(state.known_on).rows
    until = np.iinfo(np.int64).max if state.as_of is None else _micros(state.as_of)
    rows = rows.take((rows.at_us <= until) & np.isin(rows.kind, [HOLD, RESUME, FINISH]))
    followed = (
        (rows.kind[:-1] == HOLD) & (rows.kind[1:] != HOLD) & (rows.cell[:-1] == rows.cell[1:])
    )
    _, once = np.unique(rows.event[:-1][followed], return_index=True)
    began, ended = rows.at_us[:-1][followed][once], rows.at_us[1:][followed][once]
    return job.calendar.count(_days(began), _days(ended)).astype(np.float64)


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
    Of the holds that lasted longer than this one so far, what they still lasted from there;
    mixed with an exponential of mean ``USUAL_DAYS``, which does not age.
    """
    left = ended[ended > held] - held
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
