"""The shift entry form: what is typed becomes events, exactly and once."""

import datetime as dt
import uuid
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.parts.entry_form import Draft, events_of, parse_moment
from model.problems import InputError

SHIFT_END = dt.datetime(2026, 7, 1, 15, 30)
FORM = "6b1f7d5e-6e51-4b62-93f4-0d3a5d6f0a11"


def pour(**filled):
    return Draft("E07", "", "deck_pour", **{"measure_unit": "yd3", **filled})


def recorded(*drafts, by="Ines", form_id=FORM):
    return events_of(drafts, by=by, at=SHIFT_END, form_id=form_id)


def test_a_pour_started_placed_and_finished_becomes_three_events():
    events = recorded(pour(did=("start", "finish"), quantity="301.50"))
    assert [event.kind for event in events] == ["start", "finish", "place"]
    assert events[-1].quantity == Decimal("301.50")
    assert str(events[-1].quantity) == "301.50", "digits stay as they were typed"


def test_a_double_tap_makes_the_same_events_again():
    once = recorded(pour(did=("start",), quantity="300"))
    again = recorded(pour(did=("start",), quantity="300"))
    assert [event.event_id for event in once] == [event.event_id for event in again]


def test_the_next_shift_makes_events_of_its_own():
    other = str(uuid.UUID(int=7))
    first = recorded(pour(quantity="30"))[0]
    assert recorded(pour(quantity="30"), form_id=other)[0].event_id != first.event_id


def test_blank_rows_are_passed_over():
    events = recorded(pour(), pour(did=("start",)))
    assert len(events) == 1


def test_a_note_alone_is_kept_as_a_note():
    (event,) = recorded(pour(note="pump moved to the east side"))
    assert (event.kind, event.note) == ("note", "pump moved to the east side")


def test_every_problem_of_the_form_is_said_at_once():
    with pytest.raises(InputError) as refused:
        recorded(pour(quantity="three"), pour(reason="rain"), by=" ")
    assert [problem.field for problem in refused.value.problems] == ["by", "quantity", "reason"]


@pytest.mark.parametrize("typed", ["0", "-3", "nan", "inf", "3 loads", "1e999999999"])
def test_what_is_no_amount_is_refused(typed):
    with pytest.raises(InputError, match="no amount"):
        recorded(pour(quantity=typed))


def test_an_empty_form_says_so():
    with pytest.raises(InputError, match="No row is filled in"):
        recorded(pour())


@pytest.mark.parametrize(("day", "time"), [("24.11.2026", "15:30"), ("2026-11-24", "half 3")])
def test_a_day_or_time_that_cannot_be_read_says_how_to_write_it(day, time):
    with pytest.raises(InputError, match="Write it like"):
        parse_moment(day, time)


@given(st.decimals(min_value="0.001", max_value="99999", places=3))
def test_amounts_come_out_as_they_went_in(amount):
    (event,) = recorded(pour(quantity=str(amount)))
    assert str(event.quantity) == str(amount)
