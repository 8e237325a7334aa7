"""Which pours come next, as the log has it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.fold import fold
from model.pours_ahead import OFFERED, pours_ahead
from tests.model.builders import a_frame, a_job, an_event, done

JOB = a_job(units=6, spans=2, headings=2)
LIFT, DECK = "bottom_slab_stems", "deck_pour"


def ahead(*events, job=JOB, unit=""):
    return pours_ahead(fold(a_frame(*events), job), unit)


def named(found):
    return [(one.unit, one.activity.key) for one in found]


def test_before_any_work_each_heading_offers_its_first_units():
    found = ahead()
    assert {one.unit for one in found if one.heading == "h1"} == {"E01", "E02"}
    assert {one.unit for one in found if one.heading == "h2"} == {"E04", "E05"}
    assert named(found)[:2] == [("E01", LIFT), ("E02", LIFT)], "a lift waits for less than a deck"


def test_a_pour_that_is_ready_comes_before_one_that_waits():
    first = ahead(*done("falsework", "E04"))[0]
    assert (first.unit, first.activity.key, first.heading, first.ready) == (
        "E04", LIFT, "h2", True)  # fmt: skip


def test_a_pour_under_way_comes_first_and_one_on_hold_after_what_is_ready():
    events = [*done("falsework", "E01"), *done("falsework", "E04"), *done("falsework", "E05"),
              an_event("start", "2026-03-05 07:00", "E04", LIFT)]  # fmt: skip
    assert named(ahead(*events))[:2] == [("E04", LIFT), ("E01", LIFT)]
    held = an_event("hold", "2026-03-05 09:00", "E04", LIFT, reason="Pump broke down")
    after = named(ahead(*events, held))
    assert after[:3] == [("E01", LIFT), ("E05", LIFT), ("E04", LIFT)]
    (stopped,) = [one for one in ahead(*events, held) if one.status == "on_hold"]
    assert (stopped.reason, stopped.ready) == ("Pump broke down", False)


def test_what_was_begun_out_of_turn_is_offered_too():
    started = an_event("start", "2026-03-05 07:00", "E03", LIFT)
    assert ("E03", LIFT) in named(ahead(started))


def test_a_deck_says_all_that_it_still_waits_for():
    (lift, deck) = sorted(ahead(*done("falsework", "E01"), unit="E01"),
                          key=lambda one: one.activity.key)  # fmt: skip
    assert lift.waits_for == ()
    assert deck.waits_for == ("Bottom slab and stems", "Deck forms", "Rebar")


def test_what_is_poured_is_offered_no_more():
    found = ahead(*done("falsework", "E01"), *done(LIFT, "E01"))
    assert ("E01", LIFT) not in named(found)
    assert ("E02", LIFT) in named(found)


def test_nothing_is_offered_where_all_is_poured():
    job = a_job(units=1)
    assert ahead(*done(LIFT), *done(DECK), job=job) == ()


@pytest.mark.parametrize("key", ["falsework", "rebar"])
def test_only_what_places_concrete_is_a_pour(key):
    assert key not in {one.activity.key for one in ahead()}


UNITS = st.sampled_from([f"E{number:02d}" for number in range(1, 7)])


@given(st.lists(st.tuples(UNITS, st.sampled_from([LIFT, DECK])), unique=True))
def test_no_heading_offers_more_than_two_of_an_activity_and_never_what_is_poured(poured):
    events = [event for unit, key in poured for event in done(key, unit)]
    found = ahead(*events)
    for heading in ("h1", "h2"):
        for key in (LIFT, DECK):
            units = {one.unit for one in found
                     if (one.heading, one.activity.key) == (heading, key)}  # fmt: skip
            left = [unit for unit in JOB.units["unit"] if JOB.heading_of_unit[unit] == heading
                    and (unit, key) not in poured]  # fmt: skip
            assert units == set(left[:OFFERED])
