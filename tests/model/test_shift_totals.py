"""What a shift placed, started, finished and left on hold: it must be what the status says."""

import dataclasses
import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.clock import clock_starting_at
from model.daybook import day_book
from model.fold import fold
from model.log_arrays import COMPLETE, ON_HOLD, LogArrays
from model.placed import totals
from model.project import Project
from model.shift_totals import shift_totals
from model.store import open_store
from tests.model.builders import NOW, a_frame, a_job, an_event, done, only

DAY = dt.date(2026, 3, 3)
LATER = dt.datetime(2026, 12, 1)
JOB = a_job(
    units=4, headings=2,
    planned=[("E01", "", "deck_pour", 100.0), ("E02", "", "deck_pour", 60.0),
             ("E01", "", "rebar", 9000.0)],
)  # fmt: skip
YARD_M3 = 0.9144**3
"""A yard is 0.9144 m (international yard and pound agreement of 1959)."""


def come_to(*events, day=DAY, known_on=LATER, job=JOB):
    return shift_totals(LogArrays(job, a_frame(*events)), day, known_on)


def the_pour(*events, **more):
    """The totals of the deck pour of the first heading."""
    found = come_to(*events, **more).by_heading
    return next(t for t in found if (t.heading, t.activity.key) == ("h1", "deck_pour"))


def a_place(quantity, at="2026-03-03 10:00", unit="E01", activity="deck_pour", **more):
    more.setdefault("measure_unit", "m3")
    return an_event("place", at, unit, activity, quantity=quantity, **more)


# What was placed


def test_loads_typed_in_different_units_are_added_and_shown_in_the_projects_own():
    told = the_pour(a_place(10), a_place(20, measure_unit="yd3"))
    assert told.placed == pytest.approx(10 + 20 * YARD_M3)
    assert (told.entries, told.measure_unit) == (2, "m3")
    us = the_pour(a_place(10), a_place(20, measure_unit="yd3"),
                  job=dataclasses.replace(JOB, units_system="us"))  # fmt: skip
    assert us.placed == pytest.approx(10 / YARD_M3 + 20)
    assert us.placed_words == "33.08 yd³"


def test_a_voided_load_is_left_out_once_the_log_knows_of_the_void():
    wrong = a_place(18, recorded_at="2026-03-03 23:00")
    void = an_event("void", "2026-03-04 09:00", "E01", "", voids=wrong.event_id,
                    recorded_at="2026-03-04 17:00")  # fmt: skip
    right = a_place(81, recorded_at="2026-03-03 23:00")
    now = the_pour(wrong, right, void)
    assert (now.placed, now.entries, now.placed_to_date) == (81, 1, 81)
    before = the_pour(wrong, right, void, known_on=dt.datetime(2026, 3, 3, 18))
    assert (before.placed, before.entries, before.placed_to_date) == (99, 2, 99)


def test_placed_to_date_and_planned_are_those_of_the_heading():
    told = come_to(a_place(30, "2026-03-02 10:00"), a_place(25, unit="E02"), a_place(7, unit="E03"))
    first, second = told.by_heading
    assert (first.placed, first.placed_to_date, first.planned) == (25, 55, 160)
    assert first.to_date_words == "55 of 160 m³ (34\u00a0%)"
    assert (second.heading, second.placed, second.planned) == ("h2", 7, None)
    assert second.to_date_words == "7 m³"
    (both,) = told.all_headings
    assert (both.placed, both.placed_to_date, both.planned) == (32, 62, 160)


def test_all_headings_take_in_what_one_heading_alone_did_as_soon_as_two_have_done_something():
    pour, forms = a_place(25), a_place(40, unit="E03", activity="falsework", measure_unit="m2")
    told = come_to(pour, forms)
    assert [t.heading for t in told.by_heading] == ["h1", "h2"]
    assert [t.activity.key for t in told.added_up] == ["falsework", "deck_pour"]
    assert [t.placed for t in told.added_up] == [40, 25]


def test_what_one_heading_alone_says_is_not_said_again():
    told = come_to(a_place(25), a_place(40, activity="falsework", measure_unit="m2"))
    assert len(told.by_heading) == 2
    assert told.added_up == ()


def test_what_comes_after_the_shift_is_not_yet_placed():
    told = the_pour(a_place(30), a_place(25, "2026-03-04 06:00"))
    assert (told.placed, told.placed_to_date) == (30, 30)


def test_a_late_entry_counts_in_the_shift_it_is_of():
    late = a_place(30, "2026-03-02 10:00", recorded_at="2026-03-03 23:00")
    told = the_pour(late, a_place(25))
    assert (told.placed, told.placed_to_date) == (25, 55)
    assert the_pour(late, day=dt.date(2026, 3, 2)).placed == 30


def test_a_pour_that_runs_past_midnight_counts_in_the_evenings_shift():
    night = [an_event("start", "2026-03-03 21:00", activity="deck_pour"),
             a_place(40, "2026-03-04 01:00"),
             an_event("finish", "2026-03-04 02:30", activity="deck_pour")]  # fmt: skip
    told = the_pour(*night)
    assert (told.placed, told.started, told.finished) == (40, 1, 1)
    assert come_to(*night, day=dt.date(2026, 3, 4)).by_heading == ()


def test_an_early_pour_counts_on_the_day_it_began_after_midnight():
    early = [an_event("start", "2026-03-04 03:00", activity="deck_pour"),
             a_place(40, "2026-03-04 05:00")]  # fmt: skip
    assert come_to(*early).by_heading == ()
    assert the_pour(*early, day=dt.date(2026, 3, 4)).placed == 40


def test_work_resumed_after_midnight_counts_on_the_day_it_was_resumed():
    pour = [an_event("start", "2026-03-03 21:00", activity="deck_pour"),
            an_event("hold", "2026-03-03 22:00", activity="deck_pour"),
            an_event("resume", "2026-03-04 02:00", activity="deck_pour"),
            a_place(40, "2026-03-04 03:00")]  # fmt: skip
    assert the_pour(*pour).placed == 0
    assert the_pour(*pour, day=dt.date(2026, 3, 4)).placed == 40


def test_a_start_after_midnight_holds_for_every_span_of_the_unit_as_in_the_lines():
    rebar = [
        an_event("start", "2026-03-04 02:00", activity="rebar", span="2"),
        a_place(40, "2026-03-04 03:00", activity="rebar", span="1", measure_unit="kg"),
    ]
    for day in (DAY, dt.date(2026, 3, 4)):
        lines = day_book(rebar, JOB, day, known_on=LATER).happened
        placed = sum(total.placed_si for total in come_to(*rebar, day=day).by_heading)
        assert placed == 40 * any(line.event.kind == "place" for line in lines)


def test_one_entry_for_all_spans_of_a_unit_is_one_entry():
    forms = a_place(90, activity="deck_forms", measure_unit="m2")
    (told,) = come_to(forms).by_heading
    assert (told.entries, told.started) == (1, 3)
    assert told.placed == pytest.approx(90)
    assert told.count_words(told.started) == "3 spans"


# What was started, finished and held


def test_spans_are_counted_where_the_crew_finishes_span_by_span_and_units_elsewhere():
    told = come_to(
        *done("rebar", start="2026-03-03 07:00", finish="2026-03-03 15:00", span="1"),
        *done("deck_pour", start="2026-03-02 07:00", finish="2026-03-03 15:00"),
    )
    rebar, pour = told.by_heading
    assert (rebar.started, rebar.finished) == (1, 1)
    assert (pour.started, pour.finished) == (0, 1)
    assert (rebar.count_words(1), pour.count_words(1)) == ("1 span", "1 unit")


def test_a_finish_that_was_reopened_in_the_same_shift_does_not_count():
    reopened = [*done("deck_pour", finish="2026-03-03 10:00"),
                an_event("reopen", "2026-03-03 11:00", activity="deck_pour")]  # fmt: skip
    assert come_to(*reopened).by_heading == ()
    again = an_event("finish", "2026-03-03 15:00", activity="deck_pour")
    assert the_pour(*reopened, again).finished == 1


def test_a_hold_that_was_resumed_was_put_on_but_does_not_stand_at_the_end():
    hold = an_event("hold", "2026-03-03 09:00", activity="deck_pour")
    resume = an_event("resume", "2026-03-03 13:00", activity="deck_pour")
    told = the_pour(hold, resume)
    assert (told.put_on_hold, told.on_hold) == (1, 0)
    assert (the_pour(hold).put_on_hold, the_pour(hold).on_hold) == (1, 1)


def test_a_hold_of_last_week_still_stands_in_every_book_until_it_is_resumed():
    hold = an_event("hold", "2026-02-24 09:00", activity="deck_pour")
    told = the_pour(hold)
    assert (told.put_on_hold, told.on_hold) == (0, 1)


def test_what_nothing_happened_to_has_no_line():
    assert come_to().by_heading == ()
    assert come_to(a_place(30, "2026-02-24 10:00")).by_heading == ()
    note = an_event("note", "2026-03-03 09:00", activity="deck_pour", note="pump moved")
    assert come_to(note).by_heading == ()


def test_what_is_not_measured_has_counts_and_no_amount():
    start = an_event("start", "2026-03-03 09:00", activity="curing")
    (told,) = come_to(start).by_heading
    assert (told.placed, told.placed_to_date, told.started) == (None, None, 1)
    assert (told.placed_words, told.to_date_words) == ("", "")
    assert told.as_dict()["measure_unit"] is None


# It says what the status says

KINDS = ("start", "place", "finish", "hold", "resume", "reopen")
SMALL = a_job(units=3, spans=2, headings=2, activities=only("rebar", "deck_pour"),
              planned=[("E01", "", "deck_pour", 50.0), ("E02", "1", "rebar", 900.0)])  # fmt: skip
HOURS = st.integers(0, 4 * 24).map(lambda h: dt.datetime(2026, 3, 2) + dt.timedelta(hours=h))
DAYS = [dt.date(2026, 3, 1) + dt.timedelta(days=n) for n in range(6)]
ACTS = st.tuples(st.sampled_from(KINDS), HOURS, st.sampled_from(["E01", "E02", "E03"]),
                 st.sampled_from(["rebar", "deck_pour"]), st.sampled_from(["", "1", "2"]),
                 st.booleans())  # fmt: skip


def a_log(acts):
    """Events and, of those marked so, their voids."""
    events, voids = [], []
    for kind, at, unit, activity, span, void in acts:
        amount = {"quantity": 7, "measure_unit": "m3" if activity == "deck_pour" else "lb"}
        event = an_event(kind, at, unit, activity, span if activity == "rebar" else "",
                         **(amount if kind == "place" else {}))  # fmt: skip
        events.append(event)
        if void:
            voids.append(an_event("void", at, unit, "", voids=event.event_id))
    return [*events, *voids]


def state_at_the_end_of(events, day):
    """Fold what stands in the books up to a day's: those lines, and all voids."""
    books = [day_book(events, SMALL, one, known_on=LATER) for one in DAYS if one <= day]
    told = {entry.event.event_id for book in books for entry in book.happened}
    kept = [event for event in events if event.event_id in told or event.kind == "void"]
    return fold(a_frame(*kept), SMALL)


@settings(max_examples=30, deadline=None)
@given(st.lists(ACTS, max_size=14))
def test_the_totals_of_every_book_are_those_of_the_state_at_the_end_of_its_shift(acts):
    events = a_log(acts)
    log = LogArrays(SMALL, a_frame(*events))
    before = state_at_the_end_of(events, DAYS[0])
    for day in DAYS[1:]:
        after = state_at_the_end_of(events, day)
        told = {t.activity.key: t for t in shift_totals(log, day, LATER).all_headings}
        was, now = totals(before).set_index("activity"), totals(after).set_index("activity")
        for a, activity in enumerate(SMALL.activities):
            total = told.get(activity.key)
            placed = now.placed_si[activity.key] - was.placed_si[activity.key]
            assert placed == pytest.approx(total.placed_si if total else 0.0, abs=1e-9)
            counts = counted(before, after, a)
            if total is None:
                assert counts == (0, 0, 0)
            else:
                assert (total.started, total.finished, total.on_hold) == counts
                assert total.placed_to_date_si == pytest.approx(now.placed_si[activity.key])
                assert total.planned_si == now.planned_si[activity.key]
        before = after


def counted(before, after, a):
    """Started, finished and on hold between two states, in units or spans as the crew counts."""
    grain = f"{after.job.activities[a].grain}_standing"
    was, now = getattr(before, grain), getattr(after, grain)
    started = (now.started_us[:, a] >= 0) & (was.started_us[:, a] < 0)
    finished = (now.status[:, a] == COMPLETE) & (was.finished_us[:, a] != now.finished_us[:, a])
    return int(started.sum()), int(finished.sum()), int((now.status[:, a] == ON_HOLD).sum())


@settings(max_examples=30, deadline=None)
@given(st.lists(ACTS, max_size=14))
def test_all_books_together_have_placed_what_is_placed(acts):
    frame = a_frame(*a_log(acts))
    log = LogArrays(SMALL, frame)
    books = [shift_totals(log, day, LATER) for day in DAYS]
    for row in totals(fold(frame, SMALL)).itertuples():
        of_headings = [t.placed_si for book in books for t in book.by_heading
                       if t.activity.key == row.activity]  # fmt: skip
        assert np.sum(of_headings) == pytest.approx(row.placed_si)


def test_the_book_of_a_project_says_to_date_what_its_status_says_at_the_end_of_the_shift(
    tmp_path,
):
    clock = clock_starting_at(NOW.replace(tzinfo=JOB.timezone))
    events = [*done("falsework", finish="2026-03-03 08:00"),
              *done("bottom_slab_stems", start="2026-03-03 09:00", finish="2026-03-04 02:00"),
              a_place(12, "2026-03-03 23:00", activity="bottom_slab_stems"),
              a_place(8.5, "2026-03-04 01:00", activity="bottom_slab_stems"),
              a_place(99, "2026-03-04 01:30", activity="bottom_slab_stems")]  # fmt: skip
    with Project(tmp_path, JOB, open_store(":memory:", clock), clock=clock) as project:
        project.record(events)
        wrong = events[-1].event_id
        project.record([an_event("void", "2026-03-04 07:00", "E01", "", voids=wrong)])
        told = {t.activity.key: t for t in project.day_book(DAY).totals.all_headings}
        status = project.status(as_of=dt.datetime(2026, 3, 4, 5, 59)).totals
    for row in status[status["activity"].isin(list(told))].itertuples():
        assert told[row.activity].placed_to_date == pytest.approx(row.placed)
        assert told[row.activity].finished == row.units_complete == 1
    assert told["bottom_slab_stems"].placed == pytest.approx(20.5)
