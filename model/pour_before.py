"""Where everything stands that must be finished before a pour.

This speaks of the order of trades alone. Whether forms and falsework may be loaded is decided
by the engineer of record.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from model.activities import Activity
from model.fold import MICROS_PER_DAY, State
from model.job import Job
from model.log_arrays import PLACE, micros
from model.pour_plan import Before
from model.shift_totals import NIGHT_US

Row = Any
"""One row of ``state.units`` or ``state.spans``."""


def standing(state: State, unit: str, span: str, activity: Activity) -> Row:
    """Return the row of ``state.units``, or of ``state.spans`` where a span is named."""
    frame = state.spans if span else state.units
    chosen = (frame["unit"] == unit) & (frame["activity"] == activity.key)
    if span:
        chosen &= frame["span"] == span
    return frame[chosen].iloc[0]


def place_of(job: Job, unit: str, span: str) -> int:
    """Return the row of a unit in ``job.units``, or of a span in ``job.spans``."""
    places = job.spans if span else job.units
    chosen = places["unit"] == unit
    if span:
        chosen &= places["span"] == span
    return int(np.flatnonzero(chosen.to_numpy())[0])


def before_pour(state: State, unit: str, span: str, activity: Activity) -> tuple[Before, ...]:
    """Say where everything stands that must be finished first.

    Parameters
    ----------
    state
        The fold of the log.
    unit, span
        Where; a blank span is the whole unit.
    activity
        The pour.

    Returns
    -------
    tuple of Before
        In working order: the activities it comes after and, where one of those is not
        finished, also what that one comes after, and so on.
    """
    wanted, found = set(activity.after), []
    for earlier in reversed(state.job.activities):
        if earlier.key not in wanted:
            continue
        one = _stands(state, unit, span, earlier)
        if not one.finished:  # then what it waits for matters too
            wanted |= set(earlier.after)
        found.append(one)
    return tuple(reversed(found))


def not_before(job: Job, activity: Activity, before: Sequence[Before]) -> dt.date | None:
    """Return the first day that the days to wait leave, as the log judges a start.

    Parameters
    ----------
    job
        The job as planned.
    activity
        The pour.
    before
        As ``before_pour`` returns it.

    Returns
    -------
    date or None
        None where there is nothing to wait for, or it is not known yet from when.
    """
    direct = [one for one in before if one.activity in activity.after]
    ends = [one.since.date() for one in direct if one.finished and one.since is not None]
    if not activity.lag_days or not ends or len(ends) < len(direct):
        return None
    day = job.calendar.add(np.datetime64(max(ends), "D"), activity.lag_days)
    return dt.date.fromisoformat(str(day))


def units_ahead(state: State, unit: str, activity: Activity) -> tuple[str, ...]:
    """Return the units that come before one on its heading and are not poured, in their order."""
    own = next((heading.units for heading in state.job.headings if unit in heading.units), (unit,))
    units = state.units
    done = (units["activity"] == activity.key) & (units["status"] == "complete")
    poured = set(units.loc[done, "unit"])
    return tuple(one for one in own[: own.index(unit)] if one not in poured)


def placed_lately(state: State, unit: str, span: str, activity: Activity, now: dt.datetime) -> bool:
    """Tell whether concrete was placed in the shift that runs at a moment (local)."""
    log = state.log
    rows = log.known_on(state.known_on).rows
    place, column = np.divmod(rows.cell, log.shape[2])
    placing = (rows.kind == PLACE) & (column == state.job.activities.index(activity))
    placing &= np.isin(place, _places(state, unit, span, activity)) & (rows.at_us <= micros(now))
    last_us = rows.at_us[placing].max(initial=0)
    return bool(_shift(int(last_us)) == _shift(micros(now)))


def _shift(moment_us: int) -> int:
    """Return the day whose shift runs at a moment, if it runs on past midnight."""
    return (moment_us - NIGHT_US) // MICROS_PER_DAY


def _places(state: State, unit: str, span: str, activity: Activity) -> Sequence[int]:
    """Return the places of the log's cells that an activity has at a unit or span."""
    if activity.grain == "unit":
        return [state.log.shape[0] + place_of(state.job, unit, "")]
    spans = (span,) if span else state.job.spans_of_unit[unit]
    return [place_of(state.job, unit, one) for one in spans]


def _stands(state: State, unit: str, span: str, earlier: Activity) -> Before:
    by_span = earlier.grain == "span"
    own_span = span if by_span else ""
    row = standing(state, unit, own_span, earlier)
    since = row["finished_at"] if row["status"] == "complete" else row["started_at"]
    if row["status"] == "on_hold":
        since = _held_since(state, unit, own_span, earlier)
    left = _spans_left(state, unit, earlier) if by_span and not span else ()
    moment = None if pd.isna(since) else pd.Timestamp(since).to_pydatetime()
    return Before(earlier.key, earlier.name, row["status"], moment, row["reason"], left)


def _held_since(state: State, unit: str, span: str, activity: Activity) -> np.datetime64:
    held_us = (state.span_standing if span else state.unit_standing).held_us
    cell = place_of(state.job, unit, span), state.job.activities.index(activity)
    return np.datetime64(int(held_us[cell]), "us")


def _spans_left(state: State, unit: str, activity: Activity) -> tuple[str, ...]:
    spans = state.spans
    of_unit = (spans["unit"] == unit) & (spans["activity"] == activity.key)
    return tuple(spans.loc[of_unit & (spans["status"] != "complete"), "span"])
