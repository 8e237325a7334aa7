"""Maturity, equivalent age, and until when a deck is kept wet."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.curing import equivalent_age_h, temperature_time_factor_c_h, wet_until
from model.cycle import completions
from model.fold import fold
from model.line import DAYS_BACK, DayCounter, Progress, Run, Step, march
from tests.model.builders import START, a_frame, a_job, an_event, only

# Means of a deck's first 70 hours; worked apart from this code.
HOURS = np.array([6.0, 6.0, 12.0, 24.0, 24.0])
MEANS_C = np.array([20.0, 30.0, 38.0, 28.0, 20.0])

intervals = st.lists(
    st.tuples(st.floats(0.0, 48.0), st.floats(-20.0, 70.0)), min_size=1, max_size=8
)
activations_k = st.floats(3000.0, 7000.0)
references_c = st.floats(10.0, 30.0)


def columns(rows: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Return hours and temperatures of rows of both."""
    hours, temperatures = zip(*rows, strict=True)
    return np.array(hours), np.array(temperatures)


# Temperature-time factor (ASTM C1074, from memory)


@pytest.mark.parametrize(("datum_c", "factor"), [(-10.0, 2160.0), (0.0, 1440.0)])
def test_three_days_at_twenty_degrees(datum_c, factor) -> None:
    assert temperature_time_factor_c_h(72.0, 20.0, datum_c) == factor


@pytest.mark.parametrize(("datum_c", "factor"), [(0.0, 1908.0), (-10.0, 2628.0)])
def test_the_factor_of_a_decks_first_days(datum_c, factor) -> None:
    assert temperature_time_factor_c_h(HOURS, MEANS_C, datum_c) == pytest.approx(factor)


def test_a_night_below_the_datum_takes_nothing_away() -> None:
    hours, means_c = np.array([12.0, 12.0]), np.array([-12.0, 5.0])
    # 156 where the night were counted against it.
    assert temperature_time_factor_c_h(hours, means_c, -10.0) == 180.0


# Equivalent age (ASTM C1074, from memory); with 273 for 273.15 the figures differ by 0.1 %.


@pytest.mark.parametrize(
    ("hours", "mean_c", "reference_c", "activation_k", "age_h"),
    [
        (24.0, 35.0, 20.0, 5000.0, 55.0534),
        (24.0, 35.0, 23.0, 5000.0, 46.3178),
        (24.0, 35.0, 20.0, 4000.0, 46.6305),
        (24.0, 10.0, 20.0, 5000.0, 13.1403),
        (168.0, 30.0, 20.0, 5000.0, 294.8874),
    ],
)
def test_the_equivalent_age_of_steady_temperatures(
    hours, mean_c, reference_c, activation_k, age_h
) -> None:
    ours = equivalent_age_h(hours, mean_c, activation_k, reference_c)
    assert ours == pytest.approx(age_h, abs=1e-3)


@pytest.mark.parametrize(("reference_c", "age_h"), [(20.0, 110.4760), (23.0, 92.9461)])
def test_the_equivalent_age_of_a_decks_first_days(reference_c, age_h) -> None:
    ours = equivalent_age_h(HOURS, MEANS_C, 5000.0, reference_c)
    assert ours == pytest.approx(age_h, abs=1e-3)


@given(st.floats(0.0, 1000.0), activations_k, references_c)
def test_at_the_reference_temperature_age_is_time(hours, activation_k, reference_c) -> None:
    assert equivalent_age_h(hours, reference_c, activation_k, reference_c) == hours


@given(intervals, activations_k, references_c)
def test_warmer_concrete_is_never_younger(rows, activation_k, reference_c) -> None:
    hours, means_c = columns(rows)
    as_kept = equivalent_age_h(hours, means_c, activation_k, reference_c)
    assert equivalent_age_h(hours, means_c + 1.0, activation_k, reference_c) >= as_kept
    factor = temperature_time_factor_c_h(hours, means_c, 0.0)
    assert temperature_time_factor_c_h(hours, means_c + 1.0, 0.0) >= factor >= 0.0


# Both


@given(intervals, st.data())
def test_splitting_an_interval_changes_nothing(rows, data) -> None:
    place = data.draw(st.integers(0, len(rows) - 1))
    share = data.draw(st.floats(0.0, 1.0))
    hours, mean_c = rows[place]
    parts = [(share * hours, mean_c), ((1 - share) * hours, mean_c)]
    split = columns([*rows[:place], *parts, *rows[place + 1 :]])
    whole = columns(rows)
    assert equivalent_age_h(*split, 5000.0, 20.0) == pytest.approx(
        equivalent_age_h(*whole, 5000.0, 20.0), rel=1e-12, abs=1e-12
    )
    assert temperature_time_factor_c_h(*split, -10.0) == pytest.approx(
        temperature_time_factor_c_h(*whole, -10.0), rel=1e-12, abs=1e-12
    )


def test_a_number_gives_a_number_and_a_table_one_for_each_row() -> None:
    probes_c = np.stack([MEANS_C, MEANS_C - 5.0])
    for maturity in (
        lambda hours, means_c: temperature_time_factor_c_h(hours, means_c, 0.0),
        lambda hours, means_c: equivalent_age_h(hours, means_c, 5000.0, 20.0),
    ):
        assert isinstance(maturity(24.0, 20.0), float)
        assert isinstance(maturity(HOURS, MEANS_C), float)
        each = [maturity(HOURS, probe) for probe in probes_c]
        np.testing.assert_allclose(maturity(HOURS, probes_c), each, rtol=1e-14)
        alone = [maturity(float(h), float(c)) for h, c in zip(HOURS, MEANS_C, strict=True)]
        assert maturity(HOURS, MEANS_C) == pytest.approx(sum(alone), rel=1e-14)


def test_no_interval_takes_less_than_no_time() -> None:
    backwards = np.array([6.0, -1.0])
    with pytest.raises(ValueError, match="hours has an interval below 0"):
        temperature_time_factor_c_h(backwards, np.array([20.0, 20.0]), 0.0)
    with pytest.raises(ValueError, match="hours has an interval below 0"):
        equivalent_age_h(backwards, np.array([20.0, 20.0]), 5000.0, 20.0)


# Wet cure


def day_the_march_ends_a_cure(poured: dt.date, days: float, *, pour: float = 1.0) -> dt.date:
    """Return the day on which the line ends a cure, on a five-day week.

    The march begins on the day of the pour, which takes a part of that day.
    """
    worked = np.is_busday(np.datetime64(poured) + np.arange(-DAYS_BACK, 400))
    steps = (Step(), Step(after=(0,), calendar_days=True))
    work = np.array([[[pour], [days]]])
    marched = march(steps, [Run((0,))], Progress.not_begun(1, 2), work, DayCounter(worked))
    assert marched.finish[0, 0, 0] == pour
    return poured + dt.timedelta(days=math.ceil(marched.finish[0, 1, 0]) - 1)


@given(
    st.dates(dt.date(2026, 1, 1), dt.date(2035, 12, 31)).filter(lambda day: day.weekday() < 5),
    st.one_of(st.integers(1, 60), st.sampled_from([0.5, 3.5, 7.25])),
)
def test_a_deck_is_wet_until_the_day_the_line_ends_its_cure(poured, days) -> None:
    assert wet_until(poured, days) == day_the_march_ends_a_cure(poured, days)


@pytest.mark.parametrize("pour", [0.25, 0.5, 0.875])
def test_a_deck_poured_by_noon_is_wet_as_long_as_one_poured_by_evening(pour) -> None:
    assert wet_until(START, 7) == day_the_march_ends_a_cure(START, 7, pour=pour)


@pytest.mark.parametrize("days", [3, 7, 14])
def test_a_cure_recorded_until_then_has_run_its_calendar_days(days) -> None:
    job = a_job(units=1, activities=only("deck_pour", "curing"))
    wet_to = wet_until(START, days)
    log = a_frame(
        an_event("start", f"{START} 07:00", activity="deck_pour"),
        an_event("finish", f"{START} 15:00", activity="deck_pour"),
        an_event("start", f"{START} 15:00", activity="curing"),
        an_event("finish", f"{wet_to} 15:00", activity="curing"),
    )
    finished = completions(fold(log, job), job)
    cure = finished[finished["activity"] == "curing"]
    assert cure["crew_days"].tolist() == [days]


def test_a_cure_runs_through_weekends_and_over_the_new_year() -> None:
    assert wet_until(dt.date(2026, 3, 6), 7) == dt.date(2026, 3, 13)  # Friday to Friday
    assert wet_until(dt.date(2026, 12, 28), 7) == dt.date(2027, 1, 4)
    assert wet_until(dt.date(2028, 2, 25), 7) == dt.date(2028, 3, 3)  # leap year


def test_a_deck_without_a_cure_is_wet_on_the_day_of_its_pour_alone() -> None:
    assert wet_until(START, 0) == START


@pytest.mark.parametrize("days", [-1, -0.5, math.nan, math.inf])
def test_days_of_cure_that_cannot_be_are_refused(days) -> None:
    with pytest.raises(ValueError, match=f"days is {days:g}; expected a number from 0 up"):
        wet_until(START, days)
