"""Which crew starves next, from when, and for whose work it waits."""

from __future__ import annotations

import datetime as dt

import numpy as np

from model.activities import Activity
from model.events import Event
from model.fold import fold
from model.job import Job
from model.projection import Forecast, project_finish
from model.starving import NO_SET, Starving, starving
from tests.model.builders import a_frame, a_job, done, only

SLOW_THEN_QUICK = (
    Activity("falsework", "Falsework", planned_cycle_days=5.0),
    Activity("bottom_slab_stems", "Bottom slab and stems", planned_cycle_days=5.0,
             after=("falsework",)),
)  # fmt: skip


def projected(job: Job, *events: Event, as_of: str) -> Forecast:
    day = dt.date.fromisoformat(as_of)
    state = fold(a_frame(*events), job, as_of=dt.datetime.combine(day, dt.time(23, 59)))
    return project_finish(job, state, as_of=day, paths=300)


def crews_of(job: Job, *events: Event, as_of: str = "2026-03-13") -> Starving:
    return starving(job, projected(job, *events, as_of=as_of))


def first_unit_done() -> list[Event]:
    return [*done("falsework", "E01", "2026-03-02 07:00", "2026-03-06 15:00"),
            *done("bottom_slab_stems", "E01", "2026-03-09 07:00", "2026-03-10 15:00")]  # fmt: skip


def test_a_crew_whose_next_unit_is_not_ready_stands_idle_now():
    job = a_job(units=3, activities=SLOW_THEN_QUICK)
    crews = crews_of(job, *first_unit_done()).crews
    row = crews[crews["activity"] == "bottom_slab_stems"].iloc[0]
    assert (row["unit"], row["waits_for"], row["waits_for_unit"]) == ("E02", "falsework", "E02")
    assert row["free_from"] == np.datetime64("2026-03-10")
    assert row["idle_now"]


def test_it_waits_the_working_days_until_the_likely_finish_of_what_it_follows():
    job = a_job(units=3, activities=SLOW_THEN_QUICK)
    forecast = projected(job, *first_unit_done(), as_of="2026-03-13")
    row = starving(job, forecast).crews.iloc[0]
    dates = forecast.units.set_index(["unit", "activity"])
    ready = dates.loc[("E02", "falsework"), "p50"]
    assert row["ready_on"] == ready
    assert row["wait_days"] == np.busday_count("2026-03-11", np.datetime64(ready, "D") + 1)


def test_a_wait_that_the_plan_has_too_is_not_starving():
    quick = Activity("bottom_slab_stems", "Bottom slab and stems", planned_cycle_days=1.0,
                     after=("falsework",))  # fmt: skip
    job = a_job(units=3, activities=(SLOW_THEN_QUICK[0], quick))
    first = [*done("falsework", "E01", "2026-03-02 07:00", "2026-03-06 15:00"),
             *done("bottom_slab_stems", "E01", "2026-03-09 07:00", "2026-03-09 15:00"),
             *done("falsework", "E02", "2026-03-09 07:00", "2026-03-13 15:00")]  # fmt: skip
    # Falsework of the next unit is ready on Friday: the quick crew waited its four planned days.
    assert crews_of(job, *first, as_of="2026-03-12").crews.empty


def test_without_a_free_set_the_falsework_crew_waits_for_the_unit_that_holds_it():
    trades = (*only("falsework"), Activity("curing", "Curing", planned_cycle_days=7.0,
                                           after=("falsework",), calendar_days=True,
                                           weather=False))  # fmt: skip
    job = a_job(units=4, activities=trades, falsework_sets=2)
    standing = [
        *done("falsework", "E01"),
        *done("falsework", "E02", "2026-03-05 07:00", "2026-03-06 15:00"),
    ]
    crews = crews_of(job, *standing, as_of="2026-03-06").crews
    row = crews[crews["activity"] == "falsework"].iloc[0]
    # Of the two sets, that of the first unit is free first.
    assert (row["unit"], row["waits_for"], row["waits_for_unit"]) == ("E03", NO_SET, "E01")


def test_the_crew_that_is_free_first_comes_first():
    job = a_job(units=8, activities=only("falsework", "bottom_slab_stems", "deck_forms"))
    crews = crews_of(job, *first_unit_done()).crews
    assert crews["free_from"].is_monotonic_increasing


def test_a_job_that_is_done_has_no_crew_left_to_starve():
    job = a_job(units=1, activities=only("falsework"))
    assert crews_of(job, *done("falsework")).crews.empty
