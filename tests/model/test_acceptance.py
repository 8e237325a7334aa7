"""What the log accepts, and what it says when it does not."""

from __future__ import annotations

import dataclasses
import datetime as dt
import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

import model.acceptance
from model.acceptance import judge, strangers
from model.activities import Activity
from model.events import EVENT_COLUMNS, Event
from model.fold import fold
from model.problems import Problem, errors_only
from tests.model.builders import ACTIVITIES, NOW, a_frame, a_job, an_event, done, only

JOB = a_job(units=2, spans=2)
FALSEWORK = done("falsework", start="2026-03-02 07:00", finish="2026-03-04 15:00")
BOTTOM = done("bottom_slab_stems", start="2026-03-05 07:00", finish="2026-03-06 15:00")
FORMS = done("deck_forms", start="2026-03-09 07:00", finish="2026-03-10 15:00")
REBAR = done("rebar", start="2026-03-11 07:00", finish="2026-03-12 15:00")
POUR = done("deck_pour", start="2026-03-13 05:00", finish="2026-03-13 15:00")
UNTIL_REBAR = [*FALSEWORK, *BOTTOM, *FORMS, *REBAR]


def told(*new: Event, log: list[Event] | None = None, job=JOB, now=NOW) -> list[Problem]:
    return judge(new, a_frame(*(log or [])), job, now_local=now)


def refusals(*new: Event, **more) -> list[str | None]:
    return [problem.field for problem in errors_only(told(*new, **more))]


def warnings(*new: Event, **more) -> list[str]:
    found = told(*new, **more)
    assert not errors_only(found)
    return [problem.message for problem in found]


def poured(quantity: float, **more) -> Event:
    at = more.pop("at", "2026-03-13 08:00")
    return an_event("place", at, activity="deck_pour", quantity=quantity, measure_unit="m3", **more)


# A usual history


def test_a_usual_history_is_accepted_without_a_word():
    assert told(*UNTIL_REBAR, *POUR) == []


def test_a_batch_is_judged_as_it_will_stand_whatever_its_order():
    events = [*UNTIL_REBAR, *POUR]
    random.Random(1).shuffle(events)
    assert told(*events) == []


def test_the_same_history_is_accepted_bit_by_bit():
    log: list[Event] = []
    for event in [*UNTIL_REBAR, *POUR]:
        assert told(event, log=log) == []
        log.append(event)


def test_what_is_in_the_log_already_is_passed_over():
    assert told(FALSEWORK[0], log=FALSEWORK) == []


# Fields


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"unit": "W99"}, "unit"),
        ({"activity": "painting"}, "activity"),
        ({"activity": ""}, "activity"),
        ({"kind": "begin"}, "kind"),
        ({"activity": "rebar", "span": "7"}, "span"),
        ({"span": "1"}, "span"),
        ({"by": " "}, "by"),
        ({"event_id": ""}, "event_id"),
        ({"at": NOW + dt.timedelta(minutes=6)}, "at"),
        ({"at": "2025-02-28"}, "at"),
        ({"at": dt.datetime(2026, 3, 2, tzinfo=dt.UTC)}, "at"),
        ({"kind": "hold", "reason": ""}, "reason"),
    ],
)
def test_a_field_that_cannot_be_is_named(wrong, field):
    assert refusals(an_event(**wrong)) == [field]


def test_a_phone_may_be_a_few_minutes_ahead():
    assert refusals(an_event(at=NOW + dt.timedelta(minutes=4))) == []


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"quantity": None, "measure_unit": "m2"}, "quantity"),
        ({"quantity": "0"}, "quantity"),
        ({"quantity": "-3"}, "quantity"),
        ({"quantity": "NaN"}, "quantity"),
        ({"quantity": "Infinity"}, "quantity"),
        ({"quantity": "5", "measure_unit": "yd3"}, "measure_unit"),
        ({"quantity": "5", "measure_unit": ""}, "measure_unit"),
    ],
)
def test_a_place_needs_a_quantity_in_a_unit_of_its_measure(wrong, field):
    assert refusals(an_event("place", **wrong)) == [field]


def test_nothing_is_placed_where_nothing_is_counted():
    job = a_job(activities=only("curing"))
    placed = an_event("place", activity="curing", quantity=5)
    assert refusals(placed, job=job) == ["quantity"]


def test_a_note_may_speak_of_a_unit_as_a_whole():
    assert told(an_event("note", activity="", note="visitors on deck")) == []


def test_a_quantity_on_a_start_is_not_counted():
    assert "not counted" in warnings(an_event("start", quantity=5))[0]


def test_all_problems_come_in_one_go_with_their_rows():
    found = told(an_event(unit="W99"), *FALSEWORK, an_event(by="", activity="painting"))
    assert [(problem.row, problem.field) for problem in found] == [
        (1, "unit"), (4, "by"), (4, "activity"),
    ]  # fmt: skip


def test_problems_name_the_file_and_its_rows():
    found = judge([an_event(unit="W99")], a_frame(), JOB, now_local=NOW, source="shift.csv",
                  rows=[14])  # fmt: skip
    assert str(found[0]).startswith("shift.csv, row 14, unit: 'W99' is no unit")


# Order of trades


def test_a_deck_is_not_poured_before_its_rebar_is_finished():
    unfinished = [*UNTIL_REBAR[:-1]]
    found = errors_only(told(POUR[0], log=unfinished))
    assert "cannot start before Rebar is finished" in found[0].message


def test_a_deck_is_not_poured_before_the_rebar_of_every_span_is_finished():
    one_span = done("rebar", start="2026-03-11 07:00", finish="2026-03-12 15:00", span="1")
    found = errors_only(told(POUR[0], log=[*UNTIL_REBAR[:-2], *one_span]))
    assert "finished in span 2" in found[0].message


def test_a_span_needs_only_its_own_span_finished_before():
    forms = done("deck_forms", start="2026-03-09 07:00", finish="2026-03-10 15:00", span="1")
    log = [*FALSEWORK, *BOTTOM, *forms]
    rebar = an_event("start", "2026-03-11 07:00", activity="rebar", span="1")
    other = dataclasses.replace(rebar, span="2", event_id="other")
    assert refusals(rebar, log=log) == []
    assert refusals(other, log=log) == ["at"]


def test_the_next_trade_may_start_the_minute_the_one_before_finishes():
    start = an_event("start", FALSEWORK[1].at, activity="bottom_slab_stems")
    assert refusals(start, log=FALSEWORK) == []


def test_work_before_what_must_come_first_is_refused_by_time_not_by_arrival():
    early = an_event("start", "2026-03-03 07:00", activity="bottom_slab_stems")
    assert refusals(early, log=FALSEWORK) == ["at"]


def test_a_start_within_the_lag_is_a_warning():
    wait = Activity("curing", "Curing", after=("deck_pour",), lag_days=2)
    job = a_job(activities=(*only("deck_pour"), wait))
    start = an_event("start", "2026-03-16 07:00", activity="curing")  # Friday's pour + 2 = Tuesday
    later = an_event("start", "2026-03-17 07:00", activity="curing")
    assert "2026-03-17" in warnings(start, log=POUR, job=job)[0]
    assert warnings(later, log=POUR, job=job) == []


# Steps that change nothing


@pytest.mark.parametrize(
    ("log", "step"),
    [
        (FALSEWORK[:1], an_event("start", "2026-03-03 08:00")),
        (FALSEWORK, an_event("start", "2026-03-05 08:00")),
        (FALSEWORK, an_event("finish", "2026-03-05 08:00")),
        (FALSEWORK, an_event("hold", "2026-03-05 08:00")),
        (FALSEWORK[:1], an_event("resume", "2026-03-03 08:00")),
        (FALSEWORK[:1], an_event("reopen", "2026-03-03 08:00")),
        (
            [FALSEWORK[0], an_event("hold", "2026-03-03 08:00")],
            an_event("hold", "2026-03-03 09:00"),
        ),
        ([an_event("hold", "2026-03-02 06:00")], FALSEWORK[0]),
    ],
)
def test_a_step_that_changes_nothing_is_refused(log, step):
    assert refusals(step, log=log) == ["kind"]


def test_a_unit_wide_finish_may_finish_the_spans_that_are_left():
    job = a_job(spans=2, activities=only("rebar"))
    log = done("rebar", span="1")
    finish = an_event("finish", "2026-03-06 15:00", activity="rebar")
    started = an_event("start", "2026-03-05 07:00", activity="rebar", span="2")
    assert refusals(started, finish, log=log, job=job) == []


def test_a_finish_before_its_start_is_refused():
    early = an_event("finish", "2026-03-02 06:00")
    assert refusals(early, log=FALSEWORK[:1]) == ["at"]
    assert refusals(early, FALSEWORK[0]) == ["at"]


def test_a_finish_without_a_start_is_a_warning():
    assert "never started" in warnings(FALSEWORK[1])[0]


def test_a_finish_ends_a_hold_with_a_warning():
    hold = an_event("hold", "2026-03-03 08:00")
    assert "on hold" in warnings(FALSEWORK[1], log=[FALSEWORK[0], hold])[0]


def test_a_reopen_under_the_feet_of_the_next_trade_is_a_warning():
    reopen = an_event("reopen", "2026-03-05 09:00")
    assert "has begun" in warnings(reopen, log=[*FALSEWORK, BOTTOM[0]])[0]


def test_a_saturday_is_odd_but_a_night_shift_from_friday_is_not():
    assert "no working day" in warnings(an_event("start", "2026-03-07 08:00"))[0]
    assert warnings(an_event("start", "2026-03-07 02:00")) == []


def test_curing_goes_on_over_the_weekend():
    job = a_job(activities=only("curing"))
    sunday = an_event("start", "2026-03-01 08:00", activity="curing")
    next_sunday = an_event("finish", "2026-03-08 08:00", activity="curing")
    assert told(sunday, next_sunday, job=job) == []


# Quantities against the plan


PLANNED = a_job(units=1, activities=only("deck_pour"), planned=[("E01", "", "deck_pour", 200.0)])


@pytest.mark.parametrize(
    ("before", "quantity", "verdict"),
    [
        ([], 220, []),
        ([], 221, ["warning"]),
        ([], 300, ["warning"]),
        ([], 301, ["error"]),
        ([], 2000, ["error"]),
        ([200, 150], 50, ["warning"]),
        ([200, 150], 51, ["error"]),
    ],
)
def test_a_quantity_far_over_plan_is_refused_and_a_bit_over_is_remarked(before, quantity, verdict):
    log = [poured(amount) for amount in before]
    assert [p.severity for p in told(poured(quantity), log=log, job=PLANNED)] == verdict


def test_the_plan_is_compared_in_the_same_unit():
    # 262 yd³ = 200.3 m³ (1 yd³ = 0.764554857984 m³, NIST SP 811).
    placed = an_event("place", activity="deck_pour", quantity=262, measure_unit="yd3")
    assert told(placed, job=PLANNED) == []


def test_one_span_far_over_its_own_plan_is_refused():
    job = a_job(units=1, spans=2, activities=only("rebar"),
                planned=[("E01", "1", "rebar", 100.0), ("E01", "2", "rebar", 900.0)])  # fmt: skip
    placed = an_event("place", activity="rebar", span="1", quantity=151, measure_unit="kg")
    assert refusals(placed, job=job) == ["quantity"]


def test_a_finish_with_little_placed_is_a_warning():
    finish = POUR[1]
    few, enough = poured(150), poured(160)
    assert "75\u00a0%" in warnings(POUR[0], few, finish, job=PLANNED)[0]
    assert warnings(POUR[0], enough, finish, job=PLANNED) == []


def test_a_late_load_ticket_is_a_warning():
    late = poured(180, at="2026-03-13 16:00")
    assert "was finished before" in warnings(late, log=POUR, job=PLANNED)[0]


# Voids and late news


def a_void(event: Event, **more) -> Event:
    return an_event("void", "2026-03-20 08:00", activity="", voids=event.event_id, **more)


def test_a_void_of_the_last_step_is_accepted():
    assert told(a_void(FALSEWORK[1]), log=FALSEWORK) == []


def test_a_void_in_the_batch_frees_the_place_for_the_right_event():
    right = an_event("finish", "2026-03-05 15:00")
    assert told(right, a_void(FALSEWORK[1]), log=FALSEWORK) == []


@pytest.mark.parametrize("case", ["unknown", "a void", "void already", "other unit"])
def test_a_void_that_cannot_be_is_refused(case):
    void = a_void(FALSEWORK[1])
    log = [*FALSEWORK, void]
    wrong = {
        "unknown": an_event("void", activity="", voids="nothing"),
        "a void": a_void(void),
        "void already": a_void(FALSEWORK[1]),
        "other unit": a_void(FALSEWORK[0], unit="E02"),
    }[case]
    assert refusals(wrong, log=log) == ["voids"]


def test_two_voids_of_one_event_in_a_batch_are_one_too_many():
    found = errors_only(told(a_void(FALSEWORK[1]), a_void(FALSEWORK[1]), log=FALSEWORK))
    assert [problem.row for problem in found] == [2]


def test_a_void_that_pulls_the_ground_from_under_later_work_is_refused():
    found = errors_only(told(a_void(REBAR[1]), log=[*UNTIL_REBAR, *POUR]))
    assert len(found) == 1
    assert "impossible" in found[0].message
    assert POUR[0].event_id in found[0].fix


def test_the_event_that_broke_the_history_is_named_and_not_an_innocent_one():
    finish = an_event("finish", "2026-03-13 15:00", activity="deck_pour")
    log = [*UNTIL_REBAR, POUR[0]]
    found = errors_only(told(poured(5, at="2026-03-13 17:00"), a_void(REBAR[1]), log=log))
    blamed = [problem.row for problem in found if "impossible" in problem.message]
    assert blamed == [2]
    assert refusals(finish, log=log) == []


def test_later_work_may_be_voided_together_with_what_it_stood_on():
    voids = [a_void(event) for event in (*POUR, REBAR[1])]
    assert refusals(*voids, log=[*UNTIL_REBAR, *POUR]) == []


def test_late_news_that_makes_logged_work_impossible_is_refused():
    reopen = an_event("reopen", "2026-03-12 18:00", activity="rebar")
    found = errors_only(told(reopen, log=[*UNTIL_REBAR, *POUR]))
    assert [problem.row for problem in found] == [1]
    assert POUR[0].event_id in found[0].fix


def test_old_trouble_in_the_log_does_not_stop_new_work():
    impossible = an_event("start", "2026-03-02 07:00", activity="deck_pour")
    assert refusals(an_event("start", "2026-03-03 07:00"), log=[impossible]) == []


def test_events_the_job_has_no_place_for_any_more_are_counted():
    log = [
        an_event(unit="W99"), an_event(unit="W99"), an_event(activity="painting"),
        an_event(activity="rebar", span="9"), *FALSEWORK, an_event("note", activity=""),
        a_void(FALSEWORK[0]),
    ]  # fmt: skip
    found = strangers(a_frame(*log), JOB)
    assert [(p.field, p.message.split(",")[0]) for p in found] == [
        ("unit", "2 event(s) name unit 'W99'"),
        ("span", "1 event(s) name span '9'"),
        ("activity", "1 event(s) name activity 'painting'"),
    ]
    assert {p.severity for p in found} == {"warning"}
    assert strangers(a_frame(*FALSEWORK), JOB) == []


# The judge and the fold must agree


WORDS = st.lists(
    st.tuples(
        st.sampled_from(["start", "place", "finish", "hold", "resume", "reopen"]),
        st.sampled_from(["falsework", "bottom_slab_stems", "deck_forms", "rebar"]),
        st.sampled_from(["", "1", "2"]),
        st.integers(0, 40),
    ),
    max_size=25,
)


@given(WORDS)
def test_no_accepted_history_has_a_trade_ahead_of_the_one_before_it(words):
    log: list[Event] = []
    for number, (kind, activity, span, hours) in enumerate(words):
        at = dt.datetime(2026, 3, 2) + dt.timedelta(hours=hours)
        more = {"quantity": 1, "measure_unit": _unit_of(activity)} if kind == "place" else {}
        event = an_event(kind, at, "E01", activity, span, event_id=f"e{number}", **more)
        if not errors_only(told(event, log=log)):
            log.append(event)
    for event in log:
        if event.kind in ("start", "finish"):
            _assert_earlier_trades_finished(log, event)


def _unit_of(activity: str) -> str:
    measure = JOB.activity_by_key[activity].measure
    return {"falsework": "m2", "concrete": "m3", "formwork": "m2", "steel": "kg"}[measure]


def _assert_earlier_trades_finished(log: list[Event], event: Event) -> None:
    state = fold(a_frame(*log), JOB, as_of=event.at)
    spans = state.spans[state.spans["unit"] == "E01"]
    if event.span:
        spans = spans[spans["span"] == event.span]
    for earlier in JOB.activity_by_key[event.activity].after:
        assert set(spans.loc[spans["activity"] == earlier, "status"]) == {"complete"}


def test_the_table_of_the_docstring_speaks_of_every_kind_that_can_be_refused():
    table = str(model.acceptance.__doc__)
    for kind in ("start", "finish", "hold", "resume", "reopen", "place", "void"):
        assert re.search(rf"\b{kind}\b", table)


def test_builders_make_what_a_store_would():
    assert list(a_frame(*FALSEWORK).columns) == list(EVENT_COLUMNS)
    assert len(ACTIVITIES) == 6
