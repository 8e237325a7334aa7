"""Planned quantities laid on the grid of units, spans and activities.

``Job.planned`` may give a quantity for a whole unit or for each of its spans. Here both are
filled from one another, so that percentages and totals are array arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.job import Job

Floats = NDArray[np.float64]

PLANNED_FROM: tuple[str, ...] = ("", "schedule", "section")
"""Where a planned quantity comes from; codes below are positions here."""


@dataclass(frozen=True)
class PlanGrid:
    """The plan as arrays; U units, S spans, A activities, all in the order of the job.

    Parameters
    ----------
    unit_of_span
        Row of the unit of each span, (S,).
    by_span
        Activities finished span by span, (A,); the others are finished unit by unit.
    unit_si, span_si
        Planned quantity, (U, A) and (S, A), NaN where there is none.
    unit_from, span_from
        Where it comes from, as a position in ``PLANNED_FROM``, (U, A) and (S, A).
    share
        Share of its unit's quantity that a span has, (S, A); sums to 1 over each unit.
    """

    unit_of_span: NDArray[np.int64]
    by_span: NDArray[np.bool_]
    unit_si: Floats
    span_si: Floats
    unit_from: NDArray[np.int8]
    span_from: NDArray[np.int8]
    share: Floats

    @property
    def spans_in_unit(self) -> NDArray[np.int64]:
        """Number of spans of each unit, (U,)."""
        return np.bincount(self.unit_of_span, minlength=len(self.unit_si))

    @property
    def first_span(self) -> NDArray[np.int64]:
        """Row of the first span of each unit, (U,)."""
        return np.searchsorted(self.unit_of_span, np.arange(len(self.unit_si)))

    def each_span(self, units: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Repeat units once for each of their spans.

        Parameters
        ----------
        units
            Rows of units, any number of times, (N,).

        Returns
        -------
        tuple of arrays
            Position in ``units``, and row of the span, both (N × spans,).
        """
        count = self.spans_in_unit[units]
        position = np.repeat(np.arange(units.size), count)
        within = np.arange(position.size) - np.repeat(np.cumsum(count) - count, count)
        return position, self.first_span[units][position] + within

    def roll_up(self, how: np.ufunc, values: NDArray[Any], of_nothing: float) -> NDArray[Any]:
        """Bring values of spans together by unit.

        Parameters
        ----------
        how
            ``numpy.add``, ``numpy.maximum``, …
        values
            One row a span, (S, A).
        of_nothing
            The value of a unit without spans.
        """
        return _roll_up(how, values, self.unit_of_span, len(self.unit_si), of_nothing)


def lay_out_plan(job: Job) -> PlanGrid:
    """Lay a job's planned quantities on its grid.

    Parameters
    ----------
    job
        The job as planned.

    Returns
    -------
    PlanGrid
        A unit without a row of its own gets the sum of its spans; spans without rows get
        their unit's quantity by deck area. A unit of which only some spans are planned has
        the sum of those.
    """
    unit_of_span = unit_rows(job, job.spans["unit"])
    n_units, n_activities = len(job.units), len(job.activities)
    given_unit, from_unit = _given(job, whole_units=True)
    given_span, from_span = _given(job, whole_units=False)
    area_share = _share_of_unit(job.spans["area_m2"].to_numpy(float)[:, None], unit_of_span)

    has_span = ~np.isnan(given_span)
    any_planned = _roll_up(np.logical_or, has_span, unit_of_span, n_units, False)
    spans_sum = _roll_up(np.add, np.where(has_span, given_span, 0.0), unit_of_span, n_units, 0.0)
    # A sum is as good as its weakest part: one computed span makes the unit computed.
    spans_from = _roll_up(np.maximum, from_span, unit_of_span, n_units, 0)
    unit_si = np.where(np.isnan(given_unit) & any_planned, spans_sum, given_unit)
    unit_from = np.where(np.isnan(given_unit), spans_from, from_unit)

    none_given = ~any_planned[unit_of_span]
    span_si = np.where(none_given, unit_si[unit_of_span] * area_share, given_span)
    span_from = np.where(none_given, unit_from[unit_of_span], from_span)
    unplanned = np.isnan(span_si)
    by_plan = _share_of_unit(np.where(unplanned, 0.0, span_si), unit_of_span)
    partly = _roll_up(np.logical_or, unplanned, unit_of_span, n_units, False)[unit_of_span]
    share = np.where(partly, area_share, by_plan)
    return PlanGrid(
        unit_of_span,
        np.array([activity.grain == "span" for activity in job.activities], dtype=bool),
        unit_si.reshape(n_units, n_activities),
        span_si,
        unit_from.astype(np.int8),
        span_from.astype(np.int8),
        share,
    )


def unit_rows(job: Job, units: pd.Series[str]) -> NDArray[np.int64]:
    """Return the row of each unit key in ``job.units``; -1 where it is not known."""
    return np.asarray(pd.Index(job.units["unit"]).get_indexer(pd.Index(units)), dtype=np.int64)


def span_rows(job: Job, unit_row: NDArray[np.int64], spans: pd.Series[str]) -> NDArray[np.int64]:
    """Return the row of each span in ``job.spans``; -1 where the unit or span is not known.

    Parameters
    ----------
    job
        The job as planned.
    unit_row
        Row of the unit, as from ``unit_rows``.
    spans
        Span key within that unit.
    """
    labels = pd.Index(job.spans["span"].unique())
    table = np.full((len(job.units) + 1, len(labels) + 1), -1, dtype=np.int64)
    label_of_span = labels.get_indexer(pd.Index(job.spans["span"]))
    table[unit_rows(job, job.spans["unit"]), label_of_span] = np.arange(len(job.spans))
    # Unknown units and labels are -1 and so read the spare last row and column.
    return np.asarray(table[unit_row, labels.get_indexer(pd.Index(spans))])


def activity_columns(job: Job, activities: pd.Series[str]) -> NDArray[np.int64]:
    """Return the column of each activity in ``job.activities``; -1 where it is not known."""
    keys = pd.Index([activity.key for activity in job.activities])
    return np.asarray(keys.get_indexer(pd.Index(activities)), dtype=np.int64)


def _given(job: Job, *, whole_units: bool) -> tuple[Floats, NDArray[np.int8]]:
    """Lay the rows of ``job.planned`` for whole units, or for spans, on a grid."""
    n_rows = len(job.units) if whole_units else len(job.spans)
    amount = np.full((n_rows, len(job.activities)), np.nan)
    source = np.zeros(amount.shape, dtype=np.int8)
    blank = (job.planned["span"] == "").to_numpy(bool)
    rows = job.planned[blank if whole_units else ~blank]
    place = unit_rows(job, rows["unit"])
    if not whole_units:
        place = span_rows(job, place, rows["span"])
    column = activity_columns(job, rows["activity"])
    known = (place >= 0) & (column >= 0)
    cell = place[known], column[known]
    amount[cell] = rows["planned_si"].to_numpy(float)[known]
    codes = pd.Index(PLANNED_FROM).get_indexer(pd.Index(rows["planned_from"]))
    source[cell] = codes[known].astype(np.int8)
    return amount, source


def _roll_up(
    how: np.ufunc,
    values: NDArray[Any],
    unit_of_span: NDArray[np.int64],
    n_units: int,
    of_nothing: float,
) -> NDArray[Any]:
    rolled = np.full((n_units, values.shape[1]), of_nothing, dtype=values.dtype)
    if len(unit_of_span):
        # Spans are grouped by unit, so each group begins where the unit changes.
        first = np.flatnonzero(np.diff(unit_of_span, prepend=-1))
        rolled[unit_of_span[first]] = how.reduceat(values, first, axis=0)
    return rolled


def _share_of_unit(amount: Floats, unit_of_span: NDArray[np.int64]) -> Floats:
    """Return each span's part of its unit; equal parts where the unit adds up to nothing."""
    n_units = int(unit_of_span.max(initial=-1)) + 1
    total = _roll_up(np.add, amount, unit_of_span, n_units, 0.0)[unit_of_span]
    count = np.bincount(unit_of_span, minlength=n_units)[unit_of_span][:, None]
    share = np.ones(amount.shape) / count
    np.divide(amount, total, out=share, where=total > 0)
    return share
