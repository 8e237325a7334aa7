"""Answers to the questions people ask, in the project's own units, ready to be shown.

Each answer is a frozen dataclass that prints itself for the command line and turns itself
into one JSON-ready dictionary, so that screens, command line and Python agree.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.clock import wall_clock
from model.events import Event
from model.fold import State
from model.job import Job
from model.placed import ByDay, totals
from model.problems import Problem, errors_only
from model.units import PRINTED, from_si, shown_unit

UNIT_COLUMNS = (
    "unit", "activity", "status", "percent", "placed", "planned", "measure_unit",
    "planned_from", "started", "finished", "reason",
)  # fmt: skip
SPAN_COLUMNS = ("unit", "span", *UNIT_COLUMNS[1:])
TOTAL_COLUMNS = (
    "activity", "placed", "planned", "measure_unit", "units_complete", "units_total",
)  # fmt: skip


def plain(value: Any) -> Any:
    """Turn one cell into what JSON can hold: missing values become None, dates ISO text.

    Examples
    --------
    >>> plain(np.float64("nan")), plain(pd.Timestamp("2026-07-01")), plain("")
    (None, '2026-07-01', None)
    """
    if isinstance(value, str):
        return value or None
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, dt.datetime):
        return value.isoformat() if value.time() != dt.time() else value.date().isoformat()
    if isinstance(value, dt.date):
        return value.isoformat()
    return value.item() if isinstance(value, np.generic) else value


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Turn a frame into JSON-ready rows."""
    columns = [[plain(cell) for cell in frame[name].tolist()] for name in frame.columns]
    return [dict(zip(frame.columns, row, strict=True)) for row in zip(*columns, strict=True)]


def in_shown_units(frame: pd.DataFrame, job: Job) -> pd.DataFrame:
    """Add ``placed``, ``planned`` and ``measure_unit`` to a frame of SI quantities.

    Parameters
    ----------
    frame
        Has ``activity``, ``placed_si`` and ``planned_si``.
    job
        Says each activity's measure and the units people read.

    Returns
    -------
    DataFrame
        A copy. Amounts of activities that are not measured are missing.
    """
    unit_of = {a.key: shown_unit(a.measure, job.units_system) for a in job.activities}
    factor_of = {key: from_si(1.0, unit) if unit else np.nan for key, unit in unit_of.items()}
    factor = frame["activity"].map(factor_of).astype("float64")
    return frame.assign(
        placed=frame["placed_si"] * factor,
        planned=frame["planned_si"] * factor,
        measure_unit=frame["activity"].map(unit_of),
    )


@dataclass(frozen=True)
class StatusAnswer:
    """Where every trade stands at a moment, and what is placed against plan.

    Parameters
    ----------
    as_of
        Local moment; what was true then.
    known_on
        Local moment; only what the log knew by then.
    units, spans
        One row per unit (span) and activity, columns ``UNIT_COLUMNS`` (``SPAN_COLUMNS``).
    totals
        One row per activity, columns ``TOTAL_COLUMNS``.
    """

    as_of: dt.datetime
    known_on: dt.datetime
    units: pd.DataFrame
    spans: pd.DataFrame
    totals: pd.DataFrame

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct status --json`` prints."""
        return {
            "as_of": self.as_of.isoformat(timespec="minutes"),
            "known_on": self.known_on.isoformat(timespec="minutes"),
            "units": records(self.units),
            "spans": records(self.spans),
            "totals": records(self.totals),
        }

    def __str__(self) -> str:
        lines = [f"as of {self.as_of:%a %d %b %Y %H:%M}"]
        for row in records(self.totals):
            line = f"{row['activity']:<20} {row['units_complete']:>4} of {row['units_total']} units"
            if row["measure_unit"]:
                line += f"   {row['placed']:>12,.0f}"
                line += "" if row["planned"] is None else f" of {row['planned']:,.0f}"
                line += f" {PRINTED[row['measure_unit']]}"
            lines.append(line)
        return "\n".join(lines)


@dataclass(frozen=True)
class HistoryEntry:
    """One event of a unit as people read it: who, when, how much, and whether it still counts.

    Parameters
    ----------
    event
        The event as recorded.
    recorded_local
        Local moment the log came to know it.
    voided_by
        ``event_id`` of the void that cancelled it; blank while it counts.
    cancels
        The event that a void cancels; None for any other.
    """

    event: Event
    recorded_local: dt.datetime
    voided_by: str = ""
    cancels: Event | None = None


@dataclass(frozen=True)
class RecordAnswer:
    """What became of a batch of events that was accepted.

    Parameters
    ----------
    accepted, repeated
        ``event_id`` of the events now in the log, and of those it already held.
    warnings
        What the trade allows but someone should look at.
    """

    accepted: tuple[str, ...]
    repeated: tuple[str, ...]
    warnings: tuple[Problem, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct record --json`` prints."""
        return {
            "accepted": list(self.accepted),
            "repeated": list(self.repeated),
            "warnings": [problem_record(problem) for problem in self.warnings],
        }


@dataclass(frozen=True)
class CheckAnswer:
    """Everything found wrong with a project folder."""

    problems: tuple[Problem, ...]

    @property
    def ok(self) -> bool:
        """True when nothing stops the work."""
        return not errors_only(self.problems)

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct check --json`` prints."""
        return {"ok": self.ok, "problems": [problem_record(p) for p in self.problems]}


def problem_record(problem: Problem) -> dict[str, Any]:
    """Return a problem as one JSON-ready row."""
    return {
        "file": problem.file,
        "row": problem.row,
        "field": problem.field,
        "message": problem.message,
        "fix": problem.fix,
        "severity": problem.severity,
    }


def status_answer(
    state: State, as_of: dt.datetime, known_on: dt.datetime, activity: str | None = None
) -> StatusAnswer:
    """Turn a folded state into what people read.

    Parameters
    ----------
    state
        The fold of the log.
    as_of, known_on
        The two moments, local.
    activity
        Only this one; all of them without it.
    """
    job = state.job

    def shown(frame: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
        if activity is not None:
            frame = frame[frame["activity"] == activity]
        return in_shown_units(frame, job)[list(columns)].reset_index(drop=True)

    return StatusAnswer(
        as_of=as_of,
        known_on=known_on,
        units=shown(state.units, UNIT_COLUMNS),
        spans=shown(state.spans, SPAN_COLUMNS),
        totals=shown(totals(state), TOTAL_COLUMNS),
    )


def history_of(events: Sequence[Event], zone: ZoneInfo) -> tuple[HistoryEntry, ...]:
    """Turn the events of one unit into entries, latest first.

    Parameters
    ----------
    events
        Every event of the unit, as a store returns them.
    zone
        The site's time zone.
    """
    voided_by = {event.voids: event.event_id for event in events if event.voids}
    by_id = {event.event_id: event for event in events}
    entries = [
        HistoryEntry(
            event,
            wall_clock(event.recorded_at, zone) if event.recorded_at else event.at,
            voided_by.get(event.event_id, ""),
            by_id.get(event.voids),
        )
        for event in events
    ]
    return tuple(sorted(entries, key=lambda e: (e.event.at, e.event.seq or 0), reverse=True))


@dataclass(frozen=True)
class DaysAnswer:
    """What was placed and finished up to the end of each day; D days, A activities.

    Parameters
    ----------
    days
        Dates, datetime64, one a day, (D,).
    placed
        Cumulative quantity in shown units, (D, A); NaN where nothing is measured.
    planned
        Planned quantity in shown units, (A,); NaN where there is none.
    measure_unit
        Unit of each activity; blank where nothing is measured.
    units_complete
        Number of units complete, (D, A).
    units_total
        Number of units.
    """

    days: NDArray[np.datetime64]
    placed: NDArray[np.float64]
    planned: NDArray[np.float64]
    measure_unit: tuple[str, ...]
    units_complete: NDArray[np.int64]
    units_total: int

    @property
    def share(self) -> NDArray[np.float64]:
        """Placed over planned, (D, A); NaN where nothing is planned."""
        planned = np.where(self.planned > 0, self.planned, np.nan)
        return np.asarray(self.placed / planned)


def days_answer(by_day: ByDay, planned_si: NDArray[np.float64], job: Job) -> DaysAnswer:
    """Turn placed quantities by day into shown units.

    Parameters
    ----------
    by_day
        From ``model.placed.by_day``.
    planned_si
        Planned totals by activity, SI, (A,).
    job
        Says each activity's measure and the units people read.
    """
    units = tuple(shown_unit(a.measure, job.units_system) for a in job.activities)
    factor = np.array([from_si(1.0, unit) if unit else np.nan for unit in units])
    return DaysAnswer(
        days=by_day.days,
        placed=by_day.placed_si * factor,
        planned=planned_si * factor,
        measure_unit=units,
        units_complete=by_day.units_complete,
        units_total=len(job.units),
    )
