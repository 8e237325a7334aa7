"""From the log to the state of every span and unit, as of a moment, as known on a moment.

Two clocks. *As of* asks what was true then, by the time things happened (``at``); *as known
on* uses only what the log had been told by then (``recorded_at``), so that last week's report
can be made again exactly. A voided event is as if it had never been, from the moment its void
was recorded; the ``at`` of the void plays no part.

The state does not depend on the order in which events arrive, and a repeated event changes
nothing. What a state is made of:

============== ==================================================================
not_started    nothing was begun
under_way      begun, by a ``start`` or by the first ``place``
on_hold        from a ``hold`` to the next ``resume``
complete       from a ``finish`` to the next ``reopen``; a late ``place`` still counts
============== ==================================================================
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.events import STATUSES
from model.job import Job
from model.log_arrays import (
    COMPLETE,
    NEVER,
    NOT_STARTED,
    ON_HOLD,
    PLACE,
    UNDER_WAY,
    Histories,
    LogArrays,
    micros,
)
from model.planned import PLANNED_FROM, PlanGrid

NIGHT_ENDS_HOUR = 6
"""A finish before this hour may belong to the shift of the day before."""

PERCENT_BEFORE_FINISH = 99.0
MICROS_PER_DAY = 86_400_000_000
NO_TIME = np.iinfo(np.int64).min
"""How NumPy holds a missing time."""


@dataclass(frozen=True)
class Standing:
    """Where places (spans or units) stand in each activity; arrays of places × activities.

    Parameters
    ----------
    status
        Position in ``STATUSES``.
    placed_si, planned_si
        Quantities in the SI unit of the measure; planned is NaN where there is none.
    percent
        0…100.
    started_us, finished_us
        First start or place, and finish, local microseconds; ``NO_TIME`` where there is none.
    finished_day
        Day of work the finish belongs to, days since 1970; ``NO_TIME`` where there is none.
    held_us, held_by
        When the hold in force was put on, and its row in the log; ``NO_TIME`` and -1 where
        there is none.
    """

    status: NDArray[np.int8]
    placed_si: NDArray[np.float64]
    planned_si: NDArray[np.float64]
    percent: NDArray[np.float64]
    started_us: NDArray[np.int64]
    finished_us: NDArray[np.int64]
    finished_day: NDArray[np.int64]
    held_us: NDArray[np.int64]
    held_by: NDArray[np.int64]

    def map(self, change: Callable[[NDArray[Any]], NDArray[Any]]) -> Standing:
        """Return the same with every array changed alike."""
        return Standing(**{field.name: change(getattr(self, field.name)) for field in fields(self)})

    def take(self, places: slice | NDArray[np.int64]) -> Standing:
        """Return some of the places."""
        return self.map(lambda array: array[places])

    @staticmethod
    def choose(by_span: NDArray[np.bool_], one: Standing, other: Standing) -> Standing:
        """Take the activities that go span by span from ``one``, the rest from ``other``."""
        return Standing(
            **{
                field.name: np.where(by_span, getattr(one, field.name), getattr(other, field.name))
                for field in fields(one)
            }
        )


@dataclass(frozen=True)
class State:
    """The state of a job as of a moment, as known on a moment.

    Parameters
    ----------
    log
        The log it was folded from.
    as_of, known_on
        The two moments; None is now.
    unit_standing, span_standing
        Arrays in the order of ``job.units`` and ``job.spans``, by ``job.activities``.
    """

    log: LogArrays
    as_of: dt.datetime | None
    known_on: dt.datetime | None
    unit_standing: Standing
    span_standing: Standing

    @property
    def job(self) -> Job:
        """The job as planned."""
        return self.log.job

    @property
    def status_codes(self) -> NDArray[np.int8]:
        """Status of spans as positions in ``STATUSES``, (S, A)."""
        return self.span_standing.status

    @property
    def unit_status_codes(self) -> NDArray[np.int8]:
        """Status of units as positions in ``STATUSES``, (U, A)."""
        return self.unit_standing.status

    @cached_property
    def units(self) -> pd.DataFrame:
        """One row per unit and activity.

        Columns ``unit``, ``activity``, ``status``, ``percent``, ``placed_si``,
        ``planned_si``, ``planned_from``, ``started`` and ``finished`` (days of work, at
        midnight), ``reason`` (of the hold), ``started_at`` and ``finished_at`` (to the
        minute).
        """
        places = {"unit": self.job.units["unit"]}
        return self._frame(places, self.unit_standing, self.log.plan.unit_from)

    @cached_property
    def spans(self) -> pd.DataFrame:
        """One row per span and activity: the columns of ``units``, and ``span``."""
        places = {name: self.job.spans[name] for name in ("unit", "span")}
        return self._frame(places, self.span_standing, self.log.plan.span_from)

    def _frame(
        self, places: dict[str, pd.Series[Any]], standing: Standing, planned_from: NDArray[np.int8]
    ) -> pd.DataFrame:
        keys = [activity.key for activity in self.job.activities]
        n_places = len(standing.status)
        held = standing.held_by.ravel()
        reason = np.full(held.size, "", dtype=object)
        reason[held >= 0] = self.log.reasons[held[held >= 0]]
        started_day = _day_of(standing.started_us)
        columns: dict[str, Any] = {
            name: series.repeat(len(keys)).to_numpy() for name, series in places.items()
        }
        columns |= {
            "activity": _texts(keys, np.tile(np.arange(len(keys)), n_places)),
            "status": _texts(STATUSES, standing.status),
            "percent": standing.percent.ravel(),
            "placed_si": standing.placed_si.ravel(),
            "planned_si": standing.planned_si.ravel(),
            "planned_from": _texts(PLANNED_FROM, planned_from),
            "started": _dates(started_day),
            "finished": _dates(standing.finished_day),
            "reason": pd.Series(reason, dtype="str"),
            "started_at": standing.started_us.ravel().view("datetime64[us]"),
            "finished_at": standing.finished_us.ravel().view("datetime64[us]"),
        }
        return pd.DataFrame(columns)


def fold(
    events: pd.DataFrame | LogArrays,
    job: Job,
    *,
    as_of: dt.datetime | None = None,
    known_on: dt.datetime | None = None,
) -> State:
    """Fold a log to the state of every span and unit.

    Parameters
    ----------
    events
        Event frame as a store returns it, or the ``LogArrays`` of the same job, which make
        the next fold of the same log a matter of milliseconds.
    job
        The job as planned.
    as_of
        Only what had happened by then (local, naive, inclusive); None is everything.
    known_on
        Only what the log had been told by then (aware, inclusive); None is everything.

    Returns
    -------
    State

    Notes
    -----
    An event with a blank span of an activity that goes span by span is meant for all spans of
    the unit; a quantity is then divided among them as planned, or by deck area.

    A unit is complete when all its spans are, on hold when one of them is, under way when one
    was begun. ``percent`` is placed over planned, at most 99 until the finish, then 100;
    without a plan it goes by spans finished.

    The day of a finish is its local date; but a finish before 06:00 whose shift (the last
    start, resume or reopen, or else the first place) began on an earlier date belongs to the
    day before.

    Examples
    --------
    ::

        state = fold(store.frame(), job, as_of=dt.datetime(2026, 7, 1, 18))
        state.units.query("activity == 'deck_pour' and status == 'complete'")
    """
    log = events if isinstance(events, LogArrays) else LogArrays(job, events)
    cells = _cells_as_of(log, log.known_on(known_on), as_of)
    n_spans = log.shape[0]
    by_place = cells.take(slice(None, n_spans)), cells.take(slice(n_spans, None))
    spans = _spans(*by_place, log.plan)
    return State(log, as_of, known_on, _units(*by_place, log.plan), spans)


def _cells_as_of(log: LogArrays, known: Histories, as_of: dt.datetime | None) -> Standing:
    """Return every cell as of a moment; places are the spans, then the units."""
    n_spans, n_units, n_activities = log.shape
    n_cells = (n_spans + n_units) * n_activities
    rows, cell = known.rows, known.rows.cell
    happened = np.arange(cell.size)
    if as_of is not None:
        happened = np.flatnonzero(rows.at_us <= micros(as_of))
    last = np.full(n_cells, -1)
    last[cell[happened]] = happened  # Rows rise within a cell, so the last one stays.
    placing = happened[rows.kind[happened] == PLACE]
    placed = np.bincount(cell[placing], rows.quantity_si[placing], n_cells).astype(float)
    finished = _at_row(known.finished, last, -1)
    standing = Standing(
        _at_row(known.status, last, NOT_STARTED),
        placed,
        np.full(n_cells, np.nan),
        np.zeros(n_cells),
        _at_row(rows.at_us, _at_row(known.begun, last, -1), NO_TIME),
        _at_row(rows.at_us, finished, NO_TIME),
        _day_of_work(known, finished),
        _at_row(rows.at_us, _at_row(known.held, last, -1), NO_TIME),
        _at_row(rows.event, _at_row(known.held, last, -1), -1),
    )
    return standing.map(lambda array: array.reshape(-1, n_activities))


def _day_of_work(known: Histories, finished: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the day each finish belongs to, giving a night's work to the day it began."""
    at_us = known.rows.at_us
    shift = _at_row(known.working, finished, -1)
    shift = np.where(shift >= 0, shift, _at_row(known.begun, finished, -1))
    ended, began = _at_row(at_us, finished, NO_TIME), _at_row(at_us, shift, NEVER)
    day = _day_of(ended)
    early = (ended - day * MICROS_PER_DAY) < NIGHT_ENDS_HOUR * MICROS_PER_DAY // 24
    return np.where((finished >= 0) & early & (_day_of(began) < day), day - 1, day)


def _spans(spans: Standing, units: Standing, plan: PlanGrid) -> Standing:
    """Give each span its own standing, or that of its unit where the unit is what counts."""
    of_unit = units.take(plan.unit_of_span)
    merged = Standing.choose(plan.by_span, spans, of_unit)
    placed = np.where(plan.by_span, spans.placed_si, of_unit.placed_si * plan.share)
    percent = np.where(
        plan.by_span,
        _percent(spans.status, placed, plan.span_si, 0.0),
        _percent(of_unit.status, of_unit.placed_si, plan.unit_si[plan.unit_of_span], 0.0),
    )
    return replace(merged, placed_si=placed, planned_si=plan.span_si, percent=percent)


def _units(spans: Standing, units: Standing, plan: PlanGrid) -> Standing:
    """Give each unit its own standing, or what its spans add up to."""
    finished_share = plan.roll_up(np.add, (spans.status == COMPLETE) * 1.0, 0.0)
    finished_share /= np.maximum(plan.spans_in_unit, 1)[:, None]
    status = _status_of_spans(spans.status, plan)
    complete = status == COMPLETE
    held_us = plan.roll_up(np.maximum, spans.held_us, NO_TIME)
    rolled = Standing(
        status,
        plan.roll_up(np.add, spans.placed_si, 0.0),
        plan.unit_si,
        np.zeros(status.shape),
        _missing(plan.roll_up(np.minimum, _missing(spans.started_us, NEVER), NEVER), NO_TIME),
        np.where(complete, plan.roll_up(np.maximum, spans.finished_us, NO_TIME), NO_TIME),
        np.where(complete, plan.roll_up(np.maximum, spans.finished_day, NO_TIME), NO_TIME),
        held_us,
        _latest_hold(spans, held_us, plan),
    )
    merged = Standing.choose(plan.by_span, rolled, units)
    by_spans = np.where(plan.by_span, 100.0 * finished_share, 0.0)
    percent = _percent(merged.status, merged.placed_si, plan.unit_si, by_spans)
    return replace(merged, planned_si=plan.unit_si, percent=percent)


def _status_of_spans(status: NDArray[np.int8], plan: PlanGrid) -> NDArray[np.int8]:
    complete = plan.roll_up(np.logical_and, status == COMPLETE, False)
    on_hold = plan.roll_up(np.logical_or, status == ON_HOLD, False)
    begun = plan.roll_up(np.logical_or, status != NOT_STARTED, False)
    return np.select(
        [complete, on_hold, begun], [COMPLETE, ON_HOLD, UNDER_WAY], NOT_STARTED
    ).astype(np.int8)


def _latest_hold(
    spans: Standing, latest_us: NDArray[np.int64], plan: PlanGrid
) -> NDArray[np.int64]:
    """Return the event of each unit's latest hold; of two at once, the lower span's."""
    latest = (spans.held_by >= 0) & (spans.held_us == latest_us[plan.unit_of_span])
    span, activity = (found[::-1] for found in np.nonzero(latest))
    held_by = np.full(latest_us.shape, -1)
    held_by[plan.unit_of_span[span], activity] = spans.held_by[span, activity]
    return held_by


def _percent(
    status: NDArray[np.int8],
    placed_si: NDArray[np.float64],
    planned_si: NDArray[np.float64],
    without_plan: NDArray[np.float64] | float,
) -> NDArray[np.float64]:
    ratio = np.full(placed_si.shape, np.nan)
    np.divide(100.0 * placed_si, planned_si, out=ratio, where=planned_si > 0)
    begun = np.where(np.isnan(ratio), without_plan, ratio)
    return np.where(status == COMPLETE, 100.0, np.minimum(begun, PERCENT_BEFORE_FINISH))


def _at_row(values: NDArray[Any], rows: NDArray[np.int64], missing: int) -> NDArray[Any]:
    """Return the values at some rows, and ``missing`` where the row is -1."""
    if values.size == 0:
        return np.full(rows.shape, missing, dtype=values.dtype)
    return np.where(rows >= 0, values[rows], np.asarray(missing, dtype=values.dtype))


def _missing(times: NDArray[np.int64], stand_in: int) -> NDArray[np.int64]:
    """Swap one mark of a missing time for another."""
    other = NO_TIME if stand_in == NEVER else NEVER
    return np.where(times == other, stand_in, times)


def _day_of(moment_us: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.where(moment_us == NO_TIME, NO_TIME, moment_us // MICROS_PER_DAY)


def _dates(day: NDArray[np.int64]) -> NDArray[np.datetime64]:
    return day.ravel().view("datetime64[D]").astype("datetime64[us]")


def _texts(words: Sequence[str], codes: NDArray[Any]) -> pd.Series[str]:
    return pd.Series(np.array(words, dtype=object)[codes.ravel()], dtype="str")
