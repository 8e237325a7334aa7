"""The control chart of one crew's cycles, and what it says in words."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from model.cycle_chart import CycleChart, cycle_chart
from model.fold import fold
from tests.model.builders import a_frame, a_job, done, only


def chart_of(*cycles: int) -> CycleChart:
    """A crew that finishes a unit after so many working days each."""
    job = a_job(units=len(cycles) + 1, activities=only("falsework"))
    days = job.calendar.date_of(np.cumsum([2, *cycles]))
    events = [e for n, day in enumerate(days, 1)
              for e in done("falsework", f"E{n:02d}", f"{day} 07:00", f"{day} 15:00")]  # fmt: skip
    state = fold(a_frame(*events), job, as_of=dt.datetime(2027, 1, 1))
    return cycle_chart(job, state, "h1", "falsework")


def test_limits_are_those_of_an_individuals_chart():
    cycles = [3, 4, 3, 5, 3, 4]
    chart = chart_of(*cycles).chart
    # NIST/SEMATECH e-Handbook 6.3.2.2: mean plus and minus 3 MR / 1.128.
    reach = 3 * np.abs(np.diff(cycles)).mean() / 1.128
    assert chart.center == pytest.approx(np.mean(cycles))
    assert chart.upper == pytest.approx(np.mean(cycles) + reach, abs=2e-3)


def test_one_bad_unit_is_named():
    found = chart_of(3, 3, 4, 3, 3, 4, 3, 30, 3, 4, 3)
    assert found.outside == ("E09",)
    assert "Outside the limits: E09." in str(found)


def test_a_lasting_change_of_pace_is_said_with_both_paces():
    found = chart_of(*[3, 4, 3, 3, 4, 3, 3, 4], *[8, 9, 8, 8, 9, 8])
    assert found.shift is not None
    assert found.units[found.shift.at] == "E10"
    assert "slower from E10 on, 3.4 working days before, 8.3 since" in str(found)


def test_a_pace_that_holds_is_said_to_hold():
    assert "No lasting change of pace found." in str(chart_of(3, 4, 3, 3, 4, 3, 3, 4, 3, 3))


def chart_of_days(*taken: int) -> CycleChart:
    """A crew that is on each unit for so many working days, one unit after the other."""
    job = a_job(units=len(taken), activities=only("falsework"))
    last = np.cumsum(taken) - 1
    spans = zip(job.calendar.date_of(last - np.array(taken) + 1), job.calendar.date_of(last),
                strict=True)  # fmt: skip
    events = [
        e
        for n, (begin, end) in enumerate(spans, 1)
        for e in done("falsework", f"E{n:02d}", f"{begin} 07:00", f"{end} 15:00")
    ]
    state = fold(a_frame(*events), job, as_of=dt.datetime(2027, 1, 1))
    return cycle_chart(job, state, "h1", "falsework")


def test_a_crew_that_learns_is_said_to_and_how_fast():
    found = chart_of_days(9, 8, 7, 7, 6, 6, 5, 5, 5, 4, 4)
    assert found.learning_slope is not None
    assert "Over all headings crews are learning" in str(found)
    assert f"takes {100 * found.learning_slope:.0f}\u00a0% of the days" in str(found)


def test_a_crew_that_keeps_its_pace_is_not_said_to_learn():
    assert "learning" not in str(chart_of_days(4, 5, 4, 5, 4, 5, 4, 5, 4, 5, 4))


def test_a_single_cycle_makes_no_chart():
    found = chart_of(3)
    assert found.chart is None
    assert "two cycles are needed" in str(found)
