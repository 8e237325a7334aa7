"""The chances of a shift: exact where they are exact, by hand where chance has its say."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.activities import Activity
from model.events import Event
from model.fold import State, fold
from model.job import Job
from model.projection import project_finish
from model.shift_chances import CHANCES, PATHS, SEED, shift_chances
from tests.model.builders import a_calendar, a_frame, a_job, an_event, done, only

FALSEWORK = only("falsework")
POUR_AND_CURE = only("deck_pour", "curing")
WEEK = 7


def stood(job: Job, events: list[Event], moment: dt.datetime) -> State:
    return fold(a_frame(*events), job, as_of=moment)


def of_shift(job: Job, events: list[Event], day: str, next_day: str = "") -> pd.DataFrame:
    shift = dt.date.fromisoformat(day)
    following = dt.date.fromisoformat(next_day) if next_day else shift + dt.timedelta(days=1)
    began = dt.datetime.combine(shift, dt.time(5, 59, 59))
    now = began + dt.timedelta(hours=23)
    return shift_chances(job, stood(job, events, now), stood(job, events, began), shift, following)


def chance(cells: pd.DataFrame, unit: str, activity: str, what: str, span: str = "") -> float:
    """0 where a cell is left out, which says that it cannot start."""
    found = cells[
        (cells["unit"] == unit) & (cells["activity"] == activity) & (cells["span"] == span)
    ]
    return float(found[what].iloc[0]) if len(found) else 0.0


def poured_on_friday() -> list[Event]:
    return [*done("deck_pour", start="2026-03-05 07:00", finish="2026-03-06 15:00"),
            an_event("start", "2026-03-06 15:00", activity="curing")]  # fmt: skip


@pytest.mark.parametrize(
    ("day", "next_day", "this", "by_next"),
    [("2026-03-11", "2026-03-12", 0.0, 0.0), ("2026-03-12", "2026-03-13", 0.0, 1.0),
     ("2026-03-13", "2026-03-16", 1.0, 1.0), ("2026-03-18", "2026-03-19", 1.0, 1.0)],
)  # fmt: skip
def test_a_cure_of_seven_days_is_due_on_the_seventh_and_until_it_is_told(
    day, next_day, this, by_next
):
    job = a_job(activities=POUR_AND_CURE)
    cells = of_shift(job, poured_on_friday(), day, next_day)
    assert chance(cells, "E01", "curing", "finishes") == this
    assert chance(cells, "E01", "curing", "finishes_by_next") == by_next


def test_a_crew_that_is_free_starts_on_the_unit_that_waits_for_nothing():
    cells = of_shift(a_job(activities=FALSEWORK), done("falsework"), "2026-03-05")
    assert chance(cells, "E02", "falsework", "starts") == 1.0
    # Only if it does in one day what took it three.
    assert chance(cells, "E03", "falsework", "starts") < 0.02


def test_nobody_starts_on_a_saturday_and_everybody_who_can_on_monday():
    cells = of_shift(a_job(activities=FALSEWORK), done("falsework"), "2026-03-07", "2026-03-09")
    assert chance(cells, "E02", "falsework", "starts") == 0.0
    assert chance(cells, "E02", "falsework", "starts_by_next") == 1.0


def test_rain_alone_keeps_a_free_crew_from_starting():
    """March 2026 has 22 workdays; of 5.5 lost, each is lost with 1/4: so 3/4, then 15/16."""
    rain = (0.0, 0.0, 5.5, *[0.0] * 9)
    job = a_job(activities=FALSEWORK, calendar=a_calendar(lost_days_per_month=rain))
    cells = of_shift(job, done("falsework"), "2026-03-05")
    for what, expected in (("starts", 3 / 4), ("starts_by_next", 15 / 16)):
        error = np.sqrt(expected * (1 - expected) / PATHS)
        assert abs(chance(cells, "E02", "falsework", what) - expected) < 3 * error


def test_what_follows_a_finish_of_this_shift_is_due_in_the_next():
    events = done("falsework", finish="2026-03-04 15:00")
    cells = of_shift(a_job(activities=FALSEWORK), events, "2026-03-04")
    assert "E01" not in set(cells["unit"])
    assert chance(cells, "E02", "falsework", "starts") == 0.0
    assert chance(cells, "E02", "falsework", "starts_by_next") == 1.0


def test_a_night_shift_that_finishes_after_midnight_finishes_in_its_own_shift():
    events = done("falsework", start="2026-03-04 19:00", finish="2026-03-05 02:00")
    cells = of_shift(a_job(activities=FALSEWORK), events, "2026-03-04")
    assert "E01" not in set(cells["unit"])
    assert chance(cells, "E02", "falsework", "starts_by_next") == 1.0


def nearly_done(*more: Event) -> list[Event]:
    """One unit finished, and 90 of 100 m² placed on the next by Wednesday evening."""
    return [*done("falsework", start="2026-03-02 07:00", finish="2026-03-02 15:00"),
            an_event("start", "2026-03-03 07:00", "E02"),
            an_event("place", "2026-03-04 15:00", "E02", quantity=90), *more]  # fmt: skip


PLANNED = [(unit, "", "falsework", 100.0) for unit in ("E01", "E02", "E03")]
ONE_DAY = (Activity("falsework", "Falsework", measure="falsework", planned_cycle_days=1.0),)


def test_the_last_tenth_of_a_day_or_two_is_finished_in_the_shift():
    job = a_job(activities=ONE_DAY, planned=PLANNED)
    assert chance(of_shift(job, nearly_done(), "2026-03-05"), "E02", "falsework", "finishes") == 1.0


def test_what_this_shift_placed_on_goes_on_with_the_next():
    placed = an_event("place", "2026-03-05 15:00", "E02", quantity=5)
    cells = of_shift(a_job(activities=ONE_DAY, planned=PLANNED), nearly_done(placed), "2026-03-05")
    assert chance(cells, "E02", "falsework", "finishes") == 0.0
    assert chance(cells, "E02", "falsework", "finishes_by_next") == 1.0


def test_where_all_is_placed_only_the_finish_is_missing():
    placed = an_event("place", "2026-03-05 15:00", "E02", quantity=10)
    cells = of_shift(a_job(activities=ONE_DAY, planned=PLANNED), nearly_done(placed), "2026-03-05")
    assert chance(cells, "E02", "falsework", "finishes") == 1.0


def test_a_hold_of_this_shift_is_not_lifted_in_it():
    held = an_event("hold", "2026-03-05 15:00", "E02")
    cells = of_shift(a_job(activities=ONE_DAY, planned=PLANNED), nearly_done(held), "2026-03-05")
    assert chance(cells, "E02", "falsework", "starts") == 0.0
    assert chance(cells, "E02", "falsework", "finishes") == 0.0


def test_spans_are_finished_one_by_one_and_the_next_begins_where_the_last_ends():
    forms = Activity("deck_forms", "Deck forms", grain="span", planned_cycle_days=4.0)
    job = a_job(spans=4, activities=(forms,))
    history = done("deck_forms", start="2026-03-02 07:00", finish="2026-03-05 15:00")
    cells = of_shift(job, history, "2026-03-06", "2026-03-09")
    finishes = [chance(cells, "E02", "deck_forms", "finishes_by_next", span) for span in "1234"]
    starts = [chance(cells, "E02", "deck_forms", "starts_by_next", span) for span in "1234"]
    assert starts[0] == 1.0
    assert finishes == sorted(finishes, reverse=True)
    assert finishes[0] > 0.5 > finishes[3]
    for start, finish_before in zip(starts[1:], finishes, strict=False):
        assert start <= finish_before


def a_busy_job(headings: int = 1) -> tuple[Job, list[Event]]:
    rain = (4.0, 4.0, 3.0, 2.0, *[0.0] * 8)
    job = a_job(units=24, headings=headings, calendar=a_calendar(lost_days_per_month=rain),
                falsework_sets=4)  # fmt: skip
    events = [*done("falsework", "E01", "2026-03-02 07:00", "2026-03-05 15:00"),
              *done("bottom_slab_stems", "E01", "2026-03-06 07:00", "2026-03-10 15:00"),
              *done("falsework", "E02", "2026-03-06 07:00", "2026-03-10 15:00"),
              *done("falsework", "E03", "2026-03-11 07:00", "2026-03-13 15:00"),
              an_event("start", "2026-03-11 07:00", "E02", "bottom_slab_stems"),
              an_event("start", "2026-03-11 07:00", "E01", "deck_forms", "1")]  # fmt: skip
    return job, events


def test_the_units_left_out_change_nothing_so_pours_agree_with_the_forecast():
    """The forecast marches all 24 units on the same paths; the shift only the first few."""
    job, events = a_busy_job()
    evening = dt.datetime(2026, 3, 15, 23, 59)
    forecast = project_finish(
        job, stood(job, events, evening), as_of=evening.date(), paths=PATHS, seed=SEED
    )
    monday = forecast.pours[forecast.pours["day"] == "2026-03-16"]
    cells = of_shift(job, events, "2026-03-16")
    assert len(monday) > 0
    for pour in monday.itertuples():
        assert chance(cells, pour.unit, pour.activity, "finishes") == pour.chance


@settings(max_examples=12, deadline=None)
@given(day=st.integers(0, 20), told=st.integers(0, 11))
def test_chances_are_chances_and_the_next_shift_only_adds(day, told):
    job, events = a_busy_job(headings=2)
    shift = dt.date(2026, 3, 9) + dt.timedelta(days=day)
    cells = of_shift(job, events[: told + 1], shift.isoformat())
    values = cells[list(CHANCES)].to_numpy()
    assert ((values >= 0) & (values <= 1)).all()
    assert (cells["starts_by_next"] >= cells["starts"]).all()
    assert (cells["finishes_by_next"] >= cells["finishes"]).all()
    assert (cells["starts"] >= cells["finishes"]).all()
    assert not cells.duplicated(["unit", "span", "activity"]).any()


def test_a_heading_on_which_nothing_has_begun_is_left_out():
    job = a_job(units=4, headings=2, activities=FALSEWORK)
    cells = of_shift(job, done("falsework"), "2026-03-05")
    assert set(cells["heading"]) == {"h1"}


def test_a_crew_that_becomes_free_in_the_shift_starts_in_it_as_often_as_it_used_to():
    """Four starts known, none on the day the crew was free: (0 + 1) / (4 + 2) of the finishes."""
    days = [("02", "03"), ("04", "05"), ("06", "09"), ("10", "11")]
    events = [event for number, (start, finish) in enumerate(days, 1)
              for event in done("falsework", f"E{number:02d}", f"2026-03-{start} 07:00",
                                f"2026-03-{finish} 15:00")]  # fmt: skip
    events.append(an_event("start", "2026-03-12 07:00", "E05"))
    job = a_job(units=6, activities=FALSEWORK)
    cells = of_shift(job, events, "2026-03-13", "2026-03-16")
    sure = chance(cells, "E05", "falsework", "finishes")
    assert 0.1 < sure < 1.0
    assert chance(cells, "E06", "falsework", "starts") == pytest.approx(sure / 6, rel=0.1)
