"""A log of any number of events for the very long viaduct, made with arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from demo_project.large import SHIFTS_A_UNIT
from model.events import EVENT_COLUMNS
from model.job import Job
from model.planned import lay_out_plan, unit_rows
from model.units import shown_unit, si_per

Ints = NDArray[np.int64]
Moments = NDArray[np.datetime64]

MICROSECONDS_A_SHIFT = int(8.5 * 3600 * 1e6)
HELD_EVERY = 37
"""Every so many cells were held once, between 2 and 4 per cent of their time."""

_START, _PLACE, _FINISH, _HOLD, _RESUME, _CHECK = range(6)
_KINDS = np.array(["start", "place", "finish", "hold", "resume", "check"], dtype=object)


@dataclass(frozen=True)
class _Cells:
    """Every unit or span with an activity begun: rows of the job, first and last moment.

    ``span_row`` is −1 for a whole unit; ``planned`` is in the log's unit, 0 where nothing is
    counted; ``complete`` tells a cell that ends before the log does.
    """

    unit_row: Ints
    span_row: Ints
    activity: Ints
    begin: Moments
    end: Moments
    planned: NDArray[np.float64]
    complete: NDArray[np.bool_]


def large_events(
    job: Job, n_events: int = 100_000, *, progress: float = 0.6, seed: int = 5
) -> pd.DataFrame:
    """Return exactly ``n_events`` events as a store would return them.

    Parameters
    ----------
    job
        From ``large_job``.
    n_events
        More than the starts and finishes alone.
    progress
        Part of the time from first to last unit after which the log ends.
    seed
        Of identifiers and quantities.

    Returns
    -------
    DataFrame
        Columns ``EVENT_COLUMNS``, in the order of ``seq``.

    Raises
    ------
    ValueError
        When ``n_events`` is too few for the starts and finishes of the work begun.
    """
    rng = np.random.default_rng(seed)
    cells = _begun_cells(job, progress)
    counts = _places_per_cell(cells, n_events)
    cell, kind, at, quantity = _moments(cells, counts, rng)
    order = np.lexsort((kind, at))
    return _frame(job, cells, cell[order], kind[order], at[order], quantity[order], rng)


def _begun_cells(job: Job, progress: float) -> _Cells:
    """March every heading without a gap and keep what is begun when the log ends."""
    unit_of_span = unit_rows(job, job.spans["unit"])
    place_in_heading = np.zeros(len(job.units), dtype=np.int64)
    for heading in job.headings:
        rows = unit_rows(job, pd.Series(heading.units))
        place_in_heading[rows] = np.arange(len(rows))
    ends_at = progress * SHIFTS_A_UNIT * (place_in_heading.max() + len(job.activities))
    log_ends = _clock(job, np.array([ends_at]))[0]
    plan = lay_out_plan(job)
    parts = []
    for column, activity in enumerate(job.activities):
        by_span = activity.grain == "span"
        unit_row = unit_of_span if by_span else np.arange(len(job.units))
        span_row = np.arange(len(job.spans)) if by_span else np.full(len(job.units), -1)
        first, share = _order_in_unit(unit_row)
        shift = SHIFTS_A_UNIT * (place_in_heading[unit_row] + column + first)
        begin = _clock(job, shift)
        end = _clock(job, shift + SHIFTS_A_UNIT * share - 0.1)
        if activity.calendar_days:
            begin = _clock(job, shift - 0.09)
            end = begin + np.timedelta64(int(activity.planned_cycle_days * 24 + 1), "h")
        planned = plan.span_si[:, column] if by_span else plan.unit_si[:, column]
        counted = shown_unit(activity.measure, job.units_system)
        in_unit = np.nan_to_num(planned) / (si_per(counted) if counted else 1.0)
        row = np.full(len(unit_row), column)
        parts.append((unit_row, span_row, row, begin, end, in_unit))
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    begun = columns[3] < log_ends
    unit_row, span_row, activity_row, begin, end, in_unit = (c[begun] for c in columns)
    complete = end < log_ends
    end = np.where(complete, end, log_ends)
    return _Cells(unit_row, span_row, activity_row, begin, end, in_unit, complete)


def _order_in_unit(unit_row: Ints) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where in its unit's time each row begins, and its share of it (0…1)."""
    series = pd.Series(unit_row)
    share = 1.0 / series.groupby(series).transform("size").to_numpy(float)
    return series.groupby(series).cumcount().to_numpy(float) * share, share


def _clock(job: Job, shift: NDArray[np.float64]) -> Moments:
    """Return the moment at which so many shifts, each 07:00 to 15:30, are worked."""
    whole = np.floor(shift)
    day = job.calendar.date_of(whole.astype(np.int64)).astype("datetime64[us]")
    into_shift = np.round((shift - whole) * MICROSECONDS_A_SHIFT / 60e6) * 60e6
    return np.asarray(
        day + np.timedelta64(7, "h") + into_shift.astype(np.int64).astype("timedelta64[us]")
    )


def _places_per_cell(cells: _Cells, n_events: int) -> Ints:
    """Share out the quantities so that the log has exactly so many events."""
    n_cells = len(cells.begin)
    held = -(-n_cells // HELD_EVERY)
    left = n_events - n_cells - int(cells.complete.sum()) - 2 * held
    if left < 0:
        raise ValueError(f"{n_events} events are too few: {n_events - left} are needed at least")
    return np.asarray(left // n_cells + (np.arange(n_cells) < left % n_cells))


def _moments(
    cells: _Cells, counts: Ints, rng: np.random.Generator
) -> tuple[Ints, Ints, Moments, NDArray[np.float64]]:
    """Return cell, kind, moment and quantity (NaN = none) of every event."""
    every = np.arange(len(counts))
    placing = np.repeat(every, counts)
    turn = np.arange(placing.size) - np.repeat(np.cumsum(counts) - counts, counts)
    place_kind = np.where(cells.planned[placing] > 0, _PLACE, _CHECK)
    held, done = every[::HELD_EVERY], every[cells.complete]
    cell = np.concatenate([every, placing, done, held, held])
    kind = np.concatenate(
        [
            np.full(every.size, _START),
            place_kind,
            np.full(done.size, _FINISH),
            np.full(held.size, _HOLD),
            np.full(held.size, _RESUME),
        ]
    )
    part = np.concatenate(
        [
            np.zeros(every.size),
            0.05 + 0.94 * (turn + 1) / (counts[placing] + 1),
            np.ones(done.size),
            np.full(held.size, 0.02),
            np.full(held.size, 0.04),
        ]
    )
    lasts = (cells.end - cells.begin)[cell].astype(np.int64)
    at = cells.begin[cell] + (part * lasts).astype(np.int64).astype("timedelta64[us]")
    spread = rng.uniform(0.97, 1.03, placing.size)
    placed = np.round(cells.planned[placing] / counts[placing] * spread, 1)
    quantity = np.full(cell.size, np.nan)
    quantity[every.size : every.size + placing.size] = np.where(
        place_kind == _PLACE, placed, np.nan
    )
    return cell, kind, at, quantity


def _frame(
    job: Job,
    cells: _Cells,
    cell: Ints,
    kind: Ints,
    at: Moments,
    quantity: NDArray[np.float64],
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return the events as a store's frame."""
    activity, span_row = cells.activity[cell], cells.span_row[cell]
    spans = np.append(job.spans["span"].to_numpy(object), "")
    keys = np.array([a.key for a in job.activities], dtype=object)
    counted = [shown_unit(a.measure, job.units_system) for a in job.activities]
    local = pd.Series(at).dt.tz_localize(str(job.timezone), ambiguous=True, nonexistent="NaT")
    recorded = (local + pd.Timedelta(minutes=20)).dt.tz_convert("UTC")
    columns = {
        "event_id": _identifiers(len(cell), rng),
        "seq": np.arange(1, len(cell) + 1, dtype=np.int64),
        "recorded_at": recorded.dt.as_unit("us"),
        "at": at,
        "by": np.array(["Foreman 1", "Foreman 2", "Foreman 3"], dtype=object)[activity % 3],
        "unit": job.units["unit"].to_numpy(object)[cells.unit_row[cell]],
        "span": spans[span_row],
        "activity": keys[activity],
        "kind": _KINDS[kind],
        "quantity": quantity,
        "measure_unit": np.where(np.isnan(quantity), "", np.array(counted, dtype=object)[activity]),
        "reason": np.where(kind == _HOLD, "Waiting for material", ""),
        "note": "",
        "voids": "",
    }
    frame = pd.DataFrame(columns, columns=list(EVENT_COLUMNS))
    texts = [c for c in EVENT_COLUMNS if c not in ("seq", "recorded_at", "at", "quantity")]
    return frame.astype(dict.fromkeys(texts, "str"))


def _identifiers(count: int, rng: np.random.Generator) -> list[str]:
    """Return identifiers in the form of a random UUID (version 4)."""
    text = rng.bytes(16 * count).hex()
    found = (text[i : i + 32] for i in range(0, len(text), 32))
    return [f"{h[:8]}-{h[8:12]}-4{h[13:16]}-a{h[17:20]}-{h[20:]}" for h in found]
