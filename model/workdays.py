"""Working days: which days a job works, counting along them, and days lost to weather.

Every date is known by its working-day number: the first working day on or after the job's
start is 0, the next 1, and days before it are negative. Both ways are one look-up in a table,
so that a projection can turn millions of numbers into dates. Curing runs on calendar days,
which are plain day arithmetic on ``datetime64[D]``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import holidays as holidays_library
import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.problems import InputError, Problem

Dates = NDArray[np.datetime64]
Indices = NDArray[np.int64]

WEEKDAYS: tuple[str, ...] = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
DAYS_BEFORE_START = 3 * 366
DAYS_AFTER_START = 15 * 366
MOVED_WITHIN_DAYS = 6
"""A holiday kept on another day is kept within the same week of its own date."""


@dataclass(frozen=True)
class WorkCalendar:
    """The days a job works.

    Parameters
    ----------
    start
        First day of the job; if it is no working day, the next one has number 0.
    workdays
        Days of the week that are worked, as in ``WEEKDAYS``.
    holidays, days_off
        Dates not worked.
    lost_days_per_month
        Expected working days lost to weather in January … December; None where not given.

    Raises
    ------
    InputError
        For a day of the week that is not known, a week without working days, or lost days
        that are not twelve numbers from 0 up.

    Notes
    -----
    The table covers three years before the start and fifteen after it. Outside it, answers
    come from ``numpy.busday_offset`` and ``numpy.busday_count``, which agree with the table
    and are slower.

    Examples
    --------
    >>> import datetime as dt
    >>> calendar = WorkCalendar(dt.date(2026, 6, 29), holidays=(dt.date(2026, 7, 3),))
    >>> str(calendar.add("2026-06-29", 4))
    '2026-07-06'
    """

    start: dt.date
    workdays: tuple[str, ...] = WEEKDAYS[:5]
    holidays: tuple[dt.date, ...] = ()
    days_off: tuple[dt.date, ...] = ()
    lost_days_per_month: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        problems = _calendar_problems(self.workdays, self.lost_days_per_month)
        if problems:
            raise InputError(problems)

    def is_workday(self, dates: ArrayLike) -> NDArray[np.bool_]:
        """Return which dates are worked.

        Parameters
        ----------
        dates
            Dates, any shape.
        """
        return np.is_busday(_days(dates), busdaycal=self.busdays)

    def index_of(self, dates: ArrayLike) -> Indices:
        """Return the number of the first working day on or after each date.

        Parameters
        ----------
        dates
            Dates, any shape.

        Returns
        -------
        array of int64
            Working-day numbers, the same shape.
        """
        days = _days(dates)
        place = days.view(np.int64) - self._first_day
        if _all_inside(place, self._rank_of_day.size):
            return np.asarray(
                np.take(self._rank_of_day, place, mode="clip") - self._workdays_before_zero
            )
        # NumPy counts back differently from forward, so count from a day before both.
        early = np.minimum(days, self._day_zero)
        to_day = np.busday_count(early, days, busdaycal=self.busdays)
        to_zero = np.busday_count(early, self._day_zero, busdaycal=self.busdays)
        return np.asarray(to_day - to_zero)

    def date_of(self, index: ArrayLike) -> Dates:
        """Return the date of each working-day number (whole numbers).

        Parameters
        ----------
        index
            Working-day numbers, any shape.

        Returns
        -------
        array of datetime64[D]
            Dates, the same shape.
        """
        place = np.asarray(index, dtype=np.int64) + self._workdays_before_zero
        if _all_inside(place, self._day_of_rank.size):
            return np.asarray(np.take(self._day_of_rank, place, mode="clip"))
        numbers = place - self._workdays_before_zero
        return np.asarray(np.busday_offset(self._day_zero, numbers, busdaycal=self.busdays))

    def add(self, dates: ArrayLike, n_workdays: ArrayLike) -> Dates:
        """Go forward (or back) by working days, first rolling forward to a working day.

        Parameters
        ----------
        dates
            Dates, any shape.
        n_workdays
            Whole numbers of working days that broadcast against ``dates``; may be negative.

        Returns
        -------
        array of datetime64[D]
            As ``numpy.busday_offset(…, roll="forward")``.
        """
        days, further = _days(dates), np.asarray(n_workdays, dtype=np.int64)
        place = np.asarray(days.view(np.int64) - self._first_day)
        if not _all_inside(place, self._rank_of_day.size) or place.ndim == 0:
            return self.date_of(self.index_of(days) + further)
        # In place, because passing over fresh memory costs more than the look-ups.
        rank = np.take(self._rank_of_day, place, mode="clip", out=place)
        same_shape = np.broadcast_shapes(rank.shape, further.shape) == rank.shape
        rank = np.add(rank, further, out=rank if same_shape else None)
        if not _all_inside(rank, self._day_of_rank.size):
            return self.date_of(rank - self._workdays_before_zero)
        return np.asarray(np.take(self._day_of_rank, rank, mode="clip"))

    def count(self, from_dates: ArrayLike, to_dates: ArrayLike) -> Indices:
        """Count the working days from one date to another, the last one not counted.

        Parameters
        ----------
        from_dates, to_dates
            Dates that broadcast against one another.

        Returns
        -------
        array of int64
            Working days; negative where ``to_dates`` come first.

        Notes
        -----
        Counting back is counting forward with the sign turned. ``numpy.busday_count`` does the
        same for days that are worked; where the earlier date is worked and the later one is
        not, it counts differently by one going back.
        """
        return np.asarray(self.index_of(to_dates) - self.index_of(from_dates))

    def daily_loss_probability(self, index: ArrayLike) -> NDArray[np.float64]:
        """Return the probability that weather takes each working day.

        Parameters
        ----------
        index
            Working-day numbers, any shape.

        Returns
        -------
        array of float
            0…1: the month's expected lost days over the working days of that very month.
        """
        dates = self.date_of(index)
        if self.lost_days_per_month is None:
            return np.zeros(dates.shape)
        months = dates.astype("datetime64[M]")
        worked = self.count(months.astype("datetime64[D]"), (months + 1).astype("datetime64[D]"))
        lost = np.asarray(self.lost_days_per_month, dtype=float)[months.astype(np.int64) % 12]
        return np.asarray(np.minimum(lost / np.maximum(worked, 1), 1.0))

    @cached_property
    def busdays(self) -> np.busdaycalendar:
        """The same calendar in NumPy's own form."""
        mask = [day in self.workdays for day in WEEKDAYS]
        off = np.array(sorted({*self.holidays, *self.days_off}), dtype="datetime64[D]")
        return np.busdaycalendar(weekmask=mask, holidays=off)

    @cached_property
    def _day_zero(self) -> np.datetime64:
        return np.busday_offset(
            np.datetime64(self.start, "D"), 0, roll="forward", busdaycal=self.busdays
        )

    @cached_property
    def _first_day(self) -> int:
        return int(np.datetime64(self.start, "D").astype(np.int64)) - DAYS_BEFORE_START

    @cached_property
    def _worked(self) -> NDArray[np.bool_]:
        """Whether each day of the table is worked."""
        days = np.arange(self._first_day, self._first_day + DAYS_BEFORE_START + DAYS_AFTER_START)
        return np.is_busday(days.astype("datetime64[D]"), busdaycal=self.busdays)

    @cached_property
    def _workdays_before_zero(self) -> int:
        return int(np.count_nonzero(self._worked[:DAYS_BEFORE_START]))

    @cached_property
    def _rank_of_day(self) -> Indices:
        """How many working days of the table come before each of its days."""
        return np.asarray(np.cumsum(self._worked) - self._worked, dtype=np.int64)

    @cached_property
    def _day_of_rank(self) -> Dates:
        """Date of each working day of the table, from its first one on."""
        return np.asarray((np.flatnonzero(self._worked) + self._first_day).view("datetime64[D]"))


def holidays_of(code: str, years: Iterable[int]) -> tuple[dt.date, ...]:
    """Return the holidays of a country or subdivision, on the days they are really kept.

    Parameters
    ----------
    code
        A code of the ``holidays`` library: ``"US"`` or ``"US-CA"``.
    years
        Calendar years.

    Returns
    -------
    tuple of date
        Rising. A holiday kept on another day is left out on its own date, so a Saturday
        holiday kept on Friday does not cost a six-day week two days.

    Raises
    ------
    InputError
        For a code the library does not know.

    Notes
    -----
    Lists change with the version of the library; a job that must not move lists ``days_off``
    instead. Countries whose list does not name the holiday a substitute day stands for
    (Japan) keep both days.

    Examples
    --------
    >>> [day.isoformat() for day in holidays_of("US", [2026]) if day.month == 7]
    ['2026-07-03']
    """
    wanted = sorted(set(years))
    if not wanted:
        return ()
    # A holiday of January may be kept in December before it, so the neighbours are needed.
    listed = _listed(code, range(wanted[0] - 1, wanted[-1] + 2))
    moved = _moved_from(listed)
    kept = [day for day in sorted(listed) if set(listed.get_list(day)) - moved.get(day, set())]
    return tuple(day for day in kept if day.year in wanted)


def _listed(code: str, years: range) -> holidays_library.HolidayBase:
    """Return the library's own list for a code."""
    country, _, subdivision = code.partition("-")
    try:
        # Asked first: the library takes whatever has a name in it for a country.
        if country not in holidays_library.list_supported_countries(include_aliases=True):
            raise NotImplementedError(country)
        return holidays_library.country_holidays(
            country, subdiv=subdivision or None, years=years, expand=False
        )
    except NotImplementedError as unknown:
        message = f"{code!r} is no country or subdivision the holiday list knows."
        fix = 'Use a code such as "US" or "US-CA", or leave it out and list days_off.'
        raise InputError(
            [Problem("project.toml", message, fix, field="calendar.holidays")]
        ) from unknown


def _moved_from(listed: holidays_library.HolidayBase) -> dict[dt.date, set[str]]:
    """Return, for each date, the holidays named on it that are kept on another day."""
    label = str(getattr(listed, "observed_label", None) or "%s")
    before, _, after = label.partition("%s")
    moved: dict[dt.date, set[str]] = {}
    if not before and not after:
        return moved
    for day in listed:
        for name in listed.get_list(day):
            if not (name.startswith(before) and name.endswith(after)):
                continue
            own_name = name[len(before) : len(name) - len(after)]
            for shift in range(-MOVED_WITHIN_DAYS, MOVED_WITHIN_DAYS + 1):
                own_day = day + dt.timedelta(days=shift)
                if own_name in listed.get_list(own_day):
                    moved.setdefault(own_day, set()).add(own_name)
    return moved


def days_words(number: float) -> str:
    """Write working days; with tenths where they matter.

    Examples
    --------
    >>> days_words(1.0), days_words(19.5), days_words(1.7)
    ('1 working day', '20 working days', '1.7 working days')
    >>> days_words(0.04)
    '0 working days'
    """
    tenths = abs(number - round(number)) >= 0.05 and number < 10
    text = f"{number:.1f}" if tenths else f"{number:.0f}"
    return f"{text} working day" if text == "1" else f"{text} working days"


def _days(dates: ArrayLike) -> Dates:
    """Return dates as ``datetime64[D]``."""
    return np.asarray(dates, dtype="datetime64[D]")


def _all_inside(place: Indices, size: int) -> bool:
    """Tell whether all places are in a table; one pass, for a negative one wraps to huge."""
    return bool(place.size == 0 or place.view(np.uint64).max() < size)


def _calendar_problems(workdays: tuple[str, ...], lost: tuple[float, ...] | None) -> list[Problem]:
    """Say what is wrong with the working week and the lost days."""
    problems = []
    unknown = [day for day in workdays if day not in WEEKDAYS]
    if unknown or not workdays:
        found = ", ".join(unknown) if unknown else "none"
        problems.append(
            Problem(
                "project.toml",
                f"The working days hold {found}; expected some of {', '.join(WEEKDAYS)}.",
                'Write for example workdays = ["Mon", "Tue", "Wed", "Thu", "Fri"].',
                field="calendar.workdays",
            )
        )
    if lost is not None and (len(lost) != 12 or not all(days >= 0 for days in lost)):
        problems.append(
            Problem(
                "project.toml",
                f"Found {len(lost)} numbers ({', '.join(map(str, lost))}); "
                "expected twelve, none below 0.",
                "Give the working days lost in January … December.",
                field="calendar.lost_days_per_month",
            )
        )
    return problems
