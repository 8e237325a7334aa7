"""What somebody asks of a pour, and how what people type becomes it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping
from typing import TypedDict

from model.drying import ACCEPTED, Weather
from model.pour_words import Shown
from model.problems import InputError, Problem
from model.units import (
    WEATHER_PRINTED,
    UnitSystem,
    from_celsius,
    from_si,
    shown_temperature_unit,
    to_celsius,
    to_si,
)

READINGS = {
    "concrete_temp": ("concrete_c", "the temperature of the concrete"),
    "air_temp": ("air_c", "the temperature of the air"),
    "humidity": ("humidity", "the humidity of the air"),
    "wind": ("wind_m_per_s", "the wind"),
}
"""Field of ``Weather`` and words, by the name people give a reading."""

ROUNDING = 1e-6
"""What the ends of a range may be off by once they are in another unit."""


class PourAsked(TypedDict, total=False):
    """What somebody may ask of a pour; what is left out goes by folder, log or common practice.

    Attributes
    ----------
    span
        One span of an activity that goes span by span; blank is the whole unit.
    start
        When the first truck discharges (local), or the day alone: then the hour is the usual.
    rate_m3_per_h
        Concrete placed per hour [m³/h].
    load_m3
        What a truck brings [m³].
    round_trip_minutes
        From one loading of a truck to its next one [min].
    allowance
        What is ordered beyond what is to be placed, as a share of it.
    volume_m3
        What to place, instead of what remains of the plan [m³].
    weather
        Readings at the deck.
    """

    span: str
    start: dt.datetime | dt.date | None
    rate_m3_per_h: float | None
    load_m3: float | None
    round_trip_minutes: float | None
    allowance: float | None
    volume_m3: float | None
    weather: Weather | None


def asked_in(
    system: UnitSystem,
    *,
    span: str = "",
    start: dt.datetime | dt.date | None = None,
    rate: float | None = None,
    load: float | None = None,
    volume: float | None = None,
    allowance_percent: float | None = None,
    round_trip_minutes: float | None = None,
    concrete_temp: float | None = None,
    air_temp: float | None = None,
    humidity_percent: float | None = None,
    wind: float | None = None,
) -> PourAsked:
    """Turn what people type in their project's units into what is asked of a pour.

    Parameters
    ----------
    system
        Units of the project.
    span, start, round_trip_minutes
        As in ``PourAsked``.
    rate, load, volume
        In the project's unit of concrete, the rate per hour.
    allowance_percent
        Per cent ordered beyond what is to be placed.
    concrete_temp, air_temp, humidity_percent, wind
        Readings at the deck: all four, or none. °F and mph, or °C and km/h; wind about 0.5 m
        above the concrete.

    Raises
    ------
    InputError
        Where some readings are missing, or one cannot be.

    Examples
    --------
    >>> asked = asked_in("si", rate=46.0, allowance_percent=3.0)
    >>> asked["rate_m3_per_h"], asked["allowance"], asked["weather"]
    (46.0, 0.03, None)
    """
    unit = Shown(system).volume_unit

    def in_si(amount: float | None) -> float | None:
        return None if amount is None else to_si(amount, unit)

    readings = {
        "concrete_temp": concrete_temp,
        "air_temp": air_temp,
        "humidity": humidity_percent,
        "wind": wind,
    }
    return PourAsked(
        span=span,
        start=start,
        rate_m3_per_h=in_si(rate),
        load_m3=in_si(load),
        volume_m3=in_si(volume),
        allowance=None if allowance_percent is None else allowance_percent / 100.0,
        round_trip_minutes=round_trip_minutes,
        weather=_weather(system, readings),
    )


def _weather(system: UnitSystem, readings: Mapping[str, float | None]) -> Weather | None:
    given = {name: value for name, value in readings.items() if value is not None}
    if not given:
        return None
    problems = [
        Problem("request", f"{READINGS[name][1].capitalize()} is missing.",
                "How fast a deck dries takes all four readings: give it too, or none of them.",
                field=name)
        for name in readings if name not in given
    ]  # fmt: skip
    problems += _impossible(system, given)
    if problems:
        raise InputError(problems)
    degree, wind_unit = shown_temperature_unit(system), Shown(system).wind_unit
    return Weather(
        concrete_c=to_celsius(given["concrete_temp"], degree),
        air_c=to_celsius(given["air_temp"], degree),
        humidity=given["humidity"] / 100.0,
        wind_m_per_s=to_si(given["wind"], wind_unit),
    )


def _impossible(system: UnitSystem, given: Mapping[str, float]) -> Iterator[Problem]:
    """Yield the readings out of range, with the range in the units they are typed in."""
    degree, wind_unit = shown_temperature_unit(system), Shown(system).wind_unit
    for name, value in given.items():
        accepted = ACCEPTED[READINGS[name][0]]
        ends = accepted.least, accepted.most
        if name == "humidity":
            least, most, unit = 0.0, 100.0, "%"
        elif name == "wind":
            least, most = (from_si(end, wind_unit) for end in ends)
            unit = WEATHER_PRINTED[wind_unit]
        else:
            least, most = (from_celsius(end, degree) for end in ends)
            unit = WEATHER_PRINTED[degree]
        least, most = math.ceil(least - ROUNDING), math.floor(most + ROUNDING)
        if not least <= value <= most:
            yield Problem("request", f"It is {value:g}; expected {least} to {most} {unit}.",
                          "Correct it.", field=name)  # fmt: skip
