"""Projected finishes beside the planned ones."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Sequence

import pandas as pd
import pytest

from model.against_plan import against_plan
from model.fold import fold
from model.job import Job
from model.projection import Forecast, project_finish
from tests.model.builders import a_frame, a_job, done, only


def projected(job: Job) -> Forecast:
    """Nothing begun on the first day."""
    day = job.calendar.start - dt.timedelta(days=1)
    return project_finish(job, fold(a_frame(), job), as_of=day, paths=200)


def with_baseline(job: Job, finish: dt.date) -> Job:
    """The last unit is planned to finish on a day, the others a year before."""
    units = list(job.units["unit"])
    days = [finish - dt.timedelta(days=365)] * (len(units) - 1) + [finish]
    planned = {"unit": units, "activity": "falsework",
               "planned_finish": pd.to_datetime(days).astype("datetime64[us]")}  # fmt: skip
    return dataclasses.replace(job, baseline=pd.DataFrame(planned))


@pytest.fixture
def job() -> Job:
    return a_job(units=4, activities=only("falsework"))


@pytest.mark.parametrize("days", [-3, 0, 5])
def test_lateness_is_told_in_working_days(job: Job, days: int) -> None:
    forecast = projected(job)
    planned = job.calendar.add(forecast.finish.p50, -days).item()
    whole = against_plan(with_baseline(job, planned), forecast)[0]
    assert (whole.heading, whole.planned, whole.days_late) == ("", planned, days)
    assert whole.finish == forecast.finish


def test_every_heading_has_a_plan_of_its_own(job: Job) -> None:
    first = job.units["unit"].iloc[0]
    heading = dataclasses.replace(job.headings[0], key="near", units=(first,))
    other = dataclasses.replace(job.headings[0], key="far", units=tuple(job.units["unit"].iloc[1:]))
    two = dataclasses.replace(with_baseline(job, dt.date(2027, 3, 1)), headings=(heading, other))
    found = {one.heading: one.planned for one in against_plan(two, projected(two))}
    assert found == {"": dt.date(2027, 3, 1), "near": dt.date(2026, 3, 1),
                     "far": dt.date(2027, 3, 1)}  # fmt: skip


def test_a_heading_with_nothing_left_is_done_and_the_line_only_when_all_are() -> None:
    job = a_job(units=4, headings=2, activities=only("falsework"))
    near, far = (heading.units for heading in job.headings)

    def done_by_heading(units: Sequence[str]) -> dict[str, bool]:
        events = [e for unit in units for e in done("falsework", unit)]
        day = max(event.at.date() for event in events)
        state = fold(a_frame(*events), job)
        forecast = project_finish(job, state, as_of=day, paths=200)
        return {one.heading: one.done for one in against_plan(job, forecast)}

    assert done_by_heading(near) == {"": False, "h1": True, "h2": False}
    assert done_by_heading([*near, *far]) == {"": True, "h1": True, "h2": True}


def test_without_a_baseline_nothing_is_late(job: Job) -> None:
    assert {(one.planned, one.days_late) for one in against_plan(job, projected(job))} == {
        (None, None)
    }
