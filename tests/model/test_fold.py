"""The fold: what the log adds up to, as of a moment, as known on a moment."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.changes import changes
from model.clock import end_of_day
from model.events import STATUSES, Event
from model.fold import State, fold
from model.log_arrays import LogArrays
from tests.model.builders import ACTIVITIES, a_frame, a_job, an_event, done, only

JOB = a_job(units=2, spans=2)


def row(state: State, activity: str = "falsework", unit: str = "E01", span: str = "") -> pd.Series:
    frame = state.spans if span else state.units
    wanted = (frame["unit"] == unit) & (frame["activity"] == activity)
    return frame[wanted & (frame["span"] == span) if span else wanted].iloc[0]


def status(*events: Event, **asked: object) -> str:
    return str(row(fold(a_frame(*events), JOB, **asked))["status"])


# Statuses


def test_an_empty_log_has_started_nothing():
    state = fold(a_frame(), JOB)
    assert set(state.units["status"]) == {"not_started"}
    assert len(state.units) == 2 * 6
    assert len(state.spans) == 4 * 6


def test_rows_follow_the_units_and_then_the_working_order():
    state = fold(a_frame(), JOB)
    assert list(state.units["activity"][:6]) == [activity.key for activity in ACTIVITIES]
    assert list(state.spans["unit"][:12]) == ["E01"] * 12
    assert list(state.spans["span"][:12:6]) == ["1", "2"]


def test_work_is_under_way_from_its_start():
    assert status(an_event("start")) == "under_way"


def test_a_first_quantity_starts_the_work():
    state = fold(a_frame(an_event("place", "2026-03-02 09:30", quantity=5)), JOB)
    assert row(state)["status"] == "under_way"
    assert row(state)["started_at"] == pd.Timestamp("2026-03-02 09:30")


def test_a_finish_completes_and_a_reopen_goes_back():
    start, finish = done("falsework")
    reopen = an_event("reopen", "2026-03-05 08:00")
    assert status(start, finish) == "complete"
    assert status(start, finish, reopen) == "under_way"


def test_a_hold_stops_the_clock_until_resume():
    start, hold = an_event("start"), an_event("hold", "2026-03-03 09:00", reason="no cranes")
    resume = an_event("resume", "2026-03-04 07:00")
    held = row(fold(a_frame(start, hold), JOB))
    assert (held["status"], held["reason"]) == ("on_hold", "no cranes")
    resumed = row(fold(a_frame(start, hold, resume), JOB))
    assert (resumed["status"], resumed["reason"]) == ("under_way", "")


def test_placing_does_not_end_a_hold_nor_reopen_what_is_finished():
    start, finish = done("falsework")
    late = an_event("place", "2026-03-05 08:00", quantity=3)
    hold = an_event("hold", "2026-03-03 08:00")
    assert status(start, finish, late) == "complete"
    assert status(start, hold, late) == "on_hold"


def test_what_was_held_before_it_began_is_not_under_way_after_the_resume():
    hold, resume = an_event("hold", "2026-03-02 08:00"), an_event("resume", "2026-03-03 08:00")
    assert status(hold) == "on_hold"
    assert status(hold, resume) == "not_started"


def test_a_reopen_ends_an_older_hold():
    start, finish = done("falsework")
    hold = an_event("hold", "2026-03-03 08:00")
    assert status(start, hold, finish, an_event("reopen", "2026-03-06 08:00")) == "under_way"


# Spans and units


def test_a_unit_is_complete_when_all_its_spans_are():
    one, other = done("rebar", span="1"), done("rebar", span="2", finish="2026-03-06 15:00")
    half = row(fold(a_frame(*one), JOB), "rebar")
    whole = row(fold(a_frame(*one, *other), JOB), "rebar")
    assert (half["status"], half["percent"]) == ("under_way", 50.0)
    assert (whole["status"], whole["percent"]) == ("complete", 100.0)
    assert whole["finished"] == pd.Timestamp("2026-03-06")


def test_a_held_span_holds_its_unit_and_says_why():
    one = done("rebar", span="1")
    hold = an_event("hold", "2026-03-03 08:00", activity="rebar", span="2", reason="no bars")
    unit = row(fold(a_frame(*one, hold), JOB), "rebar")
    assert (unit["status"], unit["reason"]) == ("on_hold", "no bars")


def test_a_blank_span_means_all_spans():
    state = fold(a_frame(*done("rebar")), JOB)
    assert [row(state, "rebar", span=key)["status"] for key in "12"] == ["complete"] * 2


def test_finishing_the_rest_leaves_the_dates_of_finished_spans():
    early = done("rebar", span="1", finish="2026-03-04 15:00")
    rest = an_event("finish", "2026-03-10 15:00", activity="rebar")
    state = fold(a_frame(*early, rest), JOB)
    assert row(state, "rebar", span="1")["finished"] == pd.Timestamp("2026-03-04")
    assert row(state, "rebar", span="2")["finished"] == pd.Timestamp("2026-03-10")


def test_spans_of_a_unit_wide_activity_stand_where_their_unit_stands():
    state = fold(a_frame(*done("falsework")), JOB)
    assert [row(state, span=key)["status"] for key in "12"] == ["complete"] * 2
    codes = state.status_codes
    assert (codes.shape, codes.dtype) == ((4, 6), np.int8)
    assert codes[0, 0] == STATUSES.index("complete")


# Quantities


def test_quantities_are_added_in_si_units():
    # 1 yd³ = 0.764554857984 m³ exactly (NIST SP 811).
    placed = an_event("place", activity="deck_pour", quantity="100", measure_unit="yd3")
    more = an_event("place", activity="deck_pour", quantity="10", measure_unit="m3")
    state = fold(a_frame(placed, more), JOB)
    assert row(state, "deck_pour")["placed_si"] == pytest.approx(86.4554857984, rel=1e-12)


def test_percent_is_placed_over_planned_and_stops_at_99_until_the_finish():
    job = a_job(units=1, planned=[("E01", "", "deck_pour", 200.0)])

    def percent(*events: Event) -> float:
        return float(row(fold(a_frame(*events), job), "deck_pour")["percent"])

    half = an_event("place", activity="deck_pour", quantity=100, measure_unit="m3")
    rest = an_event("place", activity="deck_pour", quantity=110, measure_unit="m3")
    finish = an_event("finish", "2026-03-03 15:00", activity="deck_pour")
    assert percent(half) == 50.0
    assert percent(half, rest) == 99.0
    assert percent(half, finish) == 100.0


def test_a_unit_is_planned_as_the_sum_of_its_spans():
    job = a_job(units=1, spans=2, planned=[("E01", "1", "rebar", 30.0), ("E01", "2", "rebar", 10)])
    assert row(fold(a_frame(), job), "rebar")["planned_si"] == 40.0


def test_a_unit_wide_quantity_is_divided_among_spans_as_planned():
    job = a_job(units=1, spans=2, planned=[("E01", "1", "rebar", 30.0), ("E01", "2", "rebar", 10)])
    placed = an_event("place", activity="rebar", quantity=20, measure_unit="kg")
    state = fold(a_frame(placed), job)
    assert [row(state, "rebar", span=key)["placed_si"] for key in "12"] == [15.0, 5.0]
    assert row(state, "rebar")["placed_si"] == 20.0


def test_where_a_plan_comes_from_is_said():
    job = a_job(units=2, planned=[("E01", "", "deck_pour", 9.0)], planned_from="section")
    state = fold(a_frame(), job)
    assert row(state, "deck_pour")["planned_from"] == "section"
    assert row(state, "deck_pour", unit="E02")["planned_from"] == ""
    assert np.isnan(row(state, "deck_pour", unit="E02")["planned_si"])


# Days of work


@pytest.mark.parametrize(
    ("start", "finish", "day"),
    [
        ("2026-03-02 07:00", "2026-03-04 15:00", "2026-03-04"),
        ("2026-03-04 18:00", "2026-03-05 02:30", "2026-03-04"),
        ("2026-03-05 04:00", "2026-03-05 05:30", "2026-03-05"),
        ("2026-03-04 18:00", "2026-03-05 06:00", "2026-03-05"),
    ],
)
def test_a_shift_that_ends_after_midnight_belongs_to_the_day_it_began(start, finish, day):
    state = fold(a_frame(*done("falsework", start=start, finish=finish)), JOB)
    assert row(state)["finished"] == pd.Timestamp(day)
    assert row(state)["finished_at"] == pd.Timestamp(finish)


def test_loads_placed_after_midnight_stay_with_their_night_shift():
    night = done("falsework", start="2026-03-04 20:00", finish="2026-03-05 03:00")
    load = an_event("place", "2026-03-05 01:00", quantity=5)
    assert row(fold(a_frame(*night, load), JOB))["finished"] == pd.Timestamp("2026-03-04")


# Two clocks


def test_as_of_asks_what_was_true_then():
    start, finish = done("falsework")
    assert status(start, finish, as_of=dt.datetime(2026, 3, 2, 6)) == "not_started"
    assert status(start, finish, as_of=dt.datetime(2026, 3, 2, 7)) == "under_way"
    assert status(start, finish, as_of=dt.datetime(2026, 3, 4, 15)) == "complete"


def test_as_known_on_leaves_out_what_was_told_later():
    start, finish = done("falsework")
    frame = a_frame(start, finish)
    first_told = frame["recorded_at"].iloc[0].to_pydatetime()
    assert row(fold(frame, JOB, known_on=first_told))["status"] == "under_way"


def test_known_on_needs_a_time_zone():
    with pytest.raises(ValueError, match="time zone"):
        fold(a_frame(), JOB, known_on=dt.datetime(2026, 3, 2))


def test_a_void_counts_from_when_it_was_told_whatever_its_time():
    start, finish = done("falsework")
    void = an_event("void", "2026-03-20 08:00", activity="", voids=finish.event_id)
    frame = a_frame(start, finish, void)
    told = frame["recorded_at"].iloc[2].to_pydatetime()
    before = told - dt.timedelta(microseconds=1)
    assert row(fold(frame, JOB, as_of=dt.datetime(2026, 3, 10)))["status"] == "under_way"
    assert row(fold(frame, JOB, known_on=before))["status"] == "complete"


def test_events_of_units_the_job_no_longer_has_are_left_out():
    assert status(an_event("start", unit="gone"), an_event("start", activity="gone")) == (
        "not_started"
    )


def test_of_two_holds_at_once_the_same_one_counts_whichever_came_first():
    rain = an_event("hold", reason="rain", event_id="a")
    forms = an_event("hold", reason="no forms", event_id="b")
    for events in ([rain, forms], [forms, rain]):
        assert row(fold(a_frame(*events), JOB))["reason"] == "no forms"


# What must never break


@st.composite
def some_logs(draw: st.DrawFn) -> list[Event]:
    """Any events at all, possible or not, with ties in time and voids."""
    count = draw(st.integers(0, 25))
    events: list[Event] = []
    for number in range(count):
        activity = draw(st.sampled_from(["falsework", "rebar"]))
        kind = draw(st.sampled_from(["start", "place", "finish", "hold", "resume", "reopen",
                                     "check", "note", "void"]))  # fmt: skip
        at = dt.datetime(2026, 3, 2) + dt.timedelta(hours=6 * draw(st.integers(0, 24)))
        more = {"event_id": f"e{number}"}
        if kind == "place":
            more |= {"quantity": draw(st.integers(1, 9)), "measure_unit": "kg"}
        if kind == "hold":
            more["reason"] = draw(st.sampled_from(["rain", "no forms"]))
        if kind == "void" and events:
            more["voids"] = draw(st.sampled_from(events)).event_id
        if kind == "void":
            activity = ""
        span = draw(st.sampled_from(["", "1", "2"])) if activity == "rebar" else ""
        unit = draw(st.sampled_from(["E01", "E02"]))
        events.append(an_event(kind, at, unit, activity, span, **more))
    return events


moments = st.integers(-1, 150).map(
    lambda hours: dt.datetime(2026, 3, 2) + dt.timedelta(hours=hours)
)


def same(one: State, other: State) -> None:
    pd.testing.assert_frame_equal(one.units, other.units)
    pd.testing.assert_frame_equal(one.spans, other.spans)


@given(some_logs(), st.randoms(), moments)
def test_the_state_does_not_depend_on_the_order_of_arrival(events, random, as_of):
    frame = a_frame(*events)
    order = list(range(len(frame)))
    random.shuffle(order)
    same(fold(frame, JOB, as_of=as_of), fold(frame.iloc[order], JOB, as_of=as_of))


@given(some_logs(), st.data())
def test_a_repeated_event_changes_nothing(events, data):
    again = data.draw(st.lists(st.sampled_from(events), max_size=5)) if events else []
    same(fold(a_frame(*events), JOB), fold(a_frame(*events, *again), JOB))


@given(some_logs())
def test_known_on_now_is_the_present(events):
    now = dt.datetime(2027, 1, 1, tzinfo=dt.UTC)
    same(fold(a_frame(*events), JOB), fold(a_frame(*events), JOB, known_on=now))


@given(some_logs(), st.data())
def test_a_log_that_grows_gives_the_same_as_one_read_whole(events, data):
    frame = a_frame(*events)
    cut = data.draw(st.integers(0, len(frame)))
    grown = LogArrays(JOB, frame.iloc[:cut])
    fold(grown, JOB)
    same(fold(grown.extend(frame.iloc[cut:]), JOB), fold(frame, JOB))


@given(some_logs(), st.integers(0, 25))
def test_what_was_known_on_a_moment_is_the_log_up_to_it(events, count):
    frame = a_frame(*events)
    known = frame.iloc[: min(count, len(frame))]
    if known.empty:
        return
    moment = known["recorded_at"].iloc[-1].to_pydatetime()
    same(fold(known, JOB), fold(frame, JOB, known_on=moment))


@given(some_logs())
def test_a_voided_event_is_as_if_it_had_never_been(events):
    frame = a_frame(*events)
    void = set(frame.loc[frame["kind"] == "void", "voids"])
    rest = frame[~frame["event_id"].isin(void) & (frame["kind"] != "void")]
    same(fold(frame, JOB), fold(rest, JOB))


def plain_status(events: list[Event], unit: str, activity: str, span: str) -> str:
    """The table in the fold's docstring, event by event, without arrays."""
    rank = ["start", "place", "hold", "check", "note", "resume", "finish", "reopen", "void"]
    void = {event.voids for event in events if event.kind == "void"}
    begun = held = complete = False
    for event in sorted(events, key=lambda e: (e.at, rank.index(e.kind), e.event_id)):
        here = event.unit == unit and event.activity == activity and event.span in ("", span)
        if not here or event.event_id in void:
            continue
        begun |= event.kind in ("start", "place", "finish")
        if event.kind == "finish":
            complete, held = True, held and complete
        elif event.kind == "reopen" and complete:
            complete = held = False
        elif event.kind in ("hold", "resume"):
            held = event.kind == "hold"
    if complete:
        return "complete"
    return "on_hold" if held else "under_way" if begun else "not_started"


@settings(max_examples=200)
@given(some_logs())
def test_arrays_give_what_one_finds_by_going_through_the_events(events):
    state = fold(a_frame(*events), JOB)
    for unit in ("E01", "E02"):
        assert row(state, "falsework", unit)["status"] == plain_status(
            events, unit, "falsework", ""
        )
        for span in "12":
            assert row(state, "rebar", unit, span)["status"] == plain_status(
                events, unit, "rebar", span
            )


# Changes, for the slider


@given(some_logs(), st.integers(-1, 8))
def test_the_last_change_on_or_before_a_day_is_the_fold_as_of_its_end(events, days):
    day = dt.date(2026, 3, 2) + dt.timedelta(days=days)
    frame = a_frame(*events)
    told = changes(frame, JOB)
    codes = np.zeros((4, 6), dtype=np.int8)
    for change in told[told["day"] <= np.datetime64(day)].itertuples():
        codes[change.span, change.activity] = change.status
    np.testing.assert_array_equal(codes, fold(frame, JOB, as_of=end_of_day(day)).status_codes)


def test_every_change_is_a_change():
    start, finish = done("falsework")
    twice = an_event("start", "2026-03-03 08:00")
    told = changes(a_frame(start, twice, finish), a_job(units=1, spans=1))
    assert list(told["status"]) == [STATUSES.index("under_way"), STATUSES.index("complete")]
    assert list(told["day"].astype(str)) == ["2026-03-02", "2026-03-04"]


def test_a_job_may_have_few_activities():
    job = a_job(units=1, spans=1, activities=only("rebar"))
    state = fold(a_frame(*done("rebar", span="1")), job)
    assert list(state.units["status"]) == ["complete"]
