"""The crews of the demo marching down their headings, shift by shift.

A shift is a working-day number of the job's calendar. Each heading has one crew per activity,
which follows its units in building order; a unit waits for the activities before it, for its
crew and for a free falsework set. The same march, without weather and holds, gives the
baseline.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from model.activities import Activity, Heading
from model.workdays import WorkCalendar

HEADING_STARTS: dict[str, dt.date] = {
    "E_from_west": dt.date(2026, 3, 2),
    "W_from_west": dt.date(2026, 5, 4),
    "E_from_east": dt.date(2026, 7, 20),
    "W_from_east": dt.date(2026, 9, 14),
}
"""First day of each heading: the east shore waits for its access road over the levee."""

NIGHT_POUR_MONTHS = range(6, 11)
"""Decks are poured by night in the warm months, when the day is too hot and windy."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A hold: after so many worked shifts nothing is done for some shifts, for a reason."""

    after_shifts: int
    shifts: int
    reason: str


@dataclass(frozen=True, slots=True)
class Work:
    """What one crew is to do on one unit; ``by_night`` where the season asks for it."""

    shifts: int
    stops: tuple[Stop, ...] = ()
    by_night: bool = False


@dataclass(frozen=True, slots=True)
class ForcedStop:
    """A stop that must happen: at the crew's first chance from ``earliest_shift`` on."""

    heading: str
    activity: str
    earliest_shift: int
    stop: Stop


@dataclass(frozen=True, slots=True)
class Piece:
    """One activity on one unit as it was worked.

    Parameters
    ----------
    shifts
        Working-day numbers that were worked, rising; of curing, the day the deck was poured.
    stopped
        Position in ``shifts`` after which the crew stopped for a reason, to that reason. Other
        gaps are lost to weather.
    night
        True for a pour that begins in the evening of its last shift, and for its curing.
    """

    heading: str
    unit: str
    activity: Activity
    shifts: tuple[int, ...]
    stopped: Mapping[int, str] = field(default_factory=dict)
    night: bool = False


@dataclass(frozen=True)
class Site:
    """What all crews share.

    Parameters
    ----------
    calendar, activities
        Of the job, activities in working order.
    lost
        Whether each working day is lost to weather; days beyond the array are not.
    """

    calendar: WorkCalendar
    activities: tuple[Activity, ...]
    lost: NDArray[np.bool_]


def march(
    site: Site,
    headings: Sequence[Heading],
    works: Mapping[tuple[str, str], Work],
    forced: Sequence[ForcedStop] = (),
) -> list[Piece]:
    """March all headings down their units.

    Parameters
    ----------
    site
        Calendar, activities and weather.
    headings
        With their units in building order and their falsework sets.
    works
        Work by (unit, activity key); curing needs none.
    forced
        Stops that must happen, beside those of ``works``.

    Returns
    -------
    list of Piece
        Heading by heading, unit by unit, in working order.
    """
    pieces: list[Piece] = []
    for heading in headings:
        own = [stop for stop in forced if stop.heading == heading.key]
        pieces += _march_heading(site, heading, works, own)
    return pieces


def _march_heading(
    site: Site, heading: Heading, works: Mapping[tuple[str, str], Work], forced: list[ForcedStop]
) -> list[Piece]:
    """March one heading; ``forced`` loses the stops that were used."""
    start = HEADING_STARTS.get(heading.key, site.calendar.start)
    first = int(site.calendar.index_of(np.datetime64(start)))
    crew_free = {activity.key: first for activity in site.activities}
    set_free = [first] * (heading.falsework_sets or len(heading.units))
    pieces: list[Piece] = []
    for unit in heading.units:
        free_from = {"": set_free[-(heading.falsework_sets or len(heading.units))]}
        done: dict[str, Piece] = {}
        for activity in site.activities:
            waits = [free_from[key] + activity.lag_days for key in activity.after or ("",)]
            begin = max(crew_free[activity.key], *waits)
            if activity.calendar_days:
                poured = done[activity.after[-1]]
                piece = replace(poured, activity=activity, shifts=poured.shifts[-1:], stopped={})
            else:
                work = works[unit, activity.key]
                piece = _worked(site, heading.key, unit, activity, begin, work, forced)
                crew_free[activity.key] = piece.shifts[-1] + 1
            done[activity.key] = piece
            free_from[activity.key] = _free_from(piece, site.calendar)
        pieces += done.values()
        set_free.append(max(free_from.values()) + heading.turnaround_days)
    return pieces


def _worked(
    site: Site,
    heading: str,
    unit: str,
    activity: Activity,
    begin: int,
    work: Work,
    forced: list[ForcedStop],
) -> Piece:
    """Work one activity on one unit from the shift ``begin`` on."""
    stops = {stop.after_shifts: stop for stop in work.stops}
    stopped: dict[int, str] = {}
    shifts = [_next_dry(site, activity, begin)]
    while len(shifts) < work.shifts:
        shift = shifts[-1] + 1
        stop = _take_forced(activity.key, shift, forced) or stops.get(len(shifts))
        if stop is not None:
            stopped[len(shifts) - 1] = stop.reason
            shift += stop.shifts
        shifts.append(_next_dry(site, activity, shift))
    month = 1 + int(site.calendar.date_of(shifts[-1]).astype("datetime64[M]").astype(int)) % 12
    night = work.by_night and month in NIGHT_POUR_MONTHS
    return Piece(heading, unit, activity, tuple(shifts), stopped, night)


def _next_dry(site: Site, activity: Activity, shift: int) -> int:
    """Return the first shift from ``shift`` on that weather leaves to this activity."""
    while activity.weather and shift < site.lost.size and site.lost[shift]:
        shift += 1
    return shift


def _take_forced(activity: str, shift: int, forced: list[ForcedStop]) -> Stop | None:
    """Take the first forced stop of this crew that is due."""
    for candidate in forced:
        if candidate.activity == activity and candidate.earliest_shift <= shift:
            forced.remove(candidate)
            return candidate.stop
    return None


def _free_from(piece: Piece, calendar: WorkCalendar) -> int:
    """Return the first shift on which what follows may begin."""
    if not piece.activity.calendar_days:
        return piece.shifts[-1] + 1
    cure = int(piece.activity.planned_cycle_days)
    # A night pour ends after midnight, so its cure ends a calendar day later.
    days = np.timedelta64(cure + piece.night, "D")
    return int(calendar.index_of(calendar.date_of(piece.shifts[-1]) + days))
