"""The projected finish on the map page: beside the plan, for the line and heading by heading."""

from __future__ import annotations

import datetime as dt

import pytest

from dashboard.parts.finish_cards import heading_table, late_words
from model.against_plan import FinishAgainstPlan, against_plan
from model.projection import Band

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


def test_a_heading_without_a_plan_has_no_date_made_up():
    said = str(heading_table([FinishAgainstPlan("h1", DAYS, None, None)]))
    assert "no plan" in said
    assert "–" in said
