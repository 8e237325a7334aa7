"""How fast recent pours went: only those that tell their time, by what the log counts."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.fold import fold
from model.pour_rate import (
    NOT_TIMED,
    SEVERAL_SHIFTS,
    TOO_SHORT,
    PastPour,
    PastPours,
    past_pours,
    rate_band,
)
from tests.model.builders import a_frame, a_job, an_event, only

POUR = only("deck_pour")
[DECK_POUR] = POUR


def told(kind, at, quantity=None, unit="E01", span="", **more):
    if quantity is not None:
        more.setdefault("measure_unit", "m3")
        more["quantity"] = quantity
    return an_event(kind, at, unit, "deck_pour", span, **more)


def pours(*events, job=None, as_of=None, known_on=None):
    job = job or a_job(activities=POUR)
    [activity] = job.activities
    return past_pours(fold(a_frame(*events), job, as_of=as_of, known_on=known_on), activity)


def tickets(unit="E01", day="2026-06-04", amount=60, hours=(8, 9, 10, 11)):
    """An even pour told of every hour, the first amount after its first hour, and its finish."""
    placed = [told("place", f"{day} {hour:02d}:00", amount, unit) for hour in hours]
    return [*placed, told("finish", f"{day} {hours[-1]:02d}:30", unit=unit)]


def test_the_first_amount_told_was_placed_before_it_was_told():
    [pour] = pours(*tickets(amount=60)).timed
    assert pour.placed_m3 == pytest.approx(240.0)
    assert (pour.hours, pour.timed_m3) == (3.0, pytest.approx(180.0))
    assert pour.rate_m3_per_h == pytest.approx(60.0)


def test_a_pour_told_of_once_runs_from_its_start_to_its_finish():
    [pour] = pours(
        told("start", "2026-06-04 06:00"),
        told("place", "2026-06-04 10:50", 300),
        told("finish", "2026-06-04 11:00"),
    ).timed
    assert (pour.hours, pour.timed_m3) == (5.0, 300.0)


def test_a_pour_resumed_in_the_morning_runs_from_then():
    [pour] = pours(
        told("start", "2026-06-02 07:00"),
        told("hold", "2026-06-03 07:00"),
        told("resume", "2026-06-04 06:00"),
        told("place", "2026-06-04 11:00", 300),
        told("finish", "2026-06-04 11:00"),
    ).timed
    assert (pour.day, pour.hours) == (dt.date(2026, 6, 4), 5.0)


def test_a_finish_told_on_a_later_day_says_nothing_of_the_hours():
    [pour] = pours(
        told("start", "2026-06-04 06:00"),
        told("place", "2026-06-04 11:00", 300),
        told("finish", "2026-06-05 09:00"),
    ).timed
    assert pour.hours == 5.0


def test_a_night_pour_is_one_shift():
    [pour] = pours(
        told("start", "2026-07-01 20:00"),
        told("place", "2026-07-01 22:00", 120),
        told("place", "2026-07-02 01:00", 180),
        told("finish", "2026-07-02 01:30"),
    ).timed
    assert (pour.day, pour.hours) == (dt.date(2026, 7, 1), 3.0)


def test_a_pour_in_the_night_the_clocks_go_back_takes_the_hour_more():
    [pour] = pours(
        told("place", "2026-10-31 22:00", 60),
        told("place", "2026-11-01 03:00", 360),
        told("finish", "2026-11-01 03:30"),
    ).timed
    assert pour.hours == 6.0  # Pacific time goes back at 2:00 on 1 November 2026


def test_concrete_of_two_days_gives_no_rate():
    found = pours(
        told("place", "2026-06-04 09:00", 100),
        told("place", "2026-06-04 11:00", 100),
        told("place", "2026-06-05 09:00", 100),
        told("finish", "2026-06-05 10:00"),
    )
    assert found.timed == ()
    [left] = found.untimed
    assert (left.why, left.placed_m3) == (SEVERAL_SHIFTS, 300.0)


def test_a_pour_told_in_one_go_gives_no_rate():
    at = "2026-06-04 15:00"
    [left] = pours(told("start", "2026-06-03 07:00"), told("place", at, 300),
                   told("finish", at)).untimed  # fmt: skip
    assert left.why == NOT_TIMED


def test_less_than_half_an_hour_gives_no_rate():
    [left] = pours(
        told("place", "2026-06-04 15:00", 10),
        told("place", "2026-06-04 15:20", 290),
        told("finish", "2026-06-04 16:00"),
    ).untimed
    assert left.why == TOO_SHORT


def test_a_few_loads_after_the_rest_do_not_make_a_slow_pour():
    found = pours(
        told("start", "2026-06-04 06:00"),
        told("place", "2026-06-04 10:00", 290),
        told("place", "2026-06-04 11:00", 10),
        told("finish", "2026-06-04 11:00"),
    )
    [pour] = found.timed
    assert (pour.hours, pour.timed_m3) == (5.0, 300.0)


def test_a_pour_that_goes_on_gives_no_rate_yet():
    assert pours(*tickets()[:-1]) == PastPours()


def test_a_pour_is_forgotten_while_it_is_open_again():
    assert pours(*tickets(), told("reopen", "2026-06-05 08:00")) == PastPours()


def test_what_is_void_does_not_count():
    wrong = told("place", "2026-06-04 09:30", 900)
    void = an_event("void", "2026-06-04 12:00", activity="", voids=wrong.event_id)
    [pour] = pours(*tickets(), wrong, void).timed
    assert pour.rate_m3_per_h == pytest.approx(60.0)


def test_what_happened_later_is_not_known_as_of_before():
    events = [*tickets("E01", "2026-06-04"), *tickets("E02", "2026-06-11")]
    [pour] = pours(*events, as_of=dt.datetime(2026, 6, 5, 18)).timed
    assert pour.unit == "E01"


def test_a_load_placed_later_in_the_shift_is_not_known_as_of_before():
    late = told("place", "2026-06-04 14:00", 60)  # after the finish; a late ticket still counts
    [pour] = pours(*tickets(), late, as_of=dt.datetime(2026, 6, 4, 12)).timed
    assert (pour.placed_m3, pour.hours) == (240.0, 3.0)
    [pour] = pours(*tickets(), late).timed
    assert (pour.placed_m3, pour.hours) == (300.0, 6.0)


def test_what_the_log_was_told_later_is_not_known_by_then():
    late = told("place", "2026-06-04 08:00", 60, recorded_at="2026-06-07 12:00")
    rest = [
        an_event(e.kind, e.at, e.unit, e.activity, quantity=e.quantity,
                 measure_unit=e.measure_unit, recorded_at="2026-06-04 23:00")
        for e in tickets()[1:]
    ]  # fmt: skip
    before = dt.datetime(2026, 6, 5, tzinfo=dt.UTC)
    [pour] = pours(late, *rest, known_on=before).timed
    assert (pour.placed_m3, pour.hours) == (180.0, 2.0)
    [pour] = pours(late, *rest).timed
    assert (pour.placed_m3, pour.hours) == (240.0, 3.0)


def test_amounts_typed_in_other_units_are_the_same_pour():
    yards = [told("place", f"2026-06-04 {h:02d}:00", 60, measure_unit="yd3") for h in (8, 9, 10)]
    [pour] = pours(*yards, told("finish", "2026-06-04 11:00")).timed
    # 1 yd³ = 0.764554857984 m³ exactly.
    assert pour.rate_m3_per_h == pytest.approx(60 * 0.764554857984, rel=1e-12)


SPAN_POUR = only("deck_pour", grain="span")


def test_spans_poured_one_by_one_are_pours_of_their_own():
    job = a_job(activities=SPAN_POUR)
    events = []
    for span, day in (("1", "2026-06-04"), ("2", "2026-06-05")):
        events += [told("place", f"{day} {h:02d}:00", 50, span=span) for h in (8, 9, 10)]
        events.append(told("finish", f"{day} 11:00", span=span))
    found = pours(*events, job=job).timed
    assert [(p.unit, p.span, p.rate_m3_per_h) for p in found] == [
        ("E01", "1", 50.0), ("E01", "2", 50.0),
    ]  # fmt: skip


def test_spans_poured_together_are_one_pour():
    job = a_job(activities=SPAN_POUR)
    [pour] = pours(*tickets(), job=job).timed
    assert (pour.span, pour.rate_m3_per_h) == ("", pytest.approx(60.0))


def test_pours_come_in_the_order_they_were_done_and_the_last_ones_are_recent():
    job = a_job(units=4, headings=2, activities=POUR)  # h1: E01, E02; h2: E03, E04
    order = [("E03", "2026-06-04"), ("E01", "2026-06-09"), ("E02", "2026-06-16"),
             ("E04", "2026-06-18")]  # fmt: skip
    found = pours(*(e for unit, day in reversed(order) for e in tickets(unit, day)), job=job)
    assert [pour.unit for pour in found.timed] == [unit for unit, _ in order]
    assert [pour.unit for pour in found.recent(units=2)] == ["E02", "E04"]
    assert [pour.unit for pour in found.recent("h1")] == ["E01", "E02"]
    assert found.recent("h1")[0].heading == "h1"


@given(st.lists(st.floats(20.0, 120.0), min_size=1, max_size=12))
def test_the_band_lies_within_its_pours_and_in_order(rates):
    day = dt.date(2026, 6, 4)
    band = rate_band([PastPour("E01", "", "h1", day, rate, 1.0, rate) for rate in rates])
    found = [band.low_m3_per_h, band.median_m3_per_h, band.high_m3_per_h]
    assert found == sorted(found)
    assert min(rates) - 1e-9 <= found[0]
    assert found[2] <= max(rates) + 1e-9
    assert band.median_m3_per_h == pytest.approx(np.median(rates))


@given(
    rate=st.floats(20.0, 100.0),
    parts=st.lists(st.integers(30, 180), min_size=2, max_size=6),  # minutes between tickets
)
def test_an_even_pour_gives_its_own_rate_however_it_is_told(rate, parts):
    begin = dt.datetime(2026, 6, 4, 5, 30)
    at, events = begin, []
    for minutes in parts:
        at += dt.timedelta(minutes=minutes)
        events.append(told("place", at, rate * minutes / 60.0))
    finish = told("finish", at + dt.timedelta(minutes=20))
    start = told("start", begin)
    [pour] = pours(start, *events, finish).timed
    if pour.timed_m3 < pour.placed_m3 * (1 - 1e-9):
        assert pour.rate_m3_per_h == pytest.approx(rate, rel=1e-9)
    else:  # most was told at once, so the clean-up after it counts as well
        assert pour.rate_m3_per_h <= rate * (1 + 1e-9)
