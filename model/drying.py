"""How fast water leaves the top of fresh concrete, and what that asks of a deck pour.

A deck is a wide, thin, bare surface. Where water leaves it faster than bleed water comes up, it
cracks before it has set (plastic shrinkage). The rate is reckoned from four readings taken at
the deck: temperature of the concrete, temperature and humidity of the air, and wind.

What the estimate leaves out: sun, the clear sky at night, and bleed water. Wind is meant about
0.5 m (20 in) above the concrete; an airport reads at 10 m and overstates it. Rates measured on
concrete lie within about ±40 % of the estimate, so two digits are all that is worth showing.

Planning figures only: limits and precautions of a pour are set by its specification, by the
curing plan and by the engineer of record.

References
----------
.. [1] P. J. Uno, "Plastic shrinkage cracking and evaporation formulas", ACI Materials Journal
   95(4), 365–375, 1998. From memory.
.. [2] C. A. Menzel, "Causes and prevention of crack development in plastic concrete", Portland
   Cement Association, 1954. From memory, as quoted in [1].
.. [3] ACI 305R, Guide to Hot Weather Concreting. From memory; the lower limit, for mixes that
   bleed little, is also common practice.
.. [4] R. W. Hyland and A. Wexler, 1983, as in ASHRAE Handbook – Fundamentals (2017), chapter 1,
   equations 5 and 6.
.. [5] K. C. Hover, "Evaporation of water from concrete surfaces", ACI Materials Journal 103(5),
   2006, and ACI SP-338, 2020, for the ±40 %. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np

from model.units import (
    WEATHER_PRINTED,
    Amount,
    UnitSystem,
    evaporation_from_kg_per_m2_h,
    evaporation_to_kg_per_m2_h,
    shown_evaporation_unit,
    si_per,
    to_celsius,
    to_si,
)

Level = Literal["low", "watch", "act"]

WATCH_KG_PER_M2_H = evaporation_to_kg_per_m2_h(0.1, "lb_ft2_h")
ACT_KG_PER_M2_H = evaporation_to_kg_per_m2_h(0.2, "lb_ft2_h")
"""Customary limits [3]_, held as the 0.1 and 0.2 lb/ft²/h they are: 0.488 and 0.976 kg/m²/h,
where a metric text rounds to 0.5 and 1.0. One pour then has one level in both systems."""

# The curve [1] is published for °F, mph and lb/ft²/h, (Tc^2.5 - r Ta^2.5)(1 + 0.4 V) 1e-6.
_ZERO_F_C = to_celsius(0.0, "deg_f")
_CURVE_STILL_M_PER_S = to_si(1 / 0.4, "mph")
_CURVE_FACTOR = (
    evaporation_to_kg_per_m2_h(0.4e-6, "lb_ft2_h") / si_per("mph") / si_per("deg_f") ** 2.5
)
# Menzel's [2] for psi, mph and lb/ft²/h, 0.44 (ec - r ea)(0.253 + 0.096 V).
_STANDARD_GRAVITY_M_PER_S2 = 9.80665
_PSI_PA = si_per("lb") * _STANDARD_GRAVITY_M_PER_S2 / (si_per("ft") / 12) ** 2
_MENZEL_STILL_M_PER_S = to_si(0.253 / 0.096, "mph")
_MENZEL_FACTOR = evaporation_to_kg_per_m2_h(0.44 * 0.096, "lb_ft2_h") / si_per("mph") / _PSI_PA

_FREEZING_K = 273.15
_TRIPLE_POINT_C = 0.01


class _PressureFit(NamedTuple):
    """ln p = inverse / T + powers[0] + powers[1] T + … + log ln T, in Pa and kelvin [4]_."""

    inverse: float
    powers: tuple[float, ...]
    log: float


_OVER_ICE = _PressureFit(
    -5.6745359e3, (6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13), 4.1635019
)
_OVER_WATER = _PressureFit(
    -5.8002206e3, (1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8), 6.5459673
)


class Range(NamedTuple):
    """What a reading may be."""

    least: float
    most: float
    words: str


ACCEPTED = {
    "concrete_c": Range(0.0, 60.0, "0 to 60 °C"),
    "air_c": Range(-15.0, 60.0, "-15 to 60 °C"),
    "humidity": Range(0.0, 1.0, "a fraction from 0 to 1 (55 % is 0.55)"),
    "wind_m_per_s": Range(0.0, 40.0, "0 to 40 m/s"),
}
"""Readings outside are taken for slips of the pen; the curve itself ends at 0 °F (-17.8 °C)."""

PRECAUTIONS: dict[Level, tuple[str, ...]] = {
    "low": (
        "No more than the usual: finish without delay and begin curing on time.",
        "Read again when the wind, the sun or the temperature changes.",
    ),
    "watch": (
        "Have fog spray, evaporation retarder and wind breaks on the deck and ready.",
        "Keep the stretch between screed and curing short; cover early.",
        "Read at the deck every hour, and whenever the wind picks up.",
    ),
    "act": (
        "Fog spray above the deck, fine enough that no water stands; none is worked in.",
        "Evaporation retarder (monomolecular film) behind the screed and after each pass; it is "
        "no curing compound.",
        "Wind breaks on the windward side.",
        "Cooler concrete: shaded aggregate, chilled water or ice, as the mix design allows.",
        "Pour at the hours with the lowest rate, often night or early morning; cold air over "
        "warm concrete dries it too.",
        "Cover early: wet cover or sheeting as soon as the surface bears it.",
        "Ask the engineer of record before the pour goes ahead; the specification may set "
        "a lower limit.",
    ),
}
"""What is customarily done at each level; common practice, no source beyond [3]_."""


@dataclass(frozen=True, slots=True)
class Weather:
    """Four readings at the deck.

    Parameters
    ----------
    concrete_c
        Temperature of the concrete as placed [°C].
    air_c
        Temperature of the air in the shade [°C].
    humidity
        Relative humidity of the air, a fraction from 0 to 1.
    wind_m_per_s
        Wind about 0.5 m above the concrete [m/s].

    Raises
    ------
    ValueError
        Where a reading is outside ``ACCEPTED`` or is no number; names every such field.

    Examples
    --------
    >>> Weather(concrete_c=27.0, air_c=24.0, humidity=55.0, wind_m_per_s=3.0)
    Traceback (most recent call last):
    ValueError: humidity is 55; expected a fraction from 0 to 1 (55 % is 0.55).
    """

    concrete_c: float
    air_c: float
    humidity: float
    wind_m_per_s: float

    def __post_init__(self) -> None:
        readings = {field: getattr(self, field) for field in ACCEPTED}
        wrong = [
            f"{field} is {reading:g}; expected {ACCEPTED[field].words}."
            for field, reading in readings.items()
            # Asked this way round, so that a reading that is no number is refused too.
            if not ACCEPTED[field].least <= reading <= ACCEPTED[field].most
        ]
        if wrong:
            raise ValueError(" ".join(wrong))


@dataclass(frozen=True, slots=True)
class Drying:
    """What the weather at a deck asks for.

    Parameters
    ----------
    rate_kg_per_m2_h
        Evaporation by Uno's curve [kg/m²/h]; 0 where the air gives water to the concrete.
    menzel_kg_per_m2_h
        The same by Menzel's formula, to see how far two estimates are apart [kg/m²/h].
    level
        ``"low"``, from 0.1 lb/ft²/h ``"watch"``, from 0.2 lb/ft²/h ``"act"``; by the curve, and
        before any rounding.
    wind_to_watch_m_per_s, wind_to_act_m_per_s
        Wind at which those levels begin, all else equal [m/s]; 0 where still air is enough,
        infinite where no wind is.
    precautions
        What is customarily done at this level.
    """

    rate_kg_per_m2_h: float
    menzel_kg_per_m2_h: float
    level: Level
    wind_to_watch_m_per_s: float
    wind_to_act_m_per_s: float
    precautions: tuple[str, ...]


def drying(weather: Weather) -> Drying:
    """Judge the weather at a deck by how fast it dries fresh concrete.

    Parameters
    ----------
    weather
        Readings at the deck.

    Examples
    --------
    >>> hot = drying(Weather(concrete_c=32.0, air_c=32.0, humidity=0.3, wind_m_per_s=6.7))
    >>> hot.level, rate_words(hot.rate_kg_per_m2_h, "us"), rate_words(hot.rate_kg_per_m2_h, "si")
    ('act', '0.37 lb/ft²/h', '1.8 kg/m²/h')
    """
    air = (weather.concrete_c, weather.air_c, weather.humidity)
    rate = max(float(evaporation_kg_per_m2_h(*air, weather.wind_m_per_s)), 0.0)
    menzel = max(float(menzel_kg_per_m2_h(*air, weather.wind_m_per_s)), 0.0)
    level = level_of(rate)
    return Drying(
        rate_kg_per_m2_h=rate,
        menzel_kg_per_m2_h=menzel,
        level=level,
        wind_to_watch_m_per_s=float(wind_at_m_per_s(WATCH_KG_PER_M2_H, *air)),
        wind_to_act_m_per_s=float(wind_at_m_per_s(ACT_KG_PER_M2_H, *air)),
        precautions=PRECAUTIONS[level],
    )


def level_of(rate_kg_per_m2_h: float) -> Level:
    """Return the level of an evaporation rate [kg/m²/h]; a limit itself is above the limit.

    Examples
    --------
    >>> level_of(0.3), level_of(0.6), level_of(0.98)
    ('low', 'watch', 'act')
    """
    if rate_kg_per_m2_h >= ACT_KG_PER_M2_H:
        return "act"
    return "watch" if rate_kg_per_m2_h >= WATCH_KG_PER_M2_H else "low"


def evaporation_kg_per_m2_h(
    concrete_c: Amount, air_c: Amount, humidity: Amount, wind_m_per_s: Amount
) -> Amount:
    r"""Evaporation from fresh concrete by Uno's form of the ACI 305R curve.

    Parameters
    ----------
    concrete_c, air_c
        Temperatures of concrete and air [°C].
    humidity
        Relative humidity, a fraction from 0 to 1.
    wind_m_per_s
        Wind about 0.5 m above the concrete [m/s].

    Returns
    -------
    float or array
        Rate [kg/m²/h] in the shape the readings broadcast to. Negative where water condenses
        on the concrete; NaN for a temperature below 0 °F (-17.8 °C), where the curve ends.

    Notes
    -----
    With temperatures in °C and the wind :math:`V` in km/h,

    .. math:: E = 5.275 \left[(T_c + 17.7778)^{2.5} - r (T_a + 17.7778)^{2.5}\right]
              (V + 4.02336) \cdot 10^{-6},

    the exact conversion of the published US form [1]_. Its usual metric form rounds these
    numbers to 5, 18 and 4, and so comes out 4 to 5 % lower.

    Examples
    --------
    >>> round(float(evaporation_kg_per_m2_h(25.0, 25.0, 0.5, 5.0)), 3)
    0.695
    """
    drive = _curve_drive(concrete_c, air_c, humidity)
    rate: Amount = _CURVE_FACTOR * drive * (wind_m_per_s + _CURVE_STILL_M_PER_S)
    return rate


def menzel_kg_per_m2_h(
    concrete_c: Amount, air_c: Amount, humidity: Amount, wind_m_per_s: Amount
) -> Amount:
    r"""Evaporation from fresh concrete by Menzel's formula, which the curve was drawn from.

    Parameters
    ----------
    concrete_c, air_c, humidity, wind_m_per_s
        As for ``evaporation_kg_per_m2_h``.

    Returns
    -------
    float or array
        Rate [kg/m²/h] in the shape the readings broadcast to; negative where water condenses.

    Notes
    -----
    With pressures in psi, the wind :math:`V` in mph and :math:`E` in lb/ft²/h,

    .. math:: E = 0.44 (e_c - r e_a) (0.253 + 0.096 V),

    converted exactly [2]_. The curve lies within 8 % of it on a usual warm day, and above it in
    cold air. Wherever the curve asks to act, it lies between 15 % below and 30 % above, for
    concrete of 10 to 38 °C, air of -5 to 40 °C and wind to 11 m/s; small rates differ by more.

    Examples
    --------
    >>> round(float(menzel_kg_per_m2_h(25.0, 25.0, 0.5, 5.0)), 3)
    0.655
    """
    drive_pa = saturation_pressure_pa(concrete_c) - humidity * saturation_pressure_pa(air_c)
    return _MENZEL_FACTOR * drive_pa * (wind_m_per_s + _MENZEL_STILL_M_PER_S)


def wind_at_m_per_s(
    rate_kg_per_m2_h: Amount, concrete_c: Amount, air_c: Amount, humidity: Amount
) -> Amount:
    """Return the wind at which the curve reaches a rate, all else equal.

    Parameters
    ----------
    rate_kg_per_m2_h
        Rate asked for [kg/m²/h], above 0.
    concrete_c, air_c, humidity
        As for ``evaporation_kg_per_m2_h``.

    Returns
    -------
    float or array
        Wind [m/s]: 0 where still air reaches the rate already, infinite where the concrete
        does not dry in any wind. It may be stronger than any wind there is.

    Raises
    ------
    ValueError
        For a rate of 0 or below.

    Examples
    --------
    >>> round(float(wind_at_m_per_s(ACT_KG_PER_M2_H, 27.0, 27.0, 0.5)), 1)
    6.5
    """
    if np.any(np.asarray(rate_kg_per_m2_h) <= 0.0):
        raise ValueError("rate_kg_per_m2_h has a rate of 0 or below; expected above 0.")
    drive = np.maximum(_curve_drive(concrete_c, air_c, humidity), 0.0)
    with np.errstate(divide="ignore"):
        wind = np.divide(rate_kg_per_m2_h, _CURVE_FACTOR * drive) - _CURVE_STILL_M_PER_S
    at_least_still: Amount = np.maximum(wind, 0.0)
    return at_least_still


def saturation_pressure_pa(temperature_c: Amount) -> Amount:
    """Return the pressure of water vapour over water, or over ice below freezing.

    Parameters
    ----------
    temperature_c
        Temperature from -100 to 200 [°C].

    Returns
    -------
    float or array
        Pressure [Pa].

    Notes
    -----
    Hyland and Wexler's fits as ASHRAE prints them [4]_.

    Examples
    --------
    >>> round(float(saturation_pressure_pa(20.0)))
    2339
    """
    kelvin = temperature_c + _FREEZING_K
    ice, water = (_log_pressure(fit, kelvin) for fit in (_OVER_ICE, _OVER_WATER))
    pressure_pa: Amount = np.exp(np.where(temperature_c < _TRIPLE_POINT_C, ice, water))
    return pressure_pa


def rate_words(rate_kg_per_m2_h: float, system: UnitSystem) -> str:
    """Write a rate with the two digits it is worth.

    Examples
    --------
    >>> rate_words(0.97649, "us"), rate_words(0.97649, "si")
    ('0.20 lb/ft²/h', '0.98 kg/m²/h')
    """
    unit = shown_evaporation_unit(system)
    rate = evaporation_from_kg_per_m2_h(max(rate_kg_per_m2_h, 0.0), unit)
    text = f"{rate:#.2g}".rstrip(".") if rate >= 0.01 else f"{rate:.2f}"
    return f"{text} {WEATHER_PRINTED[unit]}"


def _curve_drive(concrete_c: Amount, air_c: Amount, humidity: Amount) -> Any:
    """Return how hard the air pulls water out of the concrete; below 0 it gives water."""
    with np.errstate(invalid="ignore"):
        concrete = np.power(concrete_c - _ZERO_F_C, 2.5)
        air = np.power(air_c - _ZERO_F_C, 2.5)
    return concrete - humidity * air


def _log_pressure(fit: _PressureFit, kelvin: Amount) -> Any:
    """Return ln of a saturation pressure in Pa."""
    powers = np.polynomial.polynomial.polyval(kelvin, fit.powers)
    return fit.inverse / kelvin + powers + fit.log * np.log(kelvin)
