"""The owner's week: counted by hand on small jobs, and never changed by what is told later."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.events import Event
from model.finish_move import at_pace_of, finish_moves, pace_changes
from model.fold import fold
from model.job import Job
from model.line_now import LineNow, line_now
from model.problems import InputError
from model.projection import project_finish
from model.week import week_moments
from model.week_words import hold_words
from tests.model.builders import NOW, a_calendar, a_frame, a_job, an_event, done, only
from tests.model.weeks import SECOND_SUNDAY, week_of

FIRST_SUNDAY = dt.date(2026, 3, 8)
FALSEWORK = only("falsework")


def placing(at: str, amount: float, unit: str = "E01", **more: object) -> Event:
    return an_event("place", at, unit, quantity=amount, **more)


@pytest.fixture
def job() -> Job:
    planned = [(f"E{unit:02d}", "", "falsework", 100.0) for unit in (1, 2, 3)]
    return a_job(activities=FALSEWORK, planned=planned)


def test_placed_is_counted_for_the_week_and_to_date_against_the_plan(job: Job) -> None:
    answer = week_of(
        job,
        placing("2026-03-03 12:00", 60.0),
        placing("2026-03-08 23:59", 5.0),
        placing("2026-03-09 00:00", 35.0),
        placing("2026-03-15 23:59", 20.0, "E02"),
        placing("2026-03-16 00:00", 7.0, "E02"),
    )
    [row] = answer.activities
    assert (row.placed, row.placed_to_date, row.planned) == (55.0, 120.0, 300.0)
    before, in_week, due = row.shares or (0, 0, 0)
    assert (before, in_week, due) == (pytest.approx(65 / 300), pytest.approx(55 / 300), None)


def test_units_are_listed_in_the_week_they_were_begun_and_finished(job: Job) -> None:
    answer = week_of(
        job,
        *done("falsework", "E01", "2026-03-02 07:00", "2026-03-06 15:00"),
        *done("falsework", "E02", "2026-03-06 15:00", "2026-03-12 15:00"),
        *done("falsework", "E03", "2026-03-13 07:00", "2026-03-18 15:00"),
    )
    [row] = answer.activities
    assert (row.started, row.finished, row.reopened) == (("E03",), ("E02",), ())
    assert (row.units_complete, row.units_total) == (2, 3)


def test_a_unit_reopened_in_the_week_is_said_and_counts_no_more(job: Job) -> None:
    answer = week_of(
        job, *done("falsework"), an_event("reopen", "2026-03-10 09:00", reason="settled")
    )
    [row] = answer.activities
    assert (row.finished, row.reopened, row.units_complete) == ((), ("E01",), 0)


def test_without_amounts_the_share_goes_by_units() -> None:
    answer = week_of(
        a_job(units=4, activities=only("falsework", measure="none")),
        *done("falsework", "E01", "2026-03-02 07:00", "2026-03-06 15:00"),
        *done("falsework", "E02", "2026-03-06 15:00", "2026-03-12 15:00"),
    )
    [row] = answer.activities
    assert row.placed is None
    assert row.shares == (0.25, 0.25, None)


def test_the_baseline_says_what_is_due_by_the_end_of_the_week(job: Job) -> None:
    days = pd.to_datetime(["2026-03-06", "2026-03-15", "2026-03-16"]).astype("datetime64[us]")
    baseline = pd.DataFrame(
        {"unit": ["E01", "E02", "E03"], "activity": "falsework", "planned_finish": days}
    )
    [row] = week_of(dataclasses.replace(job, baseline=baseline)).activities
    assert (row.units_due, row.due) == (2, 200.0)


def test_a_hold_of_the_week_is_told_with_its_reason_also_when_it_is_over(job: Job) -> None:
    answer = week_of(
        job,
        an_event("start", "2026-03-02 08:00"),
        an_event("hold", "2026-03-10 09:00", reason="Rain"),
        an_event("resume", "2026-03-12 07:00"),
    )
    [hold] = answer.holds
    assert (hold.since, hold.until, hold.of_week) == (
        dt.date(2026, 3, 10), dt.date(2026, 3, 12), True,
    )  # fmt: skip
    assert hold_words(hold) == "E01 falsework: Rain; since 10 Mar, until 12 Mar"


def test_a_hold_from_before_is_told_while_it_stands_and_not_after(job: Job) -> None:
    events = (
        an_event("start", "2026-03-02 08:00"),
        an_event("hold", "2026-03-05 09:00", reason="no forms"),
        an_event("resume", "2026-03-17 07:00"),
    )
    [standing] = week_of(job, *events).holds
    assert (standing.until, standing.of_week) == (None, False)
    assert week_of(job, *events, ending=dt.date(2026, 3, 29)).holds == ()


def test_a_hold_of_some_spans_names_them_and_of_all_spans_the_unit() -> None:
    job = a_job(units=1, spans=3, activities=only("deck_forms"))
    some = week_of(
        job,
        an_event("hold", "2026-03-10 09:00", activity="deck_forms", span="2"),
    )
    every = week_of(job, an_event("hold", "2026-03-10 09:00", activity="deck_forms"))
    assert [hold.place for hold in (*some.holds, *every.holds)] == ["E01 span 2", "E01"]


def test_days_lost_to_weather_are_those_that_rain_held_beyond_the_shift(job: Job) -> None:
    answer = week_of(
        job,
        an_event("start", "2026-03-02 08:00"),
        an_event("hold", "2026-03-10 09:00", reason="Rain"),
        an_event("resume", "2026-03-12 07:00"),
    )
    # Tuesday and Wednesday; the one unit under way was held, so each counts as a whole day.
    assert (answer.weather.working_days, answer.weather.lost_days) == (5, 2.0)
    assert answer.weather.expected_days is None


def test_days_expected_lost_come_from_the_calendar() -> None:
    job = a_job(activities=FALSEWORK, calendar=a_calendar(lost_days_per_month=(4.4,) * 12))
    # March 2026 has 22 working days from Monday to Friday: 4.4 / 22 each, five in a week.
    assert week_of(job).weather.expected_days == pytest.approx(5 * 4.4 / 22)


def test_the_finishes_are_those_of_the_forecasts_at_the_ends_of_both_weeks(job: Job) -> None:
    events = done("falsework", "E01", "2026-03-02 07:00", "2026-03-11 15:00")
    answer = week_of(job, *events)
    frame = a_frame(*events)
    for week_end, found in (
        (FIRST_SUNDAY, answer.finish.before),
        (SECOND_SUNDAY, answer.finish.now.finish),
    ):
        moment = dt.datetime.combine(week_end, dt.time.max)
        assert project_finish(job, fold(frame, job, as_of=moment), as_of=week_end).finish == found


def test_a_crew_with_too_few_cycles_is_counted_while_it_has_work_left() -> None:
    job = a_job(units=6, headings=2, activities=FALSEWORK)
    near, far = job.headings
    days = ["03-03", "03-04", "03-05", "03-06"]
    told = [
        event
        for unit, day in zip([*near.units, far.units[0]], days, strict=True)
        for event in done("falsework", unit, f"2026-{day} 07:00", f"2026-{day} 15:00")
    ]
    # The near heading is finished, with two cycles; the far one has none yet and two units left.
    answer = week_of(job, *told)
    assert answer.little_history == (1, 1)
    assert "Of 1 crew with work left, 1 has too few recent cycles" in str(answer)


def test_the_first_week_has_no_week_before(job: Job) -> None:
    late_start = a_job(activities=FALSEWORK, calendar=a_calendar(start=dt.date(2026, 3, 4)))
    answer = week_of(late_start, ending=FIRST_SUNDAY)
    assert (answer.finish.before, answer.move, answer.paces) == (None, None, ())
    assert "first week" in str(answer)


def test_a_finished_job_says_when_and_moves_no_more(job: Job) -> None:
    events = [
        event
        for unit, day in (("E01", 3), ("E02", 4), ("E03", 5))
        for event in done("falsework", unit, f"2026-03-0{day} 07:00", f"2026-03-0{day} 15:00")
    ]
    answer = week_of(job, *events)
    assert answer.finish.now.done
    assert answer.finish.now.finish.p50 == dt.date(2026, 3, 5)
    assert (answer.finish.moved_days, answer.move and answer.move.days) == (0, 0.0)
    assert "Finished on 5 Mar 2026" in str(answer)


LATE = {"recorded_at": "2026-03-20 12:00"}


def test_what_is_told_later_does_not_change_the_week_as_it_was_known(job: Job) -> None:
    early = [
        placing("2026-03-10 12:00", 50.0, recorded_at="2026-03-10 22:00"),
        an_event("hold", "2026-03-11 09:00", recorded_at="2026-03-11 22:00"),
    ]
    later = [
        placing("2026-03-10 13:00", 9.0, **LATE),
        an_event("void", "2026-03-20 12:00", activity="", voids=early[1].event_id, **LATE),
    ]
    then, again = week_of(job, *early), week_of(job, *early, *later)
    assert again.as_dict() == then.as_dict()
    assert str(again) == str(then)
    assert (then.told_since, again.told_since) == (0, 1)
    known = week_of(job, *early, *later, known_on=dt.datetime(2026, 3, 21))
    assert (known.activities[0].placed, known.holds) == (59.0, ())


def test_what_was_told_late_about_the_time_before_is_a_part_of_the_move(job: Job) -> None:
    early = done("falsework", "E01", "2026-03-02 07:00", "2026-03-06 15:00")
    told_late = [
        dataclasses.replace(event, recorded_at=dt.datetime(2026, 3, 10, 12, tzinfo=dt.UTC))
        for event in early
    ]
    in_time, late = week_of(job, *early), week_of(job, *told_late)
    assert in_time.move is not None
    assert late.move is not None
    assert in_time.move.told_late_days == 0.0
    assert late.move.told_late_days < -1.0
    assert late.finish.now == in_time.finish.now
    assert late.move.work_days == in_time.move.work_days


@pytest.mark.parametrize(
    ("ending", "known_on", "says"),
    [
        (dt.date(2026, 3, 1), None, "over before the job starts"),
        (dt.date(2027, 1, 5), None, "still to come"),
        (SECOND_SUNDAY, dt.datetime(2026, 3, 8, 12), "nothing was known yet"),
    ],
)
def test_a_week_that_cannot_be_told_is_refused_with_the_reason(
    job: Job, ending: dt.date, known_on: dt.datetime | None, says: str
) -> None:
    with pytest.raises(InputError, match=says):
        week_moments(job, ending, known_on, now=NOW, last_told=NOW)


@given(st.dates(dt.date(2026, 3, 16), dt.date(2026, 12, 31)))
def test_without_a_day_it_is_the_last_week_from_monday_to_sunday_that_is_over(day: dt.date) -> None:
    now = dt.datetime.combine(day, dt.time(12))
    ending = week_moments(a_job(), None, None, now=now, last_told=now).ending
    assert ending.isoweekday() == 7
    assert dt.timedelta(0) < day - ending <= dt.timedelta(days=7)


def test_a_week_that_ends_today_is_known_as_of_now_and_can_be_asked_for_again(job: Job) -> None:
    now = dt.datetime(2026, 3, 13, 17, 30, 5, 123456)
    moments = week_moments(job, now.date(), None, now=now, last_told=now)
    assert moments.known_on == dt.datetime(2026, 3, 13, 17, 30, 5)
    later = dt.datetime(2026, 3, 20, 8)
    assert moments == week_moments(job, now.date(), moments.known_on, now=later, last_told=later)


def test_what_the_log_knows_has_been_whatever_the_clock_shows(job: Job) -> None:
    slow, told = dt.datetime(2020, 1, 1), dt.datetime(2026, 3, 17, 9)
    assert week_moments(job, None, None, now=slow, last_told=told).ending == SECOND_SUNDAY


def lines() -> tuple[LineNow, LineNow]:
    """A line before and after a week in which its crew was slower than planned."""
    job = a_job(units=6, activities=FALSEWORK)
    frame = a_frame(
        *done("falsework", "E01", "2026-03-02 07:00", "2026-03-04 15:00"),
        *done("falsework", "E02", "2026-03-05 07:00", "2026-03-13 15:00"),
    )
    then, now = (
        line_now(job, fold(frame, job, as_of=dt.datetime.combine(day, dt.time.max)), day, recent=8)
        for day in (FIRST_SUNDAY, SECOND_SUNDAY)
    )
    return then, now


def test_the_parts_of_a_move_are_the_work_and_the_pace_and_nothing_else() -> None:
    then, now = lines()
    whole = finish_moves(then, then, now, paths=2_000, seed=1)[0]
    # Two working days were expected of the unit, and it took seven: later, and slower from now.
    assert whole.work_days > 1.0
    assert whole.pace_days > 1.0
    assert whole.days == whole.work_days + whole.pace_days


def test_where_only_the_pace_differs_the_work_has_no_part_and_the_other_way() -> None:
    then, now = lines()
    slower = finish_moves(then, then, at_pace_of(then, now), paths=2_000, seed=1)[0]
    moved_on = finish_moves(then, then, at_pace_of(now, then), paths=2_000, seed=1)[0]
    assert slower.work_days == pytest.approx(0.0, abs=1e-9)
    assert slower.pace_days > 1.0
    assert moved_on.pace_days == pytest.approx(0.0, abs=1e-9)
    assert moved_on.work_days > 1.0


def test_a_line_that_is_the_same_does_not_move() -> None:
    _, now = lines()
    for move in finish_moves(now, now, now, paths=400, seed=3):
        assert (move.days, move.chance_days, move.worth_saying) == (0.0, 0.0, False)


def test_chance_is_about_as_large_as_moves_between_seeds_are() -> None:
    then, now = lines()
    moves = [finish_moves(then, then, now, paths=1_000, seed=seed)[0] for seed in range(12)]
    spread = float(np.std([move.days for move in moves], ddof=1))
    told = float(np.mean([move.chance_days for move in moves]))
    # Twelve seeds know a spread to within a factor of about two.
    assert told / 2.5 < spread < 2.5 * told


def test_the_crew_whose_days_changed_most_on_what_is_left_comes_first() -> None:
    then, now = lines()
    [change] = pace_changes(then, now)
    assert (change.heading, change.activity, change.units_left) == ("h1", "falsework", 4)
    assert change.now_days > change.then_days
    assert change.adds_up_to_days == (change.now_days - change.then_days) * 4
