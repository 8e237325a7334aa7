"""How long holds last, from the log."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from model.events import Event
from model.fold import State, fold
from model.holds import draw_hold_days, ended_holds, held_by_weather, held_days
from model.job import Job
from tests.model.builders import a_frame, a_job, an_event, only

JOB = a_job(units=3, activities=only("falsework", "rebar"))
TODAY = dt.date(2026, 3, 20)


def held(*events: Event, job: Job = JOB) -> State:
    return fold(a_frame(*events), job, as_of=dt.datetime.combine(TODAY, dt.time(23)))


START = an_event("start", "2026-03-02 07:00")
HOLD = an_event("hold", "2026-03-05 10:00")


def test_a_hold_lasts_the_working_days_until_it_is_resumed() -> None:
    # Thursday 5th to Tuesday 10th.
    state = held(START, HOLD, an_event("resume", "2026-03-10 07:00"))
    assert ended_holds(state, JOB).tolist() == [3]


def test_a_hold_that_ends_with_the_finish_is_over_too() -> None:
    assert ended_holds(held(START, HOLD, an_event("finish", "2026-03-06 15:00")), JOB) == [1]


def test_a_hold_said_twice_is_one_hold() -> None:
    again = an_event("hold", "2026-03-06 10:00")
    state = held(START, HOLD, again, an_event("resume", "2026-03-10 07:00"))
    assert ended_holds(state, JOB).tolist() == [2]


def test_a_hold_in_force_is_not_over() -> None:
    state = held(START, HOLD)
    assert ended_holds(state, JOB).size == 0
    # Thursday 5th to Friday 20th, that day counted.
    assert held_days(state, JOB, TODAY).tolist() == [[12, 0], [0, 0], [0, 0]]


def test_a_void_hold_never_was() -> None:
    void = an_event("void", "2026-03-06 10:00", activity="", voids=HOLD.event_id)
    state = held(START, HOLD, void, an_event("resume", "2026-03-10 07:00"))
    assert ended_holds(state, JOB).size == 0


def test_a_hold_of_all_spans_counts_once() -> None:
    job = a_job(units=2, spans=3, activities=only("rebar"))
    rebar = {"activity": "rebar"}
    events = [
        an_event("start", "2026-03-02 07:00", **rebar),
        an_event("hold", "2026-03-05 10:00", **rebar),
        an_event("resume", "2026-03-10 07:00", **rebar),
    ]
    assert ended_holds(held(*events, job=job), job).tolist() == [3]


def test_holds_for_weather_are_told_apart_from_others() -> None:
    state = held(
        START, an_event("hold", "2026-03-05 10:00", reason="Rain"),
        an_event("resume", "2026-03-06 07:00"), an_event("hold", "2026-03-09 07:00"),
        an_event("resume", "2026-03-12 07:00"),
        an_event("hold", "2026-03-13 07:00", reason="high water, access flooded"),
    )  # fmt: skip
    assert ended_holds(state, JOB).tolist() == [3]
    assert ended_holds(state, JOB, weather=True).tolist() == [1]
    assert np.argwhere(held_by_weather(state)).tolist() == [[0, 0]]


def test_without_history_a_hold_lasts_the_usual_days() -> None:
    days = draw_hold_days(np.random.default_rng(1), np.empty(0), 4.0, 40_000)
    # An exponential of mean 3: standard error 3/√N.
    assert days.mean() == pytest.approx(3.0, abs=4 * 3 / np.sqrt(40_000))


def test_a_long_hold_lasts_on_as_the_longer_ones_did() -> None:
    ended = np.array([1.0, 2.0, 2.0, 10.0, 12.0, *[11.0] * 97])
    days = draw_hold_days(np.random.default_rng(1), ended, 5.0, 40_000)
    # 99 longer ones of the log against the usual that counts like 3: mean about 6.
    mean = (99 * (11.0 - 5.0) + 3 * 3.0) / 102
    assert days.mean() == pytest.approx(mean, abs=0.05)
    assert (days >= 0).all()


def test_a_hold_that_usually_ends_the_next_morning_may_end_tomorrow() -> None:
    # Held on Monday, gone on with on Tuesday: one working day, as this one has lasted tonight.
    events = [START, an_event("hold", "2026-03-09 10:00"), an_event("resume", "2026-03-10 07:00")]
    ended = np.repeat(ended_holds(held(*events), JOB), 97)
    tonight = held_days(held(*events[:2]), JOB, dt.date(2026, 3, 9)).max()
    days = draw_hold_days(np.random.default_rng(1), ended, tonight, 40_000)
    assert (ended[0], tonight) == (1, 1)
    # 97 of the log against the usual that counts like 3.
    assert (days == 0).mean() == pytest.approx(97 / 100, abs=0.01)
