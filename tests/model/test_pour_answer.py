"""The answer about a pour: the same pour in both systems, in words and as JSON."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.fold import fold
from model.next_pour import next_pour
from model.pour_answer import LINE, PourAnswer
from model.pour_asked import asked_in
from model.units import from_si
from tests.model.builders import a_frame, a_job, done

NOW = dt.datetime(2026, 6, 4, 17, 0)
YD3_M3 = 0.764554857984
REBAR = [event for key in ("falsework", "bottom_slab_stems", "deck_forms", "rebar")
         for event in done(key)]  # fmt: skip


def answer(system, planned_m3=300 * YD3_M3, events=REBAR, activity="deck_pour", **typed):
    planned = [("E01", "", "deck_pour", planned_m3)] if planned_m3 else []
    job = a_job(units_system=system, planned=planned)
    state = fold(a_frame(*events), job)
    asked = asked_in(system, **typed)
    plan = next_pour(state, "E01", job.activity_by_key[activity], asked, NOW)
    return PourAnswer(plan, NOW, NOW, system)


def test_it_says_in_the_projects_units_what_the_pour_needs():
    told = answer("us", rate=60, load=9, round_trip_minutes=45).as_dict()
    assert told["measure_unit"] == "yd3"
    wanted = {
        "planned": 300.0, "placed": 0.0, "remaining": 300.0, "volume": 300.0, "order": 300.0,
        "rate": 60.0, "hours": 5.0, "loads": 34, "load": 9.0, "last_load": 3.0,
        "minutes_between_loads": 9.0, "trucks": 5,
    }  # fmt: skip
    assert {key: told[key] for key in wanted} == pytest.approx(wanted)
    assert (told["planned_from"], told["rate_from"], told["load_from"]) == (
        "schedule", "given", "given",
    )  # fmt: skip
    assert (told["start"], told["end"]) == ("2026-06-05T06:00", "2026-06-05T11:00")
    assert (told["wet_until"], told["cure_days"]) == ("2026-06-12", 7)
    assert told["ready"]
    assert told["before"][0]["activity"] == "rebar"


def test_the_deck_is_said_in_feet():
    # 3 spans of 40 × 12 m.
    told = answer("us", rate=60).as_dict()["finishing"]
    assert told["area"] == pytest.approx(3 * 40 * 12 / 0.3048**2)
    assert told["area_per_hour"] == pytest.approx(told["area"] / 5)
    assert told["advance_per_hour"] == pytest.approx(120 / 0.3048 / 5)
    assert (told["area_unit"], told["length_unit"]) == ("ft2", "ft")


WEATHER = {"concrete_temp": 90.0, "air_temp": 90.0, "humidity_percent": 30.0, "wind": 15.0}


def test_drying_is_said_in_pounds_with_the_wind_that_would_do():
    told = answer("us", **WEATHER).as_dict()["drying"]
    # Uno's curve at 90, 90 °F, 30 %, 15 mph: 0.37653 lb/ft²/h (from memory; arithmetic by hand).
    assert told["rate"] == pytest.approx(0.37653, abs=1e-5)
    assert (told["level"], told["rate_unit"], told["wind_unit"]) == ("act", "lb_ft2_h", "mph")
    assert told["wind_to_watch"] < told["wind_to_act"] < 15.0
    assert told["precautions"]


def test_a_wind_that_no_wind_reaches_is_null_in_json():
    # Air warmer than the concrete and full of water: nothing dries.
    damp = {"concrete_temp": 60.0, "air_temp": 80.0, "humidity_percent": 100.0, "wind": 5.0}
    found = answer("us", **damp)
    told = found.as_dict()["drying"]
    assert (told["wind_to_watch"], told["wind_to_act"]) == (None, None)
    assert "of wind" not in str(found)


@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize("planned_m3", [None, 300 * YD3_M3])
def test_it_is_json_without_infinities_and_nothing_is_left_out(system, planned_m3):
    full, plain = answer(system, planned_m3, rate=60), answer(system, planned_m3, events=[])
    for one in (full, plain):
        json.dumps(one.as_dict(), allow_nan=False)
    assert list(full.as_dict()) == list(plain.as_dict())


def test_weather_of_a_first_lift_is_said_to_count_for_nothing():
    found = answer("us", events=done("falsework"), activity="bottom_slab_stems", **WEATHER)
    assert found.as_dict()["drying"] is None
    assert any("finished deck only" in caution for caution in found.cautions)


@given(
    volume_m3=st.floats(1.0, 2000.0), rate_m3_per_h=st.floats(15.0, 150.0),
    load_m3=st.floats(3.0, 12.0), trip=st.floats(5.0, 200.0),
    concrete_c=st.floats(5.0, 40.0), air_c=st.floats(-10.0, 45.0),
    humidity=st.floats(5.0, 100.0), wind_m_per_s=st.floats(0.0, 15.0),
)  # fmt: skip
def test_both_systems_give_the_same_pour(
    volume_m3, rate_m3_per_h, load_m3, trip, concrete_c, air_c, humidity, wind_m_per_s
):
    common = {"round_trip_minutes": trip, "humidity_percent": humidity, "events": REBAR}
    si = answer(
        "si", volume=volume_m3, rate=rate_m3_per_h, load=load_m3, concrete_temp=concrete_c,
        air_temp=air_c, wind=wind_m_per_s * 3.6, **common,
    ).plan  # fmt: skip
    us = answer(
        "us", volume=from_si(volume_m3, "yd3"), rate=from_si(rate_m3_per_h, "yd3"),
        load=from_si(load_m3, "yd3"), concrete_temp=concrete_c * 1.8 + 32.0,
        air_temp=air_c * 1.8 + 32.0, wind=from_si(wind_m_per_s, "mph"), **common,
    ).plan  # fmt: skip
    assert us.hours == pytest.approx(si.hours)
    assert (us.loads, us.trucks_needed, us.wet_until) == (si.loads, si.trucks_needed, si.wet_until)
    assert us.last_load_m3 == pytest.approx(si.last_load_m3, abs=1e-6)
    assert us.finishing.area_m2_per_h == pytest.approx(si.finishing.area_m2_per_h)
    assert us.drying.rate_kg_per_m2_h == pytest.approx(si.drying.rate_kg_per_m2_h, abs=1e-9)


def test_it_reads_at_arms_length():
    lines = str(answer("us", rate=60, load=9, round_trip_minutes=45, **WEATHER)).splitlines()
    assert lines[0] == "Deck pour of E01 on h1, as of Thu 4 Jun 17:00"
    titles = [line[:10].strip() for line in lines[1:] if line[:1].isalpha()]
    assert titles == ["before", "concrete", "rate", "time", "loads", "finishing", "drying", "cure"]
    assert max(map(len, lines)) <= LINE
    text = " ".join(" ".join(lines).split()).replace("\u00a0", " ")
    assert "34 of 9 yd³ (as given), the last 3 yd³, one every 9 min; 5 trucks" in text
    assert "from Fri 5 Jun 06:00 to 11:00, 5 h;" in text
    assert "wet to the end of Fri 12 Jun (7 calendar days)" in text


def test_without_a_quantity_the_words_leave_out_what_is_not_known():
    text = str(answer("us", None))
    assert "order" not in text
    assert "None" not in text
    assert "nan" not in text
