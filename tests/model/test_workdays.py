"""Working days against NumPy, pandas and published holidays."""

from __future__ import annotations

import datetime as dt

import holidays
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.problems import InputError
from model.workdays import DAYS_AFTER_START, DAYS_BEFORE_START, WEEKDAYS, WorkCalendar, holidays_of

START = dt.date(2026, 3, 2)
FEDERAL = tuple(sorted(holidays.country_holidays("US", years=[2026, 2027, 2028])))
"""With the holidays' own dates, as the library lists them."""


def week_of(days: int, off: tuple[dt.date, ...] = ()) -> WorkCalendar:
    return WorkCalendar(START, WEEKDAYS[:days], holidays=off)


# numpy.busday_count, the end not counted; holidays are the library's own list.
COUNTS = [
    ("2026-01-01", "2027-01-01", 261, 250, 313, 301),
    ("2027-01-01", "2028-01-01", 261, 249, 313, 299),
    ("2026-03-02", "2026-12-31", 218, 210, 261, 252),
    ("2026-07-01", "2026-08-01", 23, 22, 27, 25),
    ("2026-11-01", "2026-12-01", 21, 19, 25, 23),
]


@pytest.mark.parametrize(("first", "last", "five", "five_less", "six", "six_less"), COUNTS)
def test_working_days_of_a_stretch_are_counted(
    first: str, last: str, five: int, five_less: int, six: int, six_less: int
) -> None:
    assert week_of(5).count(first, last) == five
    assert week_of(5, FEDERAL).count(first, last) == five_less
    assert week_of(6).count(first, last) == six
    assert week_of(6, FEDERAL).count(first, last) == six_less


# numpy.busday_offset("2026-06-29", n, roll="forward"); pandas CustomBusinessDay agrees.
OFFSETS = [
    (3, "2026-07-02", "2026-07-02"),
    (7, "2026-07-09", "2026-07-09"),
    (20, "2026-07-28", "2026-07-24"),
    (231, "2027-06-01", "2027-04-06"),
]


@pytest.mark.parametrize(("n", "five", "six"), OFFSETS)
def test_so_many_working_days_after_the_29th_of_june(n: int, five: str, six: str) -> None:
    assert str(week_of(5, FEDERAL).add("2026-06-29", n)) == five
    assert str(week_of(6, FEDERAL).add("2026-06-29", n)) == six


def test_a_pour_each_third_working_day_skips_the_holiday() -> None:
    pours = week_of(5, FEDERAL).add("2026-06-29", np.arange(0, 16, 3))
    assert pours.astype(str).tolist() == [
        "2026-06-29", "2026-07-02", "2026-07-08", "2026-07-13", "2026-07-16", "2026-07-21",
    ]  # fmt: skip


def test_adding_days_agrees_with_pandas_on_a_year() -> None:
    step = pd.offsets.CustomBusinessDay(holidays=[pd.Timestamp(day) for day in FEDERAL])
    days = pd.date_range("2026-03-02", periods=365)
    ours = week_of(5, FEDERAL).add(days.to_numpy(), 0)
    theirs = [step.rollforward(day) for day in days]
    assert (ours == np.array(theirs, dtype="datetime64[D]")).all()


# 5 U.S.C. 6103; `holidays` and pandas' USFederalHolidayCalendar agree on these.
OBSERVED = {
    2026: "01-01 01-19 02-16 05-25 06-19 07-03 09-07 10-12 11-11 11-26 12-25",
    2027: "01-01 01-18 02-15 05-31 06-18 07-05 09-06 10-11 11-11 11-25 12-24 12-31",
}


@pytest.mark.parametrize("year", OBSERVED)
def test_federal_holidays_are_taken_on_the_day_they_are_kept(year: int) -> None:
    kept = [day.strftime("%m-%d") for day in holidays_of("US", [year])]
    assert kept == OBSERVED[year].split()


def test_new_year_kept_in_december_is_not_kept_again_in_january() -> None:
    days = holidays_of("US", [2027, 2028])
    assert dt.date(2027, 12, 31) in days
    assert dt.date(2028, 1, 1) not in days
    assert dt.date(2028, 1, 1) not in holidays_of("US", [2028])


def test_a_saturday_holiday_kept_on_friday_costs_a_six_day_week_one_day() -> None:
    week = week_of(6, holidays_of("US", [2026]))
    assert not week.is_workday("2026-07-03")
    assert week.is_workday("2026-07-04")


def test_a_state_has_holidays_of_its_own() -> None:
    assert dt.date(2026, 3, 31) in holidays_of("US-CA", [2026])
    assert dt.date(2026, 3, 31) not in holidays_of("US", [2026])


@pytest.mark.parametrize("code", ["XX", "US-ZZ", "", "__class__", "utils", "HolidayBase"])
def test_an_unknown_holiday_code_says_which_and_what_to_write(code: str) -> None:
    with pytest.raises(InputError, match=r"calendar\.holidays"):
        holidays_of(code, [2026])


@pytest.mark.parametrize("workdays", [(), ("Mon", "Tuesday")])
def test_a_working_week_that_makes_no_sense_is_refused(workdays: tuple[str, ...]) -> None:
    with pytest.raises(InputError, match=r"calendar\.workdays"):
        WorkCalendar(START, workdays)


@pytest.mark.parametrize("lost", [(1.0,) * 11, (-1.0,) * 12, (float("nan"),) * 12])
def test_lost_days_are_twelve_numbers_from_0_up(lost: tuple[float, ...]) -> None:
    with pytest.raises(InputError, match="lost_days_per_month"):
        WorkCalendar(START, lost_days_per_month=lost)


dates = st.dates(dt.date(1990, 1, 1), dt.date(2080, 1, 1))
"""Well beyond the table on both sides."""

calendars = st.builds(
    WorkCalendar,
    start=st.dates(dt.date(2015, 1, 1), dt.date(2035, 1, 1)),
    workdays=st.lists(st.sampled_from(WEEKDAYS), min_size=1, max_size=7, unique=True).map(tuple),
    holidays=st.lists(dates, max_size=20).map(tuple),
    days_off=st.lists(dates, max_size=5).map(tuple),
)


@given(calendars, st.lists(dates, min_size=1, max_size=20), st.integers(-3000, 3000))
def test_adding_working_days_is_numpys_busday_offset(
    calendar: WorkCalendar, days: list[dt.date], n: int
) -> None:
    expected = np.busday_offset(
        np.array(days, "datetime64[D]"), n, roll="forward", busdaycal=calendar.busdays
    )
    assert (calendar.add(days, n) == expected).all()
    assert calendar.add(days[0], n) == expected[0]


@given(calendars, dates, dates)
def test_counting_working_days_forward_is_numpys_busday_count(
    calendar: WorkCalendar, one: dt.date, other: dt.date
) -> None:
    first, last = sorted([one, other])
    expected = np.busday_count(first, last, busdaycal=calendar.busdays)
    assert calendar.count(first, last) == expected
    assert calendar.count(last, first) == -expected


@given(calendars, st.lists(st.integers(-6000, 6000), min_size=1, max_size=20))
def test_a_working_day_has_one_number_and_the_number_one_day(
    calendar: WorkCalendar, numbers: list[int]
) -> None:
    days = calendar.date_of(numbers)
    assert calendar.is_workday(days).all()
    assert calendar.index_of(days).tolist() == numbers


@given(calendars, dates)
def test_a_day_has_the_number_of_the_working_day_on_or_after_it(
    calendar: WorkCalendar, day: dt.date
) -> None:
    rolled = calendar.date_of(calendar.index_of(day))
    assert rolled == np.busday_offset(day, 0, roll="forward", busdaycal=calendar.busdays)


def test_the_start_is_number_0_and_a_start_on_a_holiday_rolls_on() -> None:
    assert week_of(5).index_of(START) == 0
    assert week_of(5, (START,)).date_of(0) == np.datetime64("2026-03-03")


def test_table_and_numpy_agree_across_the_ends_of_the_table() -> None:
    calendar = week_of(5, FEDERAL)
    for edge in (-DAYS_BEFORE_START, DAYS_AFTER_START):
        days = np.datetime64(START) + edge + np.arange(-9, 10)
        one_by_one = [int(calendar.index_of(day)) for day in days]
        assert calendar.index_of(days).tolist() == one_by_one
        assert np.diff(one_by_one).min() >= 0
        assert np.diff(one_by_one).max() == 1


def test_a_missing_date_is_no_date() -> None:
    with pytest.raises(ValueError, match="NaT"):
        week_of(5).index_of(["2026-03-02", "NaT"])


def test_expected_lost_days_come_back_from_the_daily_probability() -> None:
    lost = (4.0, 4.0, 3.0, 2.0, 1.0, 0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0)
    calendar = WorkCalendar(START, holidays=FEDERAL, lost_days_per_month=lost)
    first, last = calendar.index_of(["2027-01-01", "2028-01-01"])
    numbers = np.arange(first, last)
    months = calendar.date_of(numbers).astype("datetime64[M]").astype(int) % 12
    by_month = np.bincount(months, calendar.daily_loss_probability(numbers), 12)
    assert by_month == pytest.approx(np.array(lost))


def test_no_month_loses_more_days_than_it_works() -> None:
    calendar = WorkCalendar(START, lost_days_per_month=(25.0,) * 12)
    assert (calendar.daily_loss_probability(np.arange(200)) == 1.0).all()


def test_without_weather_nothing_is_lost() -> None:
    assert week_of(5).daily_loss_probability([0, 1, 2]).tolist() == [0.0, 0.0, 0.0]
