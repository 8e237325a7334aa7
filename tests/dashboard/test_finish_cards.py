"""The projected finish on the map page: beside the plan, for the line and heading by heading."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from dashboard.parts.finish_cards import finish_card, heading_table, late_words
from model.against_plan import FinishAgainstPlan, against_plan
from model.projection import Band, Forecast

DAYS = Band(*(dt.date(2027, 3, day) for day in (1, 5, 12, 19)))


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (3, "3 working days late"),
        (1, "1 working day late"),
        (0, "on plan"),
        (-1, "1 working day early"),
        (None, "no plan"),
    ],
)
def test_late_and_early_are_words_not_signs(days, words):
    planned = None if days is None else dt.date(2027, 3, 2)
    assert late_words(FinishAgainstPlan("", DAYS, planned, days)) == words


def test_the_demos_headings_stand_beside_their_plans(project, call):
    settled = {"activity": "rebar", "date": "2026-11-24"}
    answer = call("finish-card.children", **{"settled.data": settled}).get_data(as_text=True)
    whole, *headings = against_plan(project.job, project.forecast())
    assert late_words(whole) in answer
    assert {one.heading for one in headings} == set(project.job.heading_of_unit.values())
    for one in headings:
        assert one.heading in answer
        assert late_words(one) in answer
    # One heading is ahead while others are far behind: the card alone would hide it.
    assert min(one.days_late for one in headings) < 0 < max(one.days_late for one in headings)


def a_forecast(finish):
    """Of which the card reads nothing but the finish."""
    empty = pd.DataFrame()
    return Forecast(dt.date(2027, 3, 1), None, 200, 1, finish, {}, empty, empty, empty,
                    np.array([], "datetime64[D]"), empty)  # fmt: skip


def test_work_to_come_is_projected_with_its_band_and_no_sign_is_torn_off_its_number():
    card = finish_card(a_forecast(DAYS), FinishAgainstPlan("", DAYS, None, None))
    label, value, note = (part.children for part in card.children)
    assert (label, value) == ("Projected finish", "5 Mar 2027")
    assert note == ("80\u00a0% sure by 12 Mar 2027 · "
                    "10 to 90\u00a0%: 1 Mar 2027 to 19 Mar 2027")  # fmt: skip


def test_a_finished_line_says_when_and_projects_nothing():
    was = Band(*[dt.date(2027, 3, 5)] * 4)
    plan = FinishAgainstPlan("", was, dt.date(2027, 3, 2), 3, done=True)
    said = str(finish_card(a_forecast(was), plan))
    assert "Finished" in said
    assert "5 Mar 2027" in said
    assert "plan: 2 Mar 2027, so 3 working days late" in said
    for words in ("Projected", "sure", "10 to 90"):
        assert words not in said


def test_a_finished_heading_says_so_beside_those_that_are_not():
    said = str(heading_table([FinishAgainstPlan("h1", DAYS, None, None, done=True),
                              FinishAgainstPlan("h2", DAYS, None, None)]))  # fmt: skip
    assert said.count("finished 5 Mar 2027") == 1
    assert said.count("12 Mar 2027") == 1


def test_a_heading_without_a_plan_has_no_date_made_up():
    said = str(heading_table([FinishAgainstPlan("h1", DAYS, None, None)]))
    assert "no plan" in said
    assert "–" in said
