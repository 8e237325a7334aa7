"""What people type in their units becomes what is asked of a pour."""

from __future__ import annotations

import math

import pytest

from model.pour_asked import asked_in
from model.problems import InputError

READINGS = {"concrete_temp": 75.0, "air_temp": 60.0, "humidity_percent": 55.0, "wind": 10.0}


def refused(system, **typed):
    with pytest.raises(InputError) as error:
        asked_in(system, **typed)
    return error.value.problems


def test_amounts_are_read_in_the_unit_of_the_project():
    us = asked_in("us", rate=60.0, load=9.0, volume=300.0, allowance_percent=3.0)
    # 1 yd³ = 0.764554857984 m³ exactly.
    assert us["rate_m3_per_h"] == pytest.approx(60 * 0.764554857984)
    assert us["load_m3"] == pytest.approx(9 * 0.764554857984)
    assert us["volume_m3"] == pytest.approx(300 * 0.764554857984)
    assert us["allowance"] == pytest.approx(0.03)
    si = asked_in("si", rate=60.0, load=9.0, volume=300.0)
    assert (si["rate_m3_per_h"], si["load_m3"], si["volume_m3"]) == (60.0, 9.0, 300.0)


def test_nothing_typed_asks_nothing():
    assert {key: value for key, value in asked_in("us").items() if value} == {}


def test_readings_are_fahrenheit_and_mph_or_celsius_and_km_h():
    us = asked_in("us", concrete_temp=86.0, air_temp=50.0, humidity_percent=55.0, wind=10.0)
    assert us["weather"].concrete_c == pytest.approx(30.0)
    assert us["weather"].air_c == pytest.approx(10.0)
    assert us["weather"].humidity == pytest.approx(0.55)
    assert us["weather"].wind_m_per_s == pytest.approx(4.4704)  # 1 mph = 0.44704 m/s exactly
    si = asked_in("si", concrete_temp=30.0, air_temp=10.0, humidity_percent=55.0, wind=18.0)
    assert si["weather"].concrete_c == 30.0
    assert si["weather"].wind_m_per_s == pytest.approx(5.0)


@pytest.mark.parametrize("missing", READINGS)
def test_a_reading_that_is_missing_is_named(missing):
    typed = {name: value for name, value in READINGS.items() if name != missing}
    [problem] = refused("us", **typed)
    assert problem.field == missing.removesuffix("_percent")
    assert "all four" in problem.fix


@pytest.mark.parametrize(
    ("system", "reading", "field", "words"),
    [
        ("us", {"concrete_temp": 141.0}, "concrete_temp", "32 to 140 °F"),
        ("si", {"concrete_temp": 61.0}, "concrete_temp", "0 to 60 °C"),
        ("us", {"air_temp": -20.0}, "air_temp", "5 to 140 °F"),
        ("us", {"humidity_percent": 101.0}, "humidity", "0 to 100 %"),
        ("us", {"wind": -1.0}, "wind", "0 to 89 mph"),
        ("si", {"wind": math.nan}, "wind", "0 to 144 km/h"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_with_its_range_in_that_unit(
    system, reading, field, words
):
    [problem] = refused(system, **{**READINGS, "concrete_temp": 50.0, **reading})
    assert problem.field == field
    assert words in problem.message


@pytest.mark.parametrize(
    ("system", "concrete", "air", "wind"),
    [("us", 140.0, 5.0, 89.0), ("us", 32.0, 140.0, 0.0), ("si", 60.0, -15.0, 144.0)],
)
def test_readings_at_the_ends_of_their_ranges_are_taken(system, concrete, air, wind):
    for humidity in (0.0, 100.0):
        asked = asked_in(
            system, concrete_temp=concrete, air_temp=air, humidity_percent=humidity, wind=wind
        )
        assert asked["weather"] is not None
