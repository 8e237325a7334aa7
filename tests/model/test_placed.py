"""Placed against planned, in all and by day."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given

from model.clock import end_of_day
from model.fold import fold
from model.placed import by_day, totals
from tests.model.builders import START, a_frame, a_job, an_event, done, only
from tests.model.test_fold import JOB, some_logs

POUR = only("deck_pour")


def test_totals_add_up_what_is_placed_and_planned():
    planned = [(unit, "", "deck_pour", 230.0) for unit in ("E01", "E02", "E03")]
    job = a_job(units=3, activities=POUR, planned=planned)
    events = [
        an_event("place", activity="deck_pour", quantity=200, measure_unit="m3"),
        an_event("place", unit="E02", activity="deck_pour", quantity=50, measure_unit="m3"),
        an_event("finish", "2026-03-03 15:00", activity="deck_pour"),
    ]
    total = totals(fold(a_frame(*events), job)).iloc[0]
    assert (total["placed_si"], total["planned_si"]) == (250.0, 690.0)
    assert (total["units_complete"], total["units_total"]) == (1, 3)


def test_without_any_plan_nothing_is_said_to_be_planned():
    total = totals(fold(a_frame(), a_job(activities=POUR))).iloc[0]
    assert np.isnan(total["planned_si"])
    assert total["placed_si"] == 0.0


def test_each_day_has_what_was_placed_up_to_its_end():
    events = [
        an_event("place", "2026-03-03 10:00", activity="deck_pour", quantity=5, measure_unit="m3"),
        an_event("place", "2026-03-05 10:00", activity="deck_pour", quantity=7, measure_unit="m3"),
        an_event("finish", "2026-03-05 15:00", activity="deck_pour"),
    ]
    days = by_day(a_frame(*events), a_job(activities=POUR), until=dt.date(2026, 3, 6))
    assert days.days[0] == np.datetime64(START)
    assert list(days.placed_si[:, 0]) == [0.0, 5.0, 5.0, 12.0, 12.0]
    assert list(days.units_complete[:, 0]) == [0, 0, 0, 1, 1]


def test_a_unit_counts_when_its_last_span_is_finished_and_not_after_a_reopen():
    one = done("rebar", span="1", finish="2026-03-03 15:00")
    other = done("rebar", span="2", finish="2026-03-04 15:00")
    reopen = an_event("reopen", "2026-03-05 08:00", activity="rebar", span="1")
    job = a_job(units=1, spans=2, activities=only("rebar"))
    assert list(by_day(a_frame(*one, *other, reopen), job).units_complete[:, 0]) == [0, 0, 1, 0]


def test_an_empty_log_has_one_day():
    assert by_day(a_frame(), JOB).placed_si.shape == (1, 6)


@given(some_logs())
def test_every_day_agrees_with_the_fold_as_of_its_end(events):
    frame = a_frame(*events)
    told = by_day(frame, JOB)
    for number, day in enumerate(told.days):
        total = totals(fold(frame, JOB, as_of=end_of_day(day.astype(object))))
        assert list(told.units_complete[number]) == list(total["units_complete"])
        assert told.placed_si[number] == pytest.approx(total["placed_si"].to_numpy())
