"""What a pour needs, against the figures the trade reckons with (common practice, no source)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.drying import Weather
from model.pour_plan import Before, Concrete, PlacingRate, PourPlan, Surface, Trucks
from model.pour_rate import RateBand
from model.units import from_si, to_si
from tests.model.builders import ACTIVITIES

DECK_POUR = next(activity for activity in ACTIVITIES if activity.key == "deck_pour")
START = dt.datetime(2026, 6, 4, 6, 0)


def yd3(amount):
    return to_si(amount, "yd3")


def a_plan(volume=300.0, rate=60.0, load=9.0, trip=None, **more):
    """A deck of 13,000 ft² and 325 ft; volume, rate and load in yd³."""
    return PourPlan(
        unit="E01", span="", heading="h1", activity=DECK_POUR, status="not_started", reason="",
        concrete=more.pop("concrete", Concrete(yd3(volume), "schedule")),
        rate=more.pop("rate_of", PlacingRate(yd3(rate), "given")),
        trucks=Trucks(yd3(load), "given", trip), start=more.pop("start", START),
        zone=ZoneInfo("America/Los_Angeles"), cure_days=7,
        surface=Surface(to_si(13_000.0, "ft2"), to_si(325.0, "ft")), **more,
    )  # fmt: skip


def test_300_yards_at_60_an_hour_take_5_hours():
    plan = a_plan(300, 60)
    assert plan.hours == pytest.approx(5.0)
    assert plan.end == dt.datetime(2026, 6, 4, 11, 0)


def test_600_yards_in_less_than_10_hours_need_more_than_60_an_hour():
    assert not a_plan(600, 60).hours < 10.0
    assert a_plan(600, 60.1).hours < 10.0


def test_300_yards_are_34_loads_of_9_the_last_one_3():
    plan = a_plan(300, load=9)
    assert plan.loads == 34
    assert from_si(plan.last_load_m3, "yd3") == pytest.approx(3.0)


def test_at_60_an_hour_a_truck_of_9_comes_every_9_minutes():
    assert a_plan(rate=60, load=9).minutes_between_loads == pytest.approx(9.0)


@pytest.mark.parametrize(("trip", "trucks"), [(45, 5), (46, 6), (9, 1), (1, 1), (None, None)])
def test_a_round_trip_of_45_minutes_takes_5_trucks(trip, trucks):
    assert a_plan(rate=60, load=9, trip=trip).trucks_needed == trucks


def test_no_more_trucks_than_loads():
    plan = a_plan(volume=18, load=9, trip=90)
    assert (plan.loads, plan.trucks_needed) == (2, 2)


def test_loads_that_come_out_even_take_no_truck_more():
    plan = a_plan(306, load=9)
    assert plan.loads == 34
    assert from_si(plan.last_load_m3, "yd3") == pytest.approx(9.0)


def test_a_division_that_comes_out_a_hair_above_takes_no_load_more():
    concrete = Concrete(100.0, allowance=0.1)
    assert concrete.order_m3 / 10.0 > 11.0  # in the last digit
    assert Trucks(10.0, "given").loads(concrete.order_m3) == 11


def test_13_000_square_feet_in_5_hours_are_finished_at_2_600_an_hour():
    finishing = a_plan(300, 60).finishing
    assert from_si(finishing.area_m2_per_h, "ft2") == pytest.approx(2600.0)
    assert from_si(finishing.advance_m_per_h, "ft") == pytest.approx(65.0)
    # 9 of 300 yd³ cover 9/300 of 13,000 ft².
    assert from_si(finishing.area_m2_per_load, "ft2") == pytest.approx(390.0)


def test_a_deck_is_kept_wet_for_7_calendar_days_after_its_pour():
    assert a_plan().wet_until == dt.date(2026, 6, 11)


def test_the_cure_of_a_night_pour_counts_from_the_morning_it_ends():
    plan = a_plan(start=dt.datetime(2026, 6, 4, 20, 30))
    assert plan.end.date() == dt.date(2026, 6, 5)
    assert plan.wet_until == dt.date(2026, 6, 12)


def test_an_hour_is_an_hour_in_the_night_the_clocks_go_back():
    plan = a_plan(300, 60, start=dt.datetime(2026, 10, 31, 23, 0))
    assert plan.end == dt.datetime(2026, 11, 1, 3, 0)  # 5 hours, one of them twice


def test_what_is_placed_is_not_placed_again():
    concrete = Concrete(planned_m3=300.0, placed_m3=100.0)
    assert (concrete.remaining_m3, concrete.volume_m3) == (200.0, 200.0)
    assert concrete.share == pytest.approx(2 / 3)


def test_an_allowance_is_ordered_on_top():
    plan = a_plan(concrete=Concrete(yd3(300.0), allowance=0.03), load=9)
    assert from_si(plan.concrete.order_m3, "yd3") == pytest.approx(309.0)
    assert plan.loads == 35
    assert plan.hours == pytest.approx(5.15)


def test_more_than_planned_leaves_nothing_to_place():
    concrete = Concrete(planned_m3=300.0, placed_m3=310.0)
    assert concrete.remaining_m3 == 0.0
    assert concrete.volume_m3 is None


def test_without_a_quantity_nothing_is_planned_by_volume():
    plan = a_plan(concrete=Concrete(None, placed_m3=12.0), trip=45)
    told = (plan.hours, plan.hours_low, plan.hours_high, plan.end, plan.end_late, plan.loads,
            plan.last_load_m3, plan.finishing, plan.wet_until)  # fmt: skip
    assert set(told) == {None}
    assert plan.minutes_between_loads == pytest.approx(9.0)
    assert plan.trucks_needed == 5


def test_a_volume_that_is_given_is_planned_by_without_a_quantity():
    plan = a_plan(concrete=Concrete(None, given_m3=yd3(300.0)))
    assert plan.hours == pytest.approx(5.0)
    assert from_si(plan.finishing.area_m2, "ft2") == pytest.approx(13_000.0)


@pytest.mark.parametrize(
    ("concrete", "share"),
    [
        (Concrete(300.0, given_m3=150.0), 0.5),
        (Concrete(300.0, given_m3=320.0), 1.0),
        (Concrete(300.0, placed_m3=200.0, given_m3=150.0), 1 / 3),
        (Concrete(300.0, placed_m3=300.0, given_m3=15.0), 0.05),
        (Concrete(300.0, placed_m3=300.0), 1.0),
        (Concrete(None, given_m3=15.0), 1.0),
    ],
)
def test_a_pour_covers_the_deck_in_the_share_of_the_concrete_it_places(concrete, share):
    assert concrete.share == pytest.approx(share)


def test_a_band_of_rates_gives_a_band_of_hours():
    band = RateBand(yd3(50.0), yd3(60.0), yd3(75.0))
    plan = a_plan(300, rate_of=PlacingRate(yd3(60.0), "recent", band))
    assert (plan.hours_low, plan.hours, plan.hours_high) == pytest.approx((4.0, 5.0, 6.0))
    assert plan.end_late == dt.datetime(2026, 6, 4, 12, 0)


def test_drying_is_worked_out_for_a_deck_surface_alone():
    # 90 °F on both, 30 %, 15 mph: 0.377 lb/ft²/h by Uno's curve, above the 0.2 that asks to act.
    weather = Weather((90 - 32) / 1.8, (90 - 32) / 1.8, 0.3, to_si(15.0, "mph"))
    plan = a_plan(weather=weather)
    assert plan.drying.level == "act"
    first_lift = replace(plan, surface=None)
    assert (first_lift.drying, first_lift.finishing) == (None, None)


def test_a_pour_is_ready_when_all_before_it_is_finished_and_it_is_not_on_hold():
    done, open_one = Before("rebar", "Rebar", "complete"), Before("rebar", "Rebar", "under_way")
    plan = a_plan(before=(done,))
    assert plan.ready
    assert not replace(plan, before=(done, open_one)).ready
    assert not replace(plan, status="on_hold", reason="Wind").ready


VOLUMES = st.floats(0.5, 5000.0)
RATES = st.floats(1.0, 500.0)
LOADS = st.floats(1.0, 15.0)


@given(VOLUMES, LOADS)
def test_the_loads_are_enough_and_one_less_is_not(volume, load):
    plan = a_plan(volume, load=load)
    order, of_load = plan.concrete.order_m3, plan.trucks.load_m3
    assert plan.loads * of_load >= order * (1 - 1e-6)
    assert (plan.loads - 1) * of_load < order
    assert 0.0 < plan.last_load_m3 <= of_load * (1 + 1e-6)


@given(VOLUMES, RATES, st.floats(0.1, 10.0))
def test_hours_go_with_the_volume_and_against_the_rate(volume, rate, times):
    hours = a_plan(volume, rate).hours
    assert a_plan(volume * times, rate).hours == pytest.approx(hours * times)
    assert a_plan(volume, rate * times).hours == pytest.approx(hours / times)
    assert a_plan(volume * times, rate * times).hours == pytest.approx(hours)


@given(RATES, LOADS, st.floats(1.0, 300.0))
def test_the_trucks_keep_the_rate_and_one_less_does_not(rate, load, trip):
    plan = a_plan(1e6, rate, load, trip)
    trucks = plan.trucks_needed
    assert trucks * load * 60.0 / trip >= rate * (1 - 1e-6)
    assert trucks == 1 or (trucks - 1) * load * 60.0 / trip < rate


@given(VOLUMES, RATES)
def test_finishing_keeps_up_with_the_pour(volume, rate):
    plan = a_plan(volume, rate)
    finishing = plan.finishing
    assert finishing.area_m2_per_h * plan.hours == pytest.approx(finishing.area_m2)
    assert finishing.area_m2_per_load * plan.loads >= finishing.area_m2 * (1 - 1e-6)
