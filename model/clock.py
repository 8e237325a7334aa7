"""What time it is, as something that can be handed in.

The log stamps what it learns with a clock; tests and the demo hand in one of their own.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from zoneinfo import ZoneInfo

Clock = Callable[[], dt.datetime]
"""A function that returns the present moment, aware, in UTC."""


def utc_now() -> dt.datetime:
    """Return the present moment in UTC."""
    return dt.datetime.now(dt.UTC)


def clock_starting_at(moment: dt.datetime) -> Clock:
    """Return a clock that shows ``moment`` now and runs on at the usual speed.

    The demo lives on its own day: its log ends there, and entries go on from there.

    Parameters
    ----------
    moment
        Aware datetime.
    """
    ahead_by = moment - utc_now()
    return lambda: utc_now() + ahead_by


def wall_clock(moment: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    """Return what a clock on site shows at ``moment``: local and naive.

    Examples
    --------
    >>> noon = dt.datetime(2026, 7, 1, 19, 0, tzinfo=dt.UTC)
    >>> wall_clock(noon, ZoneInfo("America/Los_Angeles"))
    datetime.datetime(2026, 7, 1, 12, 0)
    """
    return moment.astimezone(zone).replace(tzinfo=None)


def short_date(day: dt.date) -> str:
    """Write a day of this or the next season.

    Examples
    --------
    >>> short_date(dt.date(2026, 3, 2))
    '2 Mar'
    """
    # Not every system can leave the zero out by itself.
    return f"{day.day} {day:%b}"


def end_of_day(day: dt.date) -> dt.datetime:
    """Return the last moment of a local day: "as of Tuesday" includes all of Tuesday.

    Examples
    --------
    >>> end_of_day(dt.date(2026, 7, 1))
    datetime.datetime(2026, 7, 1, 23, 59, 59, 999999)
    """
    return dt.datetime.combine(day, dt.time.max)


def hours_between(begin: dt.datetime, end: dt.datetime, zone: ZoneInfo) -> float:
    """Return the hours that pass between two local moments, also in a night the clocks change.

    Examples
    --------
    >>> zone = ZoneInfo("America/Los_Angeles")
    >>> hours_between(dt.datetime(2026, 10, 31, 22), dt.datetime(2026, 11, 1, 4), zone)
    7.0
    """
    return (_utc(end, zone) - _utc(begin, zone)) / dt.timedelta(hours=1)


def after_hours(begin: dt.datetime, hours: float, zone: ZoneInfo) -> dt.datetime:
    """Return what a clock on site shows so many hours after a local moment.

    Examples
    --------
    >>> zone = ZoneInfo("America/Los_Angeles")
    >>> after_hours(dt.datetime(2026, 10, 31, 22), 7.0, zone)
    datetime.datetime(2026, 11, 1, 4, 0)
    """
    return wall_clock(_utc(begin, zone) + dt.timedelta(hours=hours), zone)


def _utc(local: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    return local.replace(tzinfo=zone).astimezone(dt.UTC)
