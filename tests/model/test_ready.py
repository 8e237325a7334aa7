"""Which work can go on, and since when the trades before it are out of the way."""

import pandas as pd
import pytest

from model.fold import fold
from model.ready import readiness
from tests.model.builders import a_frame, a_job, an_event, done, only

JOB = a_job(units=2, spans=2, activities=only("falsework", "deck_forms", "rebar", "deck_pour"))
FORMS = [
    *done("falsework", start="2026-03-02 07:00", finish="2026-03-03 15:00"),
    *done("deck_forms", span="1", start="2026-03-04 07:00", finish="2026-03-05 15:00"),
]


def ready(activity, *events, unit="E01", span=""):
    cells = readiness(fold(a_frame(*events), JOB), JOB, JOB.activity_by_key[activity])
    return cells[(cells["unit"] == unit) & (cells["span"] == span)].iloc[0]


def test_work_that_waits_for_nothing_is_at_hand_from_the_first_day():
    cell = ready("falsework")
    assert (cell["waits_for"], bool(cell["at_hand"])) == ("", True)
    assert cell["free_since"] is pd.NaT


@pytest.mark.parametrize(("span", "waits"), [("1", ""), ("2", "Deck forms")])
def test_a_trade_that_goes_by_spans_follows_span_by_span(span, waits):
    cell = ready("rebar", *FORMS, span=span)
    assert (cell["waits_for"], bool(cell["at_hand"])) == (waits, waits == "")


def test_work_is_free_since_the_trade_before_it_was_finished():
    assert ready("rebar", *FORMS, span="1")["free_since"] == pd.Timestamp("2026-03-05")
    assert ready("rebar", *FORMS, span="2")["free_since"] is pd.NaT


def test_a_whole_unit_is_free_when_the_last_of_its_spans_is():
    second = done("deck_forms", span="2", start="2026-03-05 07:00", finish="2026-03-06 15:00")
    steel = [
        *done("rebar", span="2", start="2026-03-07 07:00", finish="2026-03-09 15:00"),
        *done("rebar", span="1", start="2026-03-09 07:00", finish="2026-03-10 15:00"),
    ]
    cell = ready("deck_pour", *FORMS, *second, *steel)
    assert cell["free_since"] == pd.Timestamp("2026-03-10")


def test_work_reopened_before_it_holds_it_up_again():
    reopened = an_event("reopen", "2026-03-06 08:00", activity="deck_forms", span="1")
    cell = ready("rebar", *FORMS, reopened, span="1")
    assert cell["waits_for"] == "Deck forms"
    assert cell["free_since"] is pd.NaT
