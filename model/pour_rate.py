"""How fast concrete was placed lately: the pours of the log that tell their time.

What is told of a pour says how much was placed by then, so between the first and the last time
concrete was told of in a shift, all but the first amount was placed: those are the hours a rate
is taken from. Where concrete was told of once only, the pour runs from the start (or resume) of
that shift to its finish.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from model.activities import Activity
from model.clock import hours_between
from model.cycle import RECENT_UNITS
from model.fold import State
from model.log_arrays import FINISH, PLACE, RESUME, START, micros
from model.shift_totals import shift_days

SHORTEST_HOURS = 0.5
"""A shorter time says little: entries are told to the next five minutes or so (our choice)."""

LEAST_TIMED_SHARE = 0.5
"""At least so much of a pour must be placed within the hours that are told (our choice)."""

FEWEST_POURS = 3
"""Fewer give no rate to plan by (our choice, no source)."""

LOW, HIGH = 0.1, 0.9
"""Shares of recent pours that were slower than the low and the high rate."""

SEVERAL_SHIFTS = "placed in more than one shift"
NOT_TIMED = "told without the time it took"
TOO_SHORT = "told to have taken less than half an hour"

Place = tuple[str, str]


@dataclass(frozen=True, slots=True)
class PastPour:
    """One unit (or span) whose concrete was placed within one shift.

    Parameters
    ----------
    unit, span
        Where; a blank span is the whole unit.
    heading
        Key of its heading; blank where the job has none for it.
    day
        The day the shift began.
    placed_m3
        All that was placed [m³].
    hours, timed_m3
        How long was told of it [h], and what was placed within those hours [m³]: all of it, or
        all but what the first entry told of.
    """

    unit: str
    span: str
    heading: str
    day: dt.date
    placed_m3: float
    hours: float
    timed_m3: float

    @property
    def rate_m3_per_h(self) -> float:
        """Concrete placed per hour [m³/h].

        Examples
        --------
        >>> PastPour("E01", "", "east", dt.date(2026, 6, 4), 240.0, 3.0, 180.0).rate_m3_per_h
        60.0
        """
        return self.timed_m3 / self.hours


@dataclass(frozen=True, slots=True)
class UntimedPour:
    """A unit or span that is poured and gives no rate, and why."""

    unit: str
    span: str
    day: dt.date
    placed_m3: float
    why: str


@dataclass(frozen=True, slots=True)
class PastPours:
    """The finished pours of an activity, oldest first.

    Parameters
    ----------
    timed
        Those that give a rate.
    untimed
        Those that do not.
    """

    timed: tuple[PastPour, ...] = ()
    untimed: tuple[UntimedPour, ...] = ()

    def recent(self, heading: str = "", units: int = RECENT_UNITS) -> tuple[PastPour, ...]:
        """Return the last pours of a heading, or of all headings, oldest first."""
        own = [pour for pour in self.timed if not heading or pour.heading == heading]
        return tuple(own[-units:])


@dataclass(frozen=True, slots=True)
class RateBand:
    """What recent pours came to: slow, middling and quick ones [m³/h]."""

    low_m3_per_h: float
    median_m3_per_h: float
    high_m3_per_h: float


def rate_band(pours: Sequence[PastPour]) -> RateBand:
    """Return the rates that one in ten, half and nine in ten of some pours stayed below.

    Parameters
    ----------
    pours
        At least one.

    Notes
    -----
    Quantiles with linear interpolation between pours; of so few they lie near the slowest and
    the quickest of them.
    """
    rates = [pour.rate_m3_per_h for pour in pours]
    return RateBand(*(float(q) for q in np.quantile(rates, [LOW, 0.5, HIGH])))


def past_pours(state: State, activity: Activity) -> PastPours:
    """Find the finished pours of an activity, with the time they took.

    Parameters
    ----------
    state
        The fold of the log; only what it counts is looked at: nothing void, nothing later than
        its moment, nothing the log did not know by then.
    activity
        One of the job's that measures concrete.

    Returns
    -------
    PastPours
        Oldest first, by the moment concrete was last told of. What was told for a whole unit
        is one pour, also where the activity is finished span by span.

    Notes
    -----
    Concrete that was told of at least twice was placed between the first and the last time,
    but for what the first entry told of, which was in place by then. That holds where most of
    it lies between them and they are half an hour apart. Otherwise the pour runs from the start
    or resume of its shift, if that came before, to the finish of that shift, or to the last
    entry of concrete where it was finished later. A pour without either gives no rate.
    """
    complete = _complete(state, activity)
    pours = [
        _pour(where, told, state)
        for where, told in _told_of(state, activity).items()
        if where in complete and any(one.kind == PLACE for one in told)
    ]
    pours.sort(key=lambda pair: pair[0])
    found = [pour for _, pour in pours]
    return PastPours(
        tuple(pour for pour in found if isinstance(pour, PastPour)),
        tuple(pour for pour in found if isinstance(pour, UntimedPour)),
    )


@dataclass(frozen=True, slots=True)
class _Told:
    """One event of a pour: the day of its shift, and the amount for all the spans it is of."""

    kind: int
    at: dt.datetime
    day: dt.date
    amount_m3: float


def _told_of(state: State, activity: Activity) -> dict[Place, list[_Told]]:
    """Gather the events of an activity by the place they name, each once, rising."""
    log = state.log
    known = log.known_on(state.known_on)
    rows, n_activities = known.rows, log.shape[2]
    chosen = rows.cell % n_activities == state.job.activities.index(activity)
    chosen &= np.isin(rows.kind, [START, PLACE, RESUME, FINISH])
    if state.as_of is not None:
        chosen &= rows.at_us <= micros(state.as_of)
    event, first, back = np.unique(rows.event[chosen], return_index=True, return_inverse=True)
    # An event for all spans of a unit stands once for each: what it placed is their sum.
    amount_m3 = np.bincount(back, rows.quantity_si[chosen], event.size)
    at_us = rows.at_us[chosen][first]
    columns = [
        rows.kind[chosen][first].tolist(),
        at_us.view("datetime64[us]").tolist(),
        shift_days(log, known)[chosen][first].view("datetime64[D]").tolist(),
        amount_m3.tolist(),
    ]
    units, spans = (log.events[name].to_numpy(object)[event] for name in ("unit", "span"))
    told: dict[Place, list[_Told]] = defaultdict(list)
    for row in np.argsort(at_us, kind="stable").tolist():
        told[units[row], spans[row]].append(_Told(*(column[row] for column in columns)))
    return told


def _complete(state: State, activity: Activity) -> Collection[Place]:
    """Return the units, and the spans where the activity goes by them, that are complete."""
    units, spans = state.units, state.spans
    units = units[(units["activity"] == activity.key) & (units["status"] == "complete")]
    found = {(unit, "") for unit in units["unit"]}
    if activity.grain == "span":
        spans = spans[(spans["activity"] == activity.key) & (spans["status"] == "complete")]
        found |= set(zip(spans["unit"], spans["span"], strict=True))
    return found


def _pour(
    where: Place, told: Sequence[_Told], state: State
) -> tuple[dt.datetime, PastPour | UntimedPour]:
    """Return when concrete was last told of at a place, and the pour."""
    unit, span = where
    places = [one for one in told if one.kind == PLACE]
    placed_m3, last = sum(one.amount_m3 for one in places), places[-1]
    if len({one.day for one in places}) > 1:
        return last.at, UntimedPour(unit, span, last.day, placed_m3, SEVERAL_SHIFTS)
    between = [
        (hours_between(begin, end, state.job.timezone), timed_m3)
        for begin, end, timed_m3 in _stretches(told, places, placed_m3)
        if timed_m3 >= LEAST_TIMED_SHARE * placed_m3 > 0
    ]
    timed = [(hours, timed_m3) for hours, timed_m3 in between if hours >= SHORTEST_HOURS]
    if not timed:
        why = TOO_SHORT if any(hours > 0 for hours, _ in between) else NOT_TIMED
        return last.at, UntimedPour(unit, span, last.day, placed_m3, why)
    heading = state.job.heading_of_unit.get(unit, "")
    return last.at, PastPour(unit, span, heading, last.day, placed_m3, *timed[0])


def _stretches(
    told: Iterable[_Told], places: Sequence[_Told], placed_m3: float
) -> list[tuple[dt.datetime, dt.datetime, float]]:
    """Return when a pour began and ended and what was placed meanwhile; the best one first."""
    first, last = places[0], places[-1]
    of_shift = [one for one in told if one.day == last.day]
    by_first_m3 = sum(one.amount_m3 for one in places if one.at == first.at)
    stretches = [(first.at, last.at, placed_m3 - by_first_m3)]
    begun = [o.at for o in of_shift if o.kind in (START, RESUME) and o.at <= first.at]
    ended = [o.at for o in of_shift if o.kind == FINISH and o.at >= last.at]
    if begun:
        stretches.append((begun[0], max(ended, default=last.at), placed_m3))
    return stretches
