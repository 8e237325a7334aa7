"""The next pour of a unit: where its numbers come from, what stops it, and what to look at."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from model.activities import Activity
from model.fold import fold
from model.next_pour import leaves_deck, next_pour
from model.pour_cautions import PLANNING_ONLY, cautions
from model.pour_habits import JobPours, PourHabits
from model.pour_words import Shown
from model.problems import InputError
from model.units import from_si, to_si
from tests.model.builders import ACTIVITIES, a_calendar, a_frame, a_job, an_event, done, only

NOW = dt.datetime(2026, 6, 4, 17, 0)
"""A Thursday."""

PLANNED = [("E01", "", "deck_pour", 240.0), ("E01", "", "bottom_slab_stems", 460.0)]


def plan_of(*events, job=None, unit="E01", activity="deck_pour", now=NOW, as_of=None, **asked):
    job = job or a_job(planned=PLANNED)
    state = fold(a_frame(*events), job, as_of=as_of)
    return next_pour(state, unit, job.activity_by_key[activity], asked, now)


def said(plan, system="si"):
    return cautions(plan, Shown(system))


def placed(at, amount, unit="E01", activity="deck_pour", measure_unit="m3"):
    return an_event("place", at, unit, activity, quantity=amount, measure_unit=measure_unit)


def poured(unit, rate=60.0, day="2026-05-04", activity="deck_pour"):
    """A finished pour of 240 m³, told of in four even parts."""
    at, events = dt.datetime.fromisoformat(f"{day} 06:00"), []
    for _ in range(4):
        at += dt.timedelta(hours=60.0 / rate)
        events.append(placed(at, 60, unit, activity))
    return [*events, an_event("finish", at + dt.timedelta(minutes=30), unit, activity)]


def refused(*events, **asked):
    with pytest.raises(InputError) as error:
        plan_of(*events, **asked)
    [problem] = error.value.problems
    return problem


# Where the rate comes from

HISTORY = a_job(units=8, headings=2, planned=[("E04", "", "deck_pour", 240.0)])
"""Headings h1 (E01 to E04) and h2 (E05 to E08)."""

OWN = [e for unit, rate in (("E01", 50), ("E02", 60), ("E03", 70)) for e in poured(unit, rate)]
OTHERS = [e for unit in ("E05", "E06", "E07") for e in poured(unit, 90)]


def rate_of(*events, job=HISTORY, **asked):
    plan = plan_of(*events, job=job, unit="E04", **asked)
    return plan.rate.m3_per_h, plan.rate.source


def test_a_rate_goes_by_recent_pours_of_the_heading():
    rate, source = rate_of(*OWN, *OTHERS)
    assert (rate, source) == (pytest.approx(60.0), "recent_heading")


def test_with_too_few_of_the_heading_it_goes_by_those_of_all_headings():
    rate, source = rate_of(*poured("E01", 50), *OTHERS)
    assert source == "recent"
    assert rate == pytest.approx(90.0)


def test_with_too_few_at_all_it_goes_by_common_practice():
    rate, source = rate_of(*poured("E01", 50), *poured("E02", 50))
    assert source == "common_practice"
    assert from_si(rate, "yd3") == pytest.approx(60.0)


def test_what_the_folder_says_goes_before_recent_pours():
    job = replace(HISTORY, pours=JobPours(PourHabits(rate_m3_per_h=40.0)))
    assert rate_of(*OWN, job=job) == (40.0, "project")


def test_what_the_folder_says_of_the_activity_goes_before_what_it_says_of_all():
    of_deck = {"deck_pour": PourHabits(rate_m3_per_h=45.0)}
    habits = PourHabits(rate_m3_per_h=40.0, load_m3=7.0, allowance=0.03)
    job = replace(HISTORY, pours=JobPours(habits, of_deck))
    plan = plan_of(*OWN, job=job, unit="E04")
    assert plan.rate.m3_per_h == 45.0
    assert (plan.trucks.load_m3, plan.trucks.source) == (7.0, "project")
    assert plan.concrete.order_m3 == pytest.approx(240.0 * 1.03)


def test_what_is_asked_goes_before_everything():
    job = replace(HISTORY, pours=JobPours(PourHabits(40.0, 7.0, 45.0, 0.03)))
    plan = plan_of(*OWN, job=job, unit="E04", rate_m3_per_h=55.0, load_m3=8.0,
                   round_trip_minutes=60.0, allowance=0.0)  # fmt: skip
    assert (plan.rate.m3_per_h, plan.rate.source) == (55.0, "given")
    assert (plan.trucks.load_m3, plan.trucks.source) == (8.0, "given")
    assert plan.trucks.round_trip_minutes == 60.0
    assert plan.concrete.order_m3 == 240.0


def test_the_band_is_that_of_the_pours_the_rate_is_from():
    plan = plan_of(*OWN, *OTHERS, job=HISTORY, unit="E04")
    assert {pour.unit for pour in plan.recent} == {"E01", "E02", "E03"}
    assert (plan.rate.band.low_m3_per_h, plan.rate.band.high_m3_per_h) == pytest.approx((52, 68))
    assert plan.hours_low < plan.hours < plan.hours_high


def test_a_pour_of_the_first_lift_does_not_count_for_decks():
    stems = [e for unit in ("E01", "E02", "E03")
             for e in poured(unit, 90, activity="bottom_slab_stems")]  # fmt: skip
    assert rate_of(*stems)[1] == "common_practice"


# How much


def test_what_is_placed_already_is_left_out():
    plan = plan_of(placed("2026-06-04 09:00", 40))
    assert (plan.concrete.placed_m3, plan.concrete.remaining_m3) == (40.0, 200.0)
    assert plan.surface.area_m2 == pytest.approx(3 * 40.0 * 12.0 * 200 / 240)


def test_only_what_had_happened_by_then_is_placed():
    late = placed("2026-06-05 09:00", 40)
    assert plan_of(late, as_of=NOW).concrete.placed_m3 == 0.0


def test_an_unplanned_pour_says_so_and_plans_nothing_by_volume():
    plan = plan_of(job=a_job())
    assert plan.hours is None
    assert any("No quantity is planned" in one for one in said(plan))
    given = plan_of(job=a_job(), volume_m3=300.0, rate_m3_per_h=60.0)
    assert given.hours == 5.0
    assert not any("No quantity" in one for one in said(given))


def test_a_pour_that_is_over_plan_and_not_finished_asks_for_the_rest():
    plan = plan_of(placed("2026-06-04 09:00", 250))
    assert plan.loads is None
    assert any("All that is planned is placed" in one for one in said(plan))


def test_spans_are_poured_one_by_one_where_the_activity_goes_by_them():
    job = a_job(activities=only("rebar", "deck_pour", grain="span"),
                planned=[("E01", "2", "deck_pour", 90.0)])  # fmt: skip
    steel = done("rebar", span="2")
    plan = plan_of(*steel, job=job, span="2")
    assert (plan.span, plan.concrete.planned_m3) == ("2", 90.0)
    assert plan.surface.length_m == 40.0
    assert plan.ready
    assert not plan_of(*steel, job=job, span="1").ready
    [rebar] = plan_of(*steel, job=job).before
    assert rebar.spans_left == ("1", "3")


# What comes before it


def all_before(*left_out):
    return [e for key in ("falsework", "bottom_slab_stems", "deck_forms", "rebar")
            if key not in left_out for e in done(key)]  # fmt: skip


def test_a_pour_is_ready_once_its_rebar_is_finished():
    plan = plan_of(*all_before())
    assert plan.ready
    [rebar] = plan.before
    assert (rebar.activity, rebar.status, rebar.spans_left) == ("rebar", "complete", ())
    assert rebar.since == dt.datetime(2026, 3, 4, 15, 0)


def test_what_is_not_finished_is_followed_back_to_where_it_waits():
    plan = plan_of(*done("falsework"), *done("bottom_slab_stems"))
    assert not plan.ready
    assert [(one.activity, one.status) for one in plan.before] == [
        ("bottom_slab_stems", "complete"),
        ("deck_forms", "not_started"),
        ("rebar", "not_started"),
    ]


def test_rebar_on_hold_says_since_when_and_why():
    hold = an_event("hold", "2026-06-03 10:00", activity="rebar", span="2", reason="bars short")
    start = an_event("start", "2026-06-02 07:00", activity="rebar", span="2")
    plan = plan_of(*all_before("rebar"), *done("rebar", span="1"), start, hold)
    rebar = plan.before[-1]
    assert (rebar.status, rebar.since, rebar.reason) == (
        "on_hold", dt.datetime(2026, 6, 3, 10, 0), "bars short",
    )  # fmt: skip
    assert rebar.spans_left == ("2", "3")
    [stops] = [one for one in said(plan) if one.startswith("Not finished before it")]
    assert "Rebar on hold since Wed 3 Jun (bars short), left: spans 2, 3" in stops


def test_a_pour_on_hold_is_not_ready_and_says_why():
    start = an_event("start", "2026-06-03 07:00", activity="deck_pour")
    hold = an_event("hold", "2026-06-03 08:00", activity="deck_pour", reason="wind")
    plan = plan_of(*all_before(), start, hold)
    assert not plan.ready
    assert said(plan)[0] == "Deck pour is on hold: wind."


def test_days_to_wait_move_the_start_and_are_said_where_it_is_earlier():
    waits = tuple(replace(a, lag_days=2) if a.key == "deck_pour" else a for a in ACTIVITIES)
    job = a_job(planned=PLANNED, activities=waits)
    events = all_before("rebar") + done("rebar", finish="2026-06-04 15:00")
    plan = plan_of(*events, job=job)
    assert plan.not_before == dt.date(2026, 6, 8)  # Thursday and two working days
    assert plan.start.date() == plan.not_before
    early = plan_of(*events, job=job, start=dt.date(2026, 6, 5))
    assert any("starts before Mon 8 Jun, 2 working days" in one for one in said(early))


def test_units_before_it_on_the_heading_that_are_not_poured_are_named():
    plan = plan_of(*poured("E01"), unit="E03")
    assert plan.ahead == ("E02",)
    assert "Not poured yet, and before it on h1: E02." in said(plan)


# When


def test_it_starts_the_next_working_day_at_the_usual_hour():
    assert plan_of(now=NOW).start == dt.datetime(2026, 6, 5, 6, 0)
    friday = dt.datetime(2026, 6, 5, 17, 0)
    assert plan_of(now=friday).start == dt.datetime(2026, 6, 8, 6, 0)
    before_dawn = dt.datetime(2026, 6, 5, 4, 0)
    assert plan_of(now=before_dawn).start == dt.datetime(2026, 6, 5, 6, 0)


def test_a_day_alone_takes_the_hour_of_the_folder():
    job = replace(a_job(), pours=JobPours(PourHabits(start=dt.time(20, 30))))
    plan = plan_of(job=job, start=dt.date(2026, 6, 9))
    assert (plan.start, plan.start_from) == (dt.datetime(2026, 6, 9, 20, 30), "project")
    plan = plan_of(job=job, start=dt.datetime(2026, 6, 9, 5, 0))
    assert (plan.start, plan.start_from) == (dt.datetime(2026, 6, 9, 5, 0), "given")


@pytest.mark.parametrize(
    ("at", "now", "start"),
    [
        ("2026-06-04 15:30", "2026-06-04 17:00", "2026-06-04 17:00"),  # it goes on
        ("2026-06-04 23:30", "2026-06-05 02:00", "2026-06-05 02:00"),  # by night too
        ("2026-06-03 15:30", "2026-06-04 17:00", "2026-06-05 06:00"),  # of the day before
    ],
)
def test_the_rest_of_a_pour_that_goes_on_counts_from_now(at, now, start):
    plan = plan_of(placed(at, 40), now=dt.datetime.fromisoformat(now))
    assert plan.start == dt.datetime.fromisoformat(start)
    goes_on = plan.start_from == "under_way"
    assert goes_on == (start == now)
    assert goes_on == any("It is being poured" in caution for caution in said(plan))


def test_a_pour_that_stopped_today_starts_again_on_a_day_to_come():
    hold = an_event("hold", "2026-06-04 16:00", activity="deck_pour", reason="pump down")
    plan = plan_of(placed("2026-06-04 15:30", 40), hold)
    assert plan.start == dt.datetime(2026, 6, 5, 6, 0)


def test_concrete_that_comes_later_today_is_not_placed_yet():
    start = an_event("start", "2026-06-04 16:30", activity="deck_pour")
    plan = plan_of(start, placed("2026-06-04 18:00", 40), as_of=NOW)
    assert (plan.concrete.placed_m3, plan.start_from) == (0.0, "usual")


def test_a_span_that_is_poured_now_goes_on_and_the_next_one_does_not():
    job = a_job(activities=only("deck_pour", grain="span"))
    one = an_event("place", "2026-06-04 15:30", activity="deck_pour", span="1", quantity=40,
                   measure_unit="m3")  # fmt: skip
    sources = [plan_of(one, job=job, span=span).start_from for span in ("1", "2", "")]
    assert sources == ["under_way", "usual", "under_way"]


def test_a_day_that_is_not_worked_is_said():
    plan = plan_of(start=dt.date(2026, 6, 6))
    assert not plan.working_day
    assert "Sat 6 Jun is no working day of the calendar." in said(plan)


def test_the_chance_of_rain_is_that_of_the_working_days_of_its_month():
    lost = (4.0,) * 5 + (2.2,) + (0.0,) * 6
    job = a_job(calendar=a_calendar(lost_days_per_month=lost))
    # 22 working days in June 2026, no holiday in this calendar; the weekend's month is the same.
    assert plan_of(job=job, start=dt.date(2026, 6, 9)).lost_day_chance == pytest.approx(0.1)
    assert plan_of(job=job, start=dt.date(2026, 6, 6)).lost_day_chance == pytest.approx(0.1)
    # 21 in May: the last weekend of a month is not of the month after.
    assert plan_of(job=job, start=dt.date(2026, 5, 30)).lost_day_chance == pytest.approx(4 / 21)
    assert plan_of(job=job, start=dt.date(2026, 7, 9)).lost_day_chance == 0.0
    assert plan_of(start=dt.date(2026, 6, 9)).lost_day_chance is None


# The deck


def test_the_deck_pour_leaves_a_deck_and_the_first_lift_does_not():
    deck, lift = plan_of(), plan_of(activity="bottom_slab_stems")
    assert deck.finishing is not None
    assert deck.cure_days == 7
    assert (lift.surface, lift.cure_days, lift.wet_until) == (None, None, None)


def test_a_pour_by_another_name_leaves_a_deck_where_a_cure_comes_after_it():
    slab = Activity("slab", "Slab", measure="concrete")
    wall = Activity("wall", "Wall", measure="concrete")
    cure = Activity("cure", "Cure", planned_cycle_days=10, after=("slab",), calendar_days=True)
    job = a_job(activities=(slab, wall, cure))
    assert leaves_deck(job, slab)
    assert not leaves_deck(job, wall)


# What is refused


def test_an_unknown_unit_is_told_what_there_is():
    problem = refused(unit="E09")
    assert problem.field == "unit"
    assert problem.fix == "Use one of E01, E02, E03."


def test_of_many_units_only_some_are_listed():
    problem = refused(unit="X", job=a_job(units=40))
    assert problem.fix.endswith("E12, … (40 in all).")


def test_what_is_no_pour_is_told_what_is():
    problem = refused(activity="rebar")
    assert str(problem) == (
        "request, activity: Rebar places no concrete. Use one of bottom_slab_stems, deck_pour."
    )


def test_a_span_of_a_pour_that_goes_by_units_is_refused():
    assert refused(span="1").field == "span"
    spans = a_job(activities=only("deck_pour", grain="span"))
    assert refused(job=spans, span="7").fix == "Use one of 1, 2, 3."


def test_a_pour_that_is_finished_is_refused_with_its_day():
    problem = refused(*poured("E01"))
    assert "Deck pour of E01 was finished on 4 May 2026." in str(problem)


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"rate_m3_per_h": 0.0}, "rate"),
        ({"rate_m3_per_h": float("nan")}, "rate"),
        ({"load_m3": -9.0}, "load"),
        ({"round_trip_minutes": float("inf")}, "round_trip"),
        ({"volume_m3": 0.0}, "volume"),
        ({"allowance": 1.5}, "allowance"),
        ({"start": dt.date(9999, 12, 31)}, "start"),
        ({"start": dt.datetime(26, 6, 5, 6, 0)}, "start"),
        ({"rate_m3_per_h": 0.001}, "rate"),
    ],
)
def test_numbers_that_cannot_be_are_refused_by_name(asked, field):
    assert refused(**asked).field == field


# What to look at


def test_the_last_caution_is_always_that_these_are_planning_figures():
    for plan in (plan_of(), plan_of(*all_before()), plan_of(job=a_job())):
        assert said(plan)[-1] == PLANNING_ONLY
        assert "engineer of record" in PLANNING_ONLY


def test_common_practice_is_called_that():
    text = " ".join(said(plan_of(), "us"))
    assert "60\u00a0yd³/h is taken: common practice, no source" in text
    assert "Loads of 9\u00a0yd³ are taken: common practice, no source" in text


def test_a_rate_nobody_has_reached_lately_is_said():
    plan = plan_of(*OWN, job=HISTORY, unit="E04", rate_m3_per_h=80.0)
    assert any(
        "faster than nine in ten of the last 3 pours (68\u00a0m³/h)" in c for c in said(plan)
    )
    plan = plan_of(*OWN, job=HISTORY, unit="E04", rate_m3_per_h=60.0)
    assert not any("nine in ten" in caution for caution in said(plan))
    assert plan.rate.band is None
    assert plan.recent_band.median_m3_per_h == pytest.approx(60.0)


def test_a_long_pour_says_what_rate_would_do():
    yards = to_si(600.0, "yd3")
    plan = plan_of(volume_m3=yards, rate_m3_per_h=to_si(60.0, "yd3"), job=a_job())
    assert any(
        "less than 10 hours it must go faster than 60\u00a0yd³/h" in c for c in said(plan, "us")
    )
    quick = plan_of(volume_m3=yards, rate_m3_per_h=to_si(61.0, "yd3"), job=a_job())
    assert not any("10 hours" in caution for caution in said(quick, "us"))


def test_a_small_last_load_is_worth_a_word_with_the_plant():
    plan = plan_of(volume_m3=92.0, load_m3=9.0, rate_m3_per_h=60.0)
    assert any("The last truck brings 2\u00a0m³ only" in one for one in said(plan))


def test_a_volume_far_from_what_remains_is_said():
    assert any(
        "300\u00a0m³ are asked for; 240\u00a0m³ remain" in c for c in said(plan_of(volume_m3=300.0))
    )
    assert not any("asked for" in one for one in said(plan_of(volume_m3=250.0)))
