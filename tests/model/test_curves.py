"""Planned, placed and projected quantities by day."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.curves import QuantityCurve, quantity_curves
from model.events import Event
from model.fold import fold
from model.job import Job
from model.placed import by_day
from tests.model.builders import a_frame, a_job, an_event, done, only

TODAY = dt.date(2026, 3, 20)


def falsework_curve(job: Job, *events: Event) -> QuantityCurve:
    log = a_frame(*events)
    state = fold(log, job, as_of=dt.datetime.combine(TODAY, dt.time(23, 59)))
    return quantity_curves(job, state, by_day(log, job, until=TODAY), paths=200)[0]


def a_falsework_job(units: int = 4, quantity: float = 100.0, **more) -> Job:
    planned = [(f"E{n:02d}", "", "falsework", quantity) for n in range(1, units + 1)]
    return a_job(units=units, activities=only("falsework"), planned=planned, **more)


def placed(unit: str, day: str, quantity: float) -> list[Event]:
    return [*done("falsework", unit, f"{day} 07:00", f"{day} 15:00"),
            an_event("place", f"{day} 12:00", unit, quantity=quantity)]  # fmt: skip


def a_baseline(*days: str) -> pd.DataFrame:
    units = [f"E{number:02d}" for number in range(1, len(days) + 1)]
    return pd.DataFrame({"unit": units, "activity": "falsework",
                         "planned_finish": pd.to_datetime(list(days))})  # fmt: skip


def test_the_projection_goes_on_from_what_is_placed_to_all_there_is_to_place():
    curve = falsework_curve(a_falsework_job(), *placed("E01", "2026-03-04", 100.0))
    assert curve.placed[-1] == 100.0
    for line in (curve.low, curve.likely, curve.high):
        assert line[0] == 100.0
        assert line[-1] == pytest.approx(400.0)


def test_projected_days_begin_today():
    curve = falsework_curve(a_falsework_job())
    assert curve.projected_days[0] == curve.days[-1] == np.datetime64(TODAY)


def test_the_plan_has_a_unit_placed_on_its_planned_finish():
    job = dataclasses.replace(
        a_falsework_job(units=3), baseline=a_baseline("2026-03-06", "2026-03-13", "2026-03-27")
    )
    curve = falsework_curve(job)
    assert curve.baseline.tolist() == [100.0, 200.0, 300.0]
    assert curve.at(np.datetime64("2026-03-05")) == (0.0, 0.0)
    assert curve.at(np.datetime64("2026-03-20")) == (0.0, 200.0)


def test_a_job_behind_its_baseline_says_since_when_in_calendar_days():
    job = dataclasses.replace(
        a_falsework_job(units=2), baseline=a_baseline("2026-03-06", "2026-03-13")
    )
    curve = falsework_curve(job, *placed("E01", "2026-03-04", 100.0))
    # The plan went beyond 100 on 13 March; today is the 20th.
    assert curve.behind_days == 7
    assert "7 calendar days behind" in str(curve)


def test_quantities_are_shown_in_the_units_of_the_project():
    curve = falsework_curve(a_falsework_job(units_system="us"))
    # A square foot is 0.09290304 m2 exactly.
    assert curve.measure_unit == "ft2"
    assert curve.total == pytest.approx(400 / 0.09290304)


def test_work_without_quantities_is_counted_by_units():
    job = a_job(units=3, activities=only("falsework"))
    curve = falsework_curve(job, *done("falsework"))
    assert (curve.measure_unit, curve.total, curve.placed[-1]) == ("", 3.0, 1.0)
    assert curve.likely[-1] == 3.0


def test_a_finished_job_has_nothing_left_to_project():
    job = a_falsework_job(units=1)
    curve = falsework_curve(job, *placed("E01", "2026-03-04", 98.0))
    assert curve.likely.tolist() == [98.0]


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(1.0, 500.0), min_size=2, max_size=5), st.integers(0, 2))
def test_curves_never_fall_and_the_band_stays_in_order(quantities, complete):
    planned = [(f"E{n:02d}", "", "falsework", q) for n, q in enumerate(quantities, 1)]
    job = a_job(units=len(quantities), activities=only("falsework"), planned=planned)
    events = [e for n in range(complete) for e in placed(f"E{n + 1:02d}", f"2026-03-0{n + 3}", 5.0)]
    curve = falsework_curve(job, *events)
    assert (curve.low <= curve.likely).all()
    assert (curve.likely <= curve.high).all()
    for line in (curve.placed, curve.low, curve.likely, curve.high):
        assert (np.diff(line) >= 0).all()
