"""What a pour needs: concrete, hours, trucks, finishers and days of wet cure.

Arithmetic of the trade on one pour, in SI. Planning figures only: what may be placed, when, and
how it is finished and cured is decided by the engineer of record, the project's specifications
and local codes.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

from model.activities import Activity
from model.clock import after_hours
from model.curing import wet_until
from model.drying import Drying, Weather, drying
from model.events import Status
from model.pour_rate import FEWEST_POURS, PastPour, RateBand, rate_band

RateSource = Literal["given", "project", "recent_heading", "recent", "common_practice"]
LoadSource = Literal["given", "project", "common_practice"]
StartSource = Literal["given", "under_way", "project", "usual"]

EXACT = 1e-9
"""Shares of a load or a truck below this come from the last digits of a division."""


@dataclass(frozen=True, slots=True)
class Concrete:
    """How much concrete a pour takes.

    Parameters
    ----------
    planned_m3
        Planned of the whole unit (or span) [m³]; None where it is not known.
    planned_from
        ``"schedule"``, ``"section"``, or blank.
    placed_m3
        Placed there so far [m³].
    given_m3
        What the asker wants to place instead of what remains [m³].
    allowance
        What is ordered beyond it, as a share: 0.03 for three per cent.

    Examples
    --------
    >>> lift = Concrete(planned_m3=300.0, planned_from="section", placed_m3=100.0, allowance=0.03)
    >>> lift.remaining_m3, round(lift.order_m3, 6)
    (200.0, 206.0)
    """

    planned_m3: float | None
    planned_from: str = ""
    placed_m3: float = 0.0
    given_m3: float | None = None
    allowance: float = 0.0

    @property
    def remaining_m3(self) -> float | None:
        """Planned and not placed yet [m³]; None without a plan."""
        return None if self.planned_m3 is None else max(self.planned_m3 - self.placed_m3, 0.0)

    @property
    def volume_m3(self) -> float | None:
        """What this pour is to place [m³]; None where nothing says how much."""
        return self.given_m3 if self.given_m3 is not None else (self.remaining_m3 or None)

    @property
    def order_m3(self) -> float | None:
        """What to order for it [m³]."""
        return None if self.volume_m3 is None else self.volume_m3 * (1.0 + self.allowance)

    @property
    def share(self) -> float:
        """Share of the unit that this pour covers, 0…1; all of it without a plan."""
        if not self.planned_m3 or self.volume_m3 is None:
            return 1.0
        return min(self.volume_m3, self.remaining_m3 or self.planned_m3) / self.planned_m3


@dataclass(frozen=True, slots=True)
class PlacingRate:
    """How fast concrete is placed.

    Parameters
    ----------
    m3_per_h
        Placed per hour [m³/h].
    source
        ``"given"`` by the asker; ``"project"``: of the folder; ``"recent_heading"``,
        ``"recent"``: the median of recent pours of the heading, or of all headings;
        ``"common_practice"``.
    band
        Of recent pours, where the rate is taken from them.
    """

    m3_per_h: float
    source: RateSource
    band: RateBand | None = None


@dataclass(frozen=True, slots=True)
class Trucks:
    """What brings the concrete.

    Parameters
    ----------
    load_m3
        What a truck brings [m³].
    source
        Where that is from.
    round_trip_minutes
        From one loading of a truck to its next one [min]; None where it is not known.
    """

    load_m3: float
    source: LoadSource
    round_trip_minutes: float | None = None

    def loads(self, order_m3: float) -> int:
        """Return the loads it takes.

        Examples
        --------
        >>> Trucks(9.0, "given").loads(300.0)
        34
        """
        return max(math.ceil(order_m3 / self.load_m3 - EXACT), 1)

    def needed(self, minutes_between: float) -> int | None:
        """Return the trucks that keep loads coming so often; None without a round trip.

        Examples
        --------
        >>> Trucks(9.0, "given", 45.0).needed(9.0), Trucks(9.0, "given", 46.0).needed(9.0)
        (5, 6)
        """
        if self.round_trip_minutes is None:
            return None
        return max(math.ceil(self.round_trip_minutes / minutes_between - EXACT), 1)


@dataclass(frozen=True, slots=True)
class Surface:
    """The deck surface that a pour leaves to be finished.

    Parameters
    ----------
    area_m2
        That this pour covers [m²].
    length_m
        Of the same, along the alignment [m].
    """

    area_m2: float
    length_m: float


@dataclass(frozen=True, slots=True)
class Finishing:
    """How fast the deck must be finished to keep up with the pour.

    Parameters
    ----------
    area_m2
        To be finished [m²].
    area_m2_per_h, advance_m_per_h
        Finished per hour [m²/h], and along the alignment [m/h].
    area_m2_per_load
        What one load covers [m²].
    """

    area_m2: float
    area_m2_per_h: float
    advance_m_per_h: float
    area_m2_per_load: float


@dataclass(frozen=True, slots=True)
class Before:
    """Where work stands that must be finished before the pour.

    Parameters
    ----------
    activity, name
        Its key and its words.
    status
        Of the unit, or of the span where both go span by span.
    since
        When it was finished, put on hold or begun, whichever its status says (local); None
        where nothing was begun.
    reason
        Of the hold.
    spans_left
        Spans where it is not finished yet, where it goes span by span.
    """

    activity: str
    name: str
    status: Status
    since: dt.datetime | None = None
    reason: str = ""
    spans_left: tuple[str, ...] = ()

    @property
    def finished(self) -> bool:
        """Whether the pour need not wait for it any more."""
        return self.status == "complete"


@dataclass(frozen=True)
class PourPlan:
    """What one pour needs.

    Parameters
    ----------
    unit, span
        Where; a blank span is the whole unit.
    heading
        Key of its heading; blank where the job has none for it.
    activity
        The pour, as the job has it.
    status, reason
        Where the pour itself stands, and why where it is on hold.
    concrete, rate, trucks
        How much, how fast, brought by what.
    start
        When the first truck discharges (local).
    zone
        Of the site: an hour is an hour also in the night the clocks change.
    start_from
        ``"given"``; ``"under_way"``: it is being poured, so the rest counts from the moment
        asked; ``"project"``: the hour is the folder's; ``"usual"``: nobody said one.
    surface
        The deck surface it leaves to be finished; None for a pour that leaves none.
    weather
        Readings at the deck; None where nothing is said of it.
    cure_days
        Calendar days of wet cure after it; None where the job has no cure after it.
    before
        What must be finished first, in working order; where one of those is not finished,
        also what it waits for itself.
    not_before
        First day that the days to wait after them leave; None where nothing is to be waited
        for, or they are not finished.
    ahead
        Units that come before it on its heading and are not poured, in building order.
    working_day
        Whether the day of the pour is a working day.
    lost_day_chance
        Chance that weather takes it, 0…1; None where the calendar expects nothing, or the pour
        does not mind the weather.
    recent
        The recent pours that tell their time, oldest first: of the heading, or of all headings
        where the heading has too few.
    """

    unit: str
    span: str
    heading: str
    activity: Activity
    status: Status
    reason: str
    concrete: Concrete
    rate: PlacingRate
    trucks: Trucks
    start: dt.datetime
    zone: ZoneInfo
    start_from: StartSource = "given"
    surface: Surface | None = None
    weather: Weather | None = None
    cure_days: float | None = None
    before: tuple[Before, ...] = ()
    not_before: dt.date | None = None
    ahead: tuple[str, ...] = ()
    working_day: bool = True
    lost_day_chance: float | None = None
    recent: tuple[PastPour, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether everything before it is finished and it is not on hold itself."""
        return self.status != "on_hold" and all(one.finished for one in self.before)

    @property
    def recent_band(self) -> RateBand | None:
        """What recent pours came to, whether the rate is theirs or not; None of too few."""
        return rate_band(self.recent) if len(self.recent) >= FEWEST_POURS else None

    @property
    def hours(self) -> float | None:
        """Hours it takes [h]; None where nothing says how much is to be placed."""
        return self._hours_at(self.rate.m3_per_h)

    @property
    def hours_low(self) -> float | None:
        """Hours it takes at the rate of a quick recent pour [h]; None without a band."""
        return self._hours_at(self.rate.band.high_m3_per_h) if self.rate.band else None

    @property
    def hours_high(self) -> float | None:
        """Hours it takes at the rate of a slow recent pour [h]; None without a band."""
        return self._hours_at(self.rate.band.low_m3_per_h) if self.rate.band else None

    def _hours_at(self, m3_per_h: float) -> float | None:
        order_m3 = self.concrete.order_m3
        return None if order_m3 is None else order_m3 / m3_per_h

    @property
    def end(self) -> dt.datetime | None:
        """When the last truck is empty (local)."""
        return self._after(self.hours)

    @property
    def end_late(self) -> dt.datetime | None:
        """When it is if it goes as slowly as a slow recent pour (local)."""
        return self._after(self.hours_high)

    def _after(self, hours: float | None) -> dt.datetime | None:
        return None if hours is None else after_hours(self.start, hours, self.zone)

    @property
    def loads(self) -> int | None:
        """Truck loads to order."""
        order_m3 = self.concrete.order_m3
        return None if order_m3 is None else self.trucks.loads(order_m3)

    @property
    def last_load_m3(self) -> float | None:
        """What the last truck brings [m³]."""
        if self.concrete.order_m3 is None or self.loads is None:
            return None
        return self.concrete.order_m3 - (self.loads - 1) * self.trucks.load_m3

    @property
    def minutes_between_loads(self) -> float:
        """How often a truck must discharge [min]."""
        return 60.0 * self.trucks.load_m3 / self.rate.m3_per_h

    @property
    def trucks_needed(self) -> int | None:
        """Trucks that keep the rate, no more than there are loads; None without a round trip."""
        needed = self.trucks.needed(self.minutes_between_loads)
        return needed if needed is None or self.loads is None else min(needed, self.loads)

    @property
    def finishing(self) -> Finishing | None:
        """How fast the deck must be finished; None without a deck surface or a volume."""
        if self.surface is None or not self.hours or self.concrete.order_m3 is None:
            return None
        area_m2 = self.surface.area_m2
        return Finishing(
            area_m2,
            area_m2 / self.hours,
            self.surface.length_m / self.hours,
            area_m2 * min(self.trucks.load_m3 / self.concrete.order_m3, 1.0),
        )

    @property
    def drying(self) -> Drying | None:
        """What the weather asks for; None without readings, or without a deck surface."""
        return None if self.weather is None or self.surface is None else drying(self.weather)

    @property
    def wet_until(self) -> dt.date | None:
        """Last day on which it is kept wet, counted from its end; None without a cure after it."""
        if self.end is None or self.cure_days is None:
            return None
        return wet_until(self.end.date(), self.cure_days)
