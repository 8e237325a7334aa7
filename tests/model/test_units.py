"""Customary units at the edge: temperatures, wind and evaporation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.units import (
    MEASURE_UNITS,
    PRINTED,
    WEATHER_PRINTED,
    evaporation_from_kg_per_m2_h,
    evaporation_to_kg_per_m2_h,
    from_celsius,
    from_si,
    shown_evaporation_unit,
    shown_temperature_unit,
    shown_wind_unit,
    si_per,
    to_celsius,
    to_si,
)

POUND_KG, FOOT_M, MILE_M = 0.45359237, 0.3048, 1609.344
"""Exact, by the international yard and pound agreement of 1959."""


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(32.0, 0.0), (212.0, 100.0), (50.0, 10.0), (-40.0, -40.0)]
)
def test_fahrenheit_and_celsius_meet_where_they_should(fahrenheit, celsius) -> None:
    assert to_celsius(fahrenheit, "deg_f") == pytest.approx(celsius, abs=1e-12)
    assert from_celsius(celsius, "deg_f") == pytest.approx(fahrenheit, abs=1e-12)


def test_celsius_stays_as_it_is_typed() -> None:
    assert to_celsius(23.7, "deg_c") == from_celsius(23.7, "deg_c") == 23.7


def test_a_wind_and_an_evaporation_rate_by_the_exact_pound_foot_and_mile() -> None:
    assert to_si(10.0, "mph") == pytest.approx(10.0 * MILE_M / 3600.0, rel=1e-15)
    assert to_si(36.0, "km_h") == pytest.approx(10.0, rel=1e-15)
    assert to_si(10.0, "m_s") == 10.0
    assert from_si(0.44704, "mph") == pytest.approx(1.0, rel=1e-15)
    rate = evaporation_to_kg_per_m2_h(0.2, "lb_ft2_h")
    assert rate == pytest.approx(0.2 * POUND_KG / FOOT_M**2, rel=1e-14)
    assert evaporation_to_kg_per_m2_h(0.3, "kg_m2_h") == 0.3


@given(st.floats(-60.0, 120.0), st.sampled_from(["deg_c", "deg_f"]))
def test_a_temperature_comes_back_as_it_was_typed(typed: float, unit: str) -> None:
    assert from_celsius(to_celsius(typed, unit), unit) == pytest.approx(typed, abs=1e-12)


@given(st.floats(0.0, 10.0), st.sampled_from(["kg_m2_h", "lb_ft2_h"]))
def test_an_evaporation_rate_comes_back_as_it_was_typed(typed: float, unit: str) -> None:
    back = evaporation_from_kg_per_m2_h(evaporation_to_kg_per_m2_h(typed, unit), unit)
    assert back == pytest.approx(typed, rel=1e-14)


def test_a_whole_day_of_readings_converts_at_once() -> None:
    readings = np.array([32.0, 50.0, 212.0])
    np.testing.assert_allclose(to_celsius(readings, "deg_f"), [0.0, 10.0, 100.0])
    rates = evaporation_from_kg_per_m2_h(np.array([0.0, POUND_KG / FOOT_M**2]), "lb_ft2_h")
    np.testing.assert_allclose(rates, [0.0, 1.0])


def test_each_system_shows_its_own_weather() -> None:
    shown = {
        system: [
            WEATHER_PRINTED[unit_of(system)]
            for unit_of in (shown_temperature_unit, shown_wind_unit, shown_evaporation_unit)
        ]
        for system in ("us", "si")
    }
    assert shown == {"us": ["°F", "mph", "lb/ft²/h"], "si": ["°C", "km/h", "kg/m²/h"]}


def test_no_event_is_counted_in_degrees_or_wind() -> None:
    assert not set(PRINTED) & set(WEATHER_PRINTED)
    accepted = {unit for units in MEASURE_UNITS.values() for unit in units.accepted}
    assert accepted <= set(PRINTED)


def test_every_printed_unit_has_a_factor() -> None:
    assert all(si_per(unit) > 0 for unit in [*PRINTED, *WEATHER_PRINTED])


def test_a_unit_that_is_no_temperature_is_not_taken_for_one() -> None:
    with pytest.raises(KeyError, match="mph"):
        to_celsius(60.0, "mph")
    with pytest.raises(KeyError, match="kelvin"):
        from_celsius(20.0, "kelvin")
