"""The log as sorted arrays, and the history of every cell in it.

A *cell* is what one activity does at one place: at a span, or at a unit for activities that
are finished unit by unit. Events are laid on cells once and sorted there, so that the state as
of any moment is a look-up of the last row of each cell (see ``model.fold``).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.events import KINDS, STATUSES
from model.job import Job
from model.planned import PlanGrid, activity_columns, lay_out_plan, span_rows, unit_rows
from model.units import PRINTED, si_per

Rows = NDArray[np.int64]
Flags = NDArray[np.bool_]

ORDER_AT_SAME_MOMENT = (
    "start", "place", "hold", "check", "note", "resume", "finish", "reopen", "void",
)  # fmt: skip
"""What comes first when two events of a cell carry the same time."""

RANK_OF_KIND = np.array([ORDER_AT_SAME_MOMENT.index(kind) for kind in KINDS], dtype=np.int8)
START, PLACE, FINISH, HOLD, RESUME, REOPEN = (
    KINDS.index(kind) for kind in ("start", "place", "finish", "hold", "resume", "reopen")
)
NOT_STARTED, UNDER_WAY, ON_HOLD, COMPLETE = range(len(STATUSES))
NEVER = np.iinfo(np.int64).max
"""Microseconds of a moment that never comes."""


@dataclass(frozen=True)
class CellRows:
    """Events laid on cells, sorted by cell, then time, then kind, then ``event_id``.

    An event for all spans of a unit stands here once for each of them.

    Parameters
    ----------
    cell
        Place times A plus activity; places are the S spans, then the U units.
    at_us, recorded_us
        When it happened (local) and when the log came to know it (UTC), microseconds.
    kind
        Position in ``KINDS``.
    quantity_si
        Amount placed, 0 for other kinds.
    voided_us
        When the log came to know that it is void; ``NEVER`` where it stands.
    event
        Row of the event in the log.
    """

    cell: Rows
    at_us: Rows
    recorded_us: Rows
    kind: NDArray[np.int8]
    quantity_si: NDArray[np.float64]
    voided_us: Rows
    event: Rows

    def take(self, rows: Rows | Flags) -> CellRows:
        """Return some of the rows."""
        return CellRows(
            self.cell[rows], self.at_us[rows], self.recorded_us[rows], self.kind[rows],
            self.quantity_si[rows], self.voided_us[rows], self.event[rows],
        )  # fmt: skip


@dataclass(frozen=True)
class Histories:
    """What each row of each cell leads to; row numbers are -1 where there is no such row.

    Parameters
    ----------
    rows
        The events that stand, as known on one moment.
    status
        Status after the row, position in ``STATUSES``.
    begun, finished, held, working
        Row of the first start or place; of the finish that counts; of the hold in force; of
        the last start, resume or reopen.
    """

    rows: CellRows
    status: NDArray[np.int8]
    begun: Rows
    finished: Rows
    held: Rows
    working: Rows


class LogArrays:
    """The log of one job as arrays that grow with it.

    Parameters
    ----------
    job
        The job as planned.
    events
        Event frame as a store returns it; may be empty.

    Notes
    -----
    Events of units, spans or activities that the job does not have are left out, as are
    repeats of an ``event_id``. ``extend`` returns a new value and leaves the old one as it is,
    so that readers in other threads are not disturbed.
    """

    def __init__(self, job: Job, events: pd.DataFrame, *, plan: PlanGrid | None = None) -> None:
        self.job = job
        self.plan = plan or lay_out_plan(job)
        self.events = events[~events["event_id"].duplicated().to_numpy(bool)]

    def extend(self, more: pd.DataFrame) -> LogArrays:
        """Return the log with further events in it."""
        if more.empty:
            return self
        return LogArrays(self.job, pd.concat([self.events, more]), plan=self.plan)

    @property
    def shape(self) -> tuple[int, int, int]:
        """Numbers of spans, units and activities."""
        return len(self.job.spans), len(self.job.units), len(self.job.activities)

    @cached_property
    def reasons(self) -> NDArray[np.object_]:
        """Reason of each event of the log."""
        return self.events["reason"].to_numpy(object)

    @cached_property
    def cells(self) -> CellRows:
        """Every event that moves a cell, sorted."""
        return _sorted(_lay_on_cells(self), self.events["event_id"])

    @cached_property
    def present(self) -> Histories:
        """Histories as known now."""
        return histories(self.cells.take(self.cells.voided_us == NEVER))

    def known_on(self, moment: dt.datetime | None) -> Histories:
        """Return the histories as known on a moment (aware); None is now."""
        if moment is None:
            return self.present
        if moment.tzinfo is None:
            raise ValueError("known_on must carry its time zone")
        known_us = micros(moment.astimezone(dt.UTC).replace(tzinfo=None))
        cells = self.cells
        return histories(cells.take((cells.recorded_us <= known_us) & (cells.voided_us > known_us)))


def micros(moment: dt.datetime) -> int:
    """Return a naive datetime as microseconds since 1970, as the arrays hold it."""
    return int(np.datetime64(moment, "us").astype(np.int64))


def histories(rows: CellRows) -> Histories:
    """Follow every cell through its rows.

    A cell is complete from a finish to the next reopen, whatever else is said meanwhile; on
    hold from a hold to the next resume (a finish or reopen ends it too); otherwise under way
    once it was started or something was placed.

    Parameters
    ----------
    rows
        The events that stand, sorted.
    """
    kind, opens = rows.kind, _cell_starts(rows.cell)
    turns = (kind == FINISH) | (kind == REOPEN)
    before = _last(turns, opens, including=False)
    complete_before = (before >= 0) & (kind[before] == FINISH)
    # A second finish, or a reopen of what is not complete, changes nothing.
    turned = turns & ((kind == FINISH) != complete_before)
    last_turn = _last(turned, opens)
    complete = (last_turn >= 0) & (kind[last_turn] == FINISH)
    last_pause = _last(turned | (kind == HOLD) | (kind == RESUME), opens)
    on_hold = (last_pause >= 0) & (kind[last_pause] == HOLD) & ~complete
    started = _first((kind == START) | (kind == PLACE), opens)
    begun = (started >= 0) | (last_turn >= 0)
    status = np.where(begun, UNDER_WAY, NOT_STARTED)
    status = np.where(on_hold, ON_HOLD, status)
    return Histories(
        rows,
        np.where(complete, COMPLETE, status).astype(np.int8),
        started,
        np.where(complete, last_turn, -1),
        np.where(on_hold, last_pause, -1),
        _last((kind == START) | (kind == RESUME) | (turned & (kind == REOPEN)), opens),
    )


def _cell_starts(cell: Rows) -> Rows:
    """Return for each row the first row of its cell."""
    fresh = np.ones(cell.size, dtype=bool)
    fresh[1:] = cell[1:] != cell[:-1]
    return np.maximum.accumulate(np.where(fresh, np.arange(cell.size), 0))


def _last(flags: Flags, opens: Rows, *, including: bool = True) -> Rows:
    """Return for each row the last flagged row of its cell up to it, or -1."""
    rows = np.maximum.accumulate(np.where(flags, np.arange(flags.size), -1))
    if not including:
        rows = np.concatenate([np.array([-1], dtype=rows.dtype), rows])[: flags.size]
    return np.where(rows >= opens, rows, -1)


def _first(flags: Flags, opens: Rows) -> Rows:
    """Return for each row the first flagged row of its cell, if it is not later; or -1."""
    first = flags & (_last(flags, opens, including=False) < 0)
    return _last(first, opens)


def _lay_on_cells(log: LogArrays) -> CellRows:
    """Give every event that moves a cell its row, or one for each span it is meant for."""
    events, n_activities = log.events, log.shape[2]
    kind = pd.Index(KINDS).get_indexer(pd.Index(events["kind"]))
    activity = activity_columns(log.job, events["activity"])
    moves = np.isin(kind, [START, PLACE, FINISH, HOLD, RESUME, REOPEN]) & (activity >= 0)
    event, place, share = _places(log, moves, activity)
    amount = np.where(kind == PLACE, np.nan_to_num(_quantity_si(events)), 0.0)
    recorded_us = utc_micros(events["recorded_at"])
    return CellRows(
        place * n_activities + activity[event],
        events["at"].to_numpy("datetime64[us]").view(np.int64)[event],
        recorded_us[event],
        kind[event].astype(np.int8),
        amount[event] * share,
        _voided_us(events, recorded_us)[event],
        event,
    )


def _places(log: LogArrays, moves: Flags, activity: Rows) -> tuple[Rows, Rows, NDArray[np.float64]]:
    """Return events, the places they are meant for, and each place's share of a quantity."""
    events, plan, n_spans = log.events, log.plan, log.shape[0]
    unit = unit_rows(log.job, events["unit"])
    span = span_rows(log.job, unit, events["span"])
    blank = (events["span"] == "").to_numpy(bool)
    known, by_span = moves & (unit >= 0), plan.by_span[activity]
    whole = np.flatnonzero(known & ~by_span & blank)
    single = np.flatnonzero(known & by_span & (span >= 0))
    spread = np.flatnonzero(known & by_span & blank)
    position, spread_span = plan.each_span(unit[spread])
    spread = spread[position]
    one = np.ones(whole.size + single.size)
    return (
        np.concatenate([whole, single, spread]),
        np.concatenate([n_spans + unit[whole], span[single], spread_span]),
        np.concatenate([one, plan.share[spread_span, activity[spread]]]),
    )


def _sorted(rows: CellRows, event_ids: pd.Series[str]) -> CellRows:
    rank = RANK_OF_KIND[rows.kind]
    rows = rows.take(np.lexsort((rank, rows.at_us, rows.cell)))
    rank = RANK_OF_KIND[rows.kind]
    tied = np.zeros(rank.size, dtype=bool)
    same = (np.diff(rows.cell) == 0) & (np.diff(rows.at_us) == 0) & (np.diff(rank) == 0)
    tied[1:] |= same
    tied[:-1] |= same
    among = np.flatnonzero(tied)
    if among.size:  # Few rows tie, so only those pay for comparing texts.
        ids = event_ids.to_numpy(object)[rows.event[among]].astype(str)
        order = np.arange(rank.size)
        keys = (ids, rank[among], rows.at_us[among], rows.cell[among])
        order[among] = among[np.lexsort(keys)]
        rows = rows.take(order)
    return rows


def utc_micros(recorded_at: pd.Series[pd.Timestamp]) -> Rows:
    """Return aware times as microseconds since 1970 UTC; a missing one is before all others."""
    return np.asarray(recorded_at.dt.tz_convert(None).to_numpy("datetime64[us]").view(np.int64))


def _quantity_si(events: pd.DataFrame) -> NDArray[np.float64]:
    factors = np.array([*(si_per(unit) for unit in PRINTED), np.nan])
    unit = pd.Index(list(PRINTED)).get_indexer(pd.Index(events["measure_unit"]))
    return np.asarray(events["quantity"].to_numpy(float) * factors[unit])


def _voided_us(events: pd.DataFrame, recorded_us: Rows) -> Rows:
    """Return when the log came to know that each event is void."""
    voided = np.full(len(events), NEVER)
    voids = np.flatnonzero((events["kind"] == "void").to_numpy(bool))
    if voids.size:
        target = pd.Index(events["event_id"]).get_indexer(pd.Index(events["voids"].iloc[voids]))
        np.minimum.at(voided, target[target >= 0], recorded_us[voids[target >= 0]])
    return voided
