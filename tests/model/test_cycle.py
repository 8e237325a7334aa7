"""Cycles from the log, and control charts against the NIST handbook."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.cycle import (
    D2,
    D4,
    clear_days,
    completions,
    control_chart,
    drawn_towards,
    ewma,
    ewma_half_width,
    pace_shift,
    recent_completions,
    recent_cycles,
    typical,
)
from model.events import Event
from model.fold import fold
from model.job import Job
from tests.model.builders import a_calendar, a_frame, a_job, an_event, done, only

FALSEWORK = only("falsework")


def pours(*finishes: str, starts: tuple[str, ...] | None = None) -> list[Event]:
    """One falsework after the other, finished on these days of March 2026."""
    begins = starts or finishes
    return [
        event
        for number, (begin, end) in enumerate(zip(begins, finishes, strict=True), 1)
        for event in done(
            "falsework", f"E{number:02d}", f"2026-03-{begin} 07:00", f"2026-03-{end} 15:00"
        )
    ]


def of(events: list[Event], job: Job | None = None) -> pd.DataFrame:
    job = job or a_job(units=len({event.unit for event in events}), activities=FALSEWORK)
    return completions(fold(a_frame(*events), job), job)


def test_the_cycle_is_the_working_days_between_completions() -> None:
    # 2026-03-06 is a Friday: three working days later it is Wednesday.
    finished = of(pours("03", "06", "11", "12"))
    assert np.isnan(finished["cycle_days"][0])
    assert finished["cycle_days"][1:].tolist() == [3, 3, 1]


def test_a_holiday_between_two_completions_does_not_count() -> None:
    calendar = a_calendar(holidays=(dt.date(2026, 3, 9),))
    finished = of(pours("06", "11"), a_job(units=2, activities=FALSEWORK, calendar=calendar))
    assert finished["cycle_days"][1] == 2


def test_saturdays_count_where_they_are_worked() -> None:
    week = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat")
    job = a_job(units=2, activities=FALSEWORK, calendar=a_calendar(workdays=week))
    assert of(pours("06", "11"), job)["cycle_days"][1] == 4


def test_completions_are_taken_in_the_order_they_happened() -> None:
    finished = of(pours("11", "06", "13"))
    assert finished["unit"].tolist() == ["E02", "E01", "E03"]
    assert finished["cycle_days"][1:].tolist() == [3, 2]


def test_each_heading_has_cycles_of_its_own() -> None:
    finished = of(pours("03", "05", "10", "12"), a_job(units=4, activities=FALSEWORK, headings=2))
    assert finished["cycle_days"].dropna().tolist() == [2, 2]


def test_waiting_for_the_trade_before_is_in_the_cycle_but_not_in_the_crews_days() -> None:
    # Finished Tue 3rd; the next begins Mon 9th and ends Wed 11th: 6 days' cycle, 3 of work.
    finished = of(pours("03", "11", starts=("02", "09")))
    assert finished["cycle_days"][1] == 6
    assert finished["crew_days"].tolist() == [2, 3]


def test_units_that_overlap_count_from_the_completion_before() -> None:
    finished = of(pours("05", "09", starts=("02", "03")))
    assert finished["crew_days"].tolist() == [4, 2]


def test_two_units_finished_on_one_day_have_a_cycle_of_nothing() -> None:
    finished = of(pours("05", "05"))
    assert finished["cycle_days"][1] == 0
    assert finished["crew_days"][1] == 0


def test_a_cure_is_counted_in_calendar_days() -> None:
    job = a_job(units=1, activities=only("curing"))
    events = [
        an_event("start", "2026-03-06 15:00", activity="curing"),
        an_event("finish", "2026-03-13 15:00", activity="curing"),
    ]
    assert of(events, job)["crew_days"].tolist() == [7]


def test_work_not_finished_has_no_cycle() -> None:
    job = a_job(units=3, activities=FALSEWORK)
    events = [*pours("03", "06"), an_event("start", "2026-03-09 07:00", "E03")]
    assert len(of(events, job)) == 2


def test_days_weather_is_expected_to_take_are_left_out_of_clear_days() -> None:
    # March 2026 has 22 working days; 5.5 expected lost leave three quarters of each.
    calendar = a_calendar(lost_days_per_month=(0, 0, 5.5, *[0.0] * 9))
    job = a_job(units=2, activities=FALSEWORK, calendar=calendar)
    finished = of(pours("03", "09", starts=("02", "04")), job)
    assert finished["crew_days"][1] == 4
    assert finished["clear_days"][1] == pytest.approx(3.0)


def test_clear_days_are_working_days_where_nothing_is_lost() -> None:
    days = clear_days(np.array([0.5, np.nan]), np.array([4.0, 3.0]), a_calendar())
    assert days[0] == 3.5
    assert np.isnan(days[1])


def test_the_last_units_are_kept() -> None:
    finished = of(pours("03", "05", "09", "10", "12"))
    kept = recent_completions(finished, units=2)
    assert kept["unit"].tolist() == ["E04", "E05"]


def test_the_last_weeks_are_kept() -> None:
    finished = of(pours("03", "05", "12", "17", "19"))
    kept = recent_completions(finished, weeks=1)
    assert kept["unit"].tolist() == ["E04", "E05"]


def test_the_recent_cycle_of_every_heading_and_activity_is_given() -> None:
    job = a_job(units=6, activities=only("falsework", "deck_pour"), headings=2)
    # h1: E01…E03 at 3 and 4 days; h2: none yet.
    events = pours("03", "06", "12")
    table = recent_cycles(fold(a_frame(*events), job), job)
    assert table[["heading", "activity"]].to_numpy().tolist() == [
        ["h1", "falsework"], ["h1", "deck_pour"], ["h2", "falsework"], ["h2", "deck_pour"],
    ]  # fmt: skip
    first = table.iloc[0]
    assert (first["recent_cycle"], first["samples"], first["planned_cycle"]) == (3.5, 2, 3.0)
    assert first["spread"] == pytest.approx(np.sqrt(0.5))
    assert table["samples"].tolist() == [2, 0, 0, 0]
    assert np.isnan(table["recent_cycle"][2])


def test_a_heading_without_history_takes_the_activitys_wider_history() -> None:
    job = a_job(units=6, activities=only("falsework", "deck_pour"), headings=2)
    table = recent_cycles(fold(a_frame(*pours("03", "06", "12")), job), job)
    assert table["expected_cycle"].tolist() == [3.5, 3.0, 3.5, 3.0]


def test_a_log_without_completions_gives_the_plan() -> None:
    job = a_job(units=2, activities=FALSEWORK)
    table = recent_cycles(fold(a_frame(), job), job)
    assert table["samples"].tolist() == [0]
    assert table["expected_cycle"].tolist() == [3.0]


def test_one_bad_unit_does_not_set_the_pace() -> None:
    # Median 3, median deviation 0, so the reach is three times one day: 25 counts as 6.
    assert typical([3, 3, 4, 3, 3, 4, 3, 25]) == (3 * 5 + 4 * 2 + 6) / 8


cycles = st.lists(st.integers(0, 30).map(float), min_size=1, max_size=20)


@given(cycles)
def test_the_typical_cycle_lies_among_the_cycles(days: list[float]) -> None:
    assert min(days) <= typical(days) <= max(days)


@given(cycles, st.floats(0.5, 20))
def test_shrinkage_lies_between_recent_and_wider(days: list[float], wider: float) -> None:
    low, high = sorted([typical(days), wider])
    assert low - 1e-9 <= drawn_towards(days, wider) <= high + 1e-9


def test_more_units_draw_less_towards_the_wider_history() -> None:
    pulls = [drawn_towards([4.0] * n, 2.0) for n in (1, 3, 9, 27)]
    assert pulls == sorted(pulls)
    assert pulls[0] == 2.5


# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (data and constants from memory,
# arithmetic verified): with d2 = 1.128 and D4 = 3.267, which it takes from the usual table.
NIST = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_individuals_chart_of_the_handbook_comes_out() -> None:
    chart = control_chart(NIST)
    assert chart.center == pytest.approx(50.81, abs=1e-9)
    assert chart.moving_ranges == pytest.approx([2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5])
    assert chart.moving_ranges.mean() == pytest.approx(1.877778, abs=1e-6)
    assert chart.upper == pytest.approx(55.8041, abs=5e-5)
    assert chart.lower == pytest.approx(45.8159, abs=5e-5)
    assert chart.range_upper == pytest.approx(6.1347, abs=5e-5)
    assert not chart.outside.any()


def test_the_constants_are_those_of_ranges_of_two_rounded() -> None:
    # Exact for a normal distribution: d2 = 2/√π, D4 = 1 + 3 √(2 − 4/π) / d2.
    exact = 2 / np.sqrt(np.pi)
    assert round(exact, 3) == D2
    assert round(1 + 3 * np.sqrt(2 - 4 / np.pi) / exact, 3) == D4


def test_a_cycle_beyond_the_limits_is_marked() -> None:
    chart = control_chart([3, 3, 4, 3, 3, 4, 3, 3, 4, 3, 3, 12])
    assert chart.outside.nonzero()[0].tolist() == [11]


def test_a_chart_of_one_cycle_is_refused() -> None:
    with pytest.raises(ValueError, match="two cycles"):
        control_chart([3.0])


# NIST/SEMATECH e-Handbook 6.3.2.4: centre 50, weight 0.3 (data from memory).
EWMA_DATA = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *NIST]
EWMA = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip


def test_the_moving_average_of_the_handbook_comes_out() -> None:
    assert ewma(EWMA_DATA, start=50.0) == pytest.approx(EWMA, abs=0.0051)


def test_the_moving_averages_limits_open_up_to_the_handbooks() -> None:
    # Closed form: 3 s sqrt(λ/(2 − λ) (1 − (1 − λ)^(2i))).
    widths = ewma_half_width(2.0539, 20)
    expected = {1: 1.8485, 2: 2.2564, 3: 2.4314, 5: 2.5516, 10: 2.5874, 20: 2.5884}
    assert {i: round(float(widths[i - 1]), 4) for i in expected} == expected


STEADY = [3.0, 4.0, 3.0, 3.0, 4.0, 3.0, 4.0, 3.0]


def test_a_lasting_change_of_pace_is_found_where_it_began() -> None:
    shift = pace_shift([*STEADY, 6.0, 6.0, 5.0, 6.0, 6.0])
    assert shift is not None
    assert shift.at == 8
    assert shift.before_days == pytest.approx(3.375)
    assert shift.after_days == pytest.approx(5.8)


def test_a_quicker_pace_is_a_change_too() -> None:
    shift = pace_shift([*[day + 2 for day in STEADY], 3.0, 3.0, 3.0, 4.0, 3.0])
    assert shift is not None
    assert shift.after_days < shift.before_days


@pytest.mark.parametrize("days", [STEADY, STEADY * 4, STEADY[:3], []])
def test_a_steady_pace_has_no_change(days: list[float]) -> None:
    assert pace_shift(days) is None


def test_of_two_changes_the_last_is_given() -> None:
    slower = [day + 3 for day in STEADY]
    shift = pace_shift([*STEADY, *slower, *STEADY])
    assert shift is not None
    assert shift.at == 16
    assert shift.after_days < shift.before_days


def test_a_steady_crew_is_seldom_said_to_have_changed() -> None:
    # Our own criterion, no source: of 300 steady histories of 30 units at most one in seven.
    rng = np.random.default_rng(2)
    steady = rng.choice([2.0, 3.0, 3.0, 4.0], (300, 30))
    assert sum(pace_shift(row) is not None for row in steady) / 300 < 1 / 7
