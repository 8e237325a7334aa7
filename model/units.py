"""SI inside, customary units at the edge.

Every quantity of the log belongs to a measure (concrete, formwork, …) with one SI unit in
which all arithmetic is done. The weather at a pour has units of its own, which no event is
counted in. People type and read the units named here; the conversion factors are Pint's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeVar

import numpy as np
import pint
from numpy.typing import NDArray

from model.activities import Measure

UnitSystem = Literal["us", "si"]
Amount = TypeVar("Amount", float, NDArray[np.float64])

_PINT_NAMES = {
    "m": "meter",
    "ft": "foot",
    "ft_us": "survey_foot",
    "m2": "meter**2",
    "ft2": "foot**2",
    "m3": "meter**3",
    "yd3": "yard**3",
    "ft3": "foot**3",
    "board_ft": "foot**3 / 12",
    "kg": "kilogram",
    "t": "metric_ton",
    "lb": "pound",
    "ton": "short_ton",
    "m_s": "meter / second",
    "km_h": "kilometer / hour",
    "mph": "mile / hour",
    "kg_m2_h": "kilogram / meter**2 / hour",
    "lb_ft2_h": "pound / foot**2 / hour",
    "deg_c": "delta_degree_Celsius",
    "deg_f": "delta_degree_Fahrenheit",
}
_FREEZING = {"deg_c": 0.0, "deg_f": 32.0}
"""0 °C on each scale, by definition; Pint would go by way of kelvins and round twice."""


@dataclass(frozen=True, slots=True)
class MeasureUnits:
    """The units one measure may be typed in, and the one it is kept and shown in.

    Parameters
    ----------
    si, us
        Unit of all arithmetic and of SI projects, and the unit US projects are shown in.
    accepted
        Every unit a person may type.
    """

    si: str
    us: str
    accepted: tuple[str, ...]


MEASURE_UNITS: dict[Measure, MeasureUnits] = {
    "concrete": MeasureUnits("m3", "yd3", ("m3", "yd3", "ft3")),
    "formwork": MeasureUnits("m2", "ft2", ("m2", "ft2")),
    "steel": MeasureUnits("kg", "lb", ("kg", "t", "lb", "ton")),
    "lumber": MeasureUnits("m3", "board_ft", ("m3", "board_ft", "ft3")),
    "falsework": MeasureUnits("m2", "ft2", ("m2", "ft2")),
    "area": MeasureUnits("m2", "ft2", ("m2", "ft2")),
}
"""Falsework and forms are counted by the plan area of deck they carry or face."""

PRINTED = {
    "m": "m",
    "ft": "ft",
    "ft_us": "ft",
    "m2": "m²",
    "ft2": "ft²",
    "m3": "m³",
    "yd3": "yd³",
    "ft3": "ft³",
    "board_ft": "board ft",
    "kg": "kg",
    "t": "t",
    "lb": "lb",
    "ton": "ton",
}
"""Unit names as people read them: the units an event may be counted in."""

WEATHER_PRINTED = {
    "deg_c": "°C",
    "deg_f": "°F",
    "m_s": "m/s",
    "km_h": "km/h",
    "mph": "mph",
    "kg_m2_h": "kg/m²/h",
    "lb_ft2_h": "lb/ft²/h",
}
"""Names of temperatures, wind and evaporation as people read them."""


@cache
def _registry() -> pint.UnitRegistry[float]:
    """Pint's units, read once: reading them takes a good part of a second."""
    return pint.UnitRegistry(cache_folder=None)


@cache
def si_per(unit: str) -> float:
    """Return how many SI base units (m, m², m³, kg, m/s) one ``unit`` is.

    Parameters
    ----------
    unit
        A name from ``PRINTED`` or ``WEATHER_PRINTED``, for example ``"yd3"``. For a
        temperature, the size of one degree.

    Raises
    ------
    KeyError
        For a unit that is not known here.

    Examples
    --------
    >>> round(si_per("yd3"), 12)
    0.764554857984
    """
    return float(_registry()(f"1 * {_PINT_NAMES[unit]}").to_base_units().magnitude)


def to_si(amount: Amount, unit: str) -> Amount:
    """Convert an amount typed in ``unit`` to the SI unit of its kind."""
    return amount * si_per(unit)


def from_si(amount: Amount, unit: str) -> Amount:
    """Convert an SI amount to ``unit``.

    Examples
    --------
    >>> round(from_si(100.0, "yd3"), 3)
    130.795
    """
    return amount / si_per(unit)


def amount_shown(amount_si: float | None, unit: str) -> float | None:
    """Convert an SI amount to the unit shown; None where nothing is planned or measured.

    Parameters
    ----------
    amount_si
        None where there is no such amount.
    unit
        Blank where the activity has no quantity.

    Examples
    --------
    >>> amount_shown(None, "yd3"), amount_shown(0.0, ""), amount_shown(100.0, "m3")
    (None, None, 100.0)
    """
    return None if amount_si is None or not unit else from_si(amount_si, unit)


def shown_unit(measure: Measure, system: UnitSystem) -> str:
    """Return the unit in which a measure is shown; blank for ``"none"``.

    Examples
    --------
    >>> shown_unit("concrete", "us")
    'yd3'
    """
    if measure == "none":
        return ""
    units = MEASURE_UNITS[measure]
    return units.us if system == "us" else units.si


def to_celsius(temperature: Amount, unit: str) -> Amount:
    """Convert a temperature typed in ``unit`` to degrees Celsius.

    Parameters
    ----------
    temperature
        A reading [``unit``], not a difference of two.
    unit
        ``"deg_f"`` or ``"deg_c"``.

    Raises
    ------
    KeyError
        For a unit that is no temperature.

    Examples
    --------
    >>> to_celsius(50.0, "deg_f")
    10.0
    """
    return (temperature - _FREEZING[unit]) * si_per(unit)


def from_celsius(temperature_c: Amount, unit: str) -> Amount:
    """Convert degrees Celsius to ``unit``; the way back from ``to_celsius``.

    Examples
    --------
    >>> from_celsius(10.0, "deg_f")
    50.0
    """
    return temperature_c / si_per(unit) + _FREEZING[unit]


def evaporation_to_kg_per_m2_h(rate: Amount, unit: str) -> Amount:
    """Convert an evaporation rate in ``unit`` to kg/m²/h.

    An hour is what the trade counts evaporation by, so this keeps it, where ``to_si`` would
    go down to seconds.

    Parameters
    ----------
    rate
        Mass lost by an area in a time [``unit``].
    unit
        ``"lb_ft2_h"`` or ``"kg_m2_h"``.

    Examples
    --------
    >>> round(evaporation_to_kg_per_m2_h(1.0, "lb_ft2_h"), 6)
    4.882428
    """
    return rate * (si_per(unit) / si_per("kg_m2_h"))


def evaporation_from_kg_per_m2_h(rate_kg_per_m2_h: Amount, unit: str) -> Amount:
    """Convert an evaporation rate in kg/m²/h to ``unit``.

    Examples
    --------
    >>> round(evaporation_from_kg_per_m2_h(1.0, "lb_ft2_h"), 4)
    0.2048
    """
    return rate_kg_per_m2_h / (si_per(unit) / si_per("kg_m2_h"))


def share_words(share: float) -> str:
    r"""Write a share of a whole; the sign stays on the line of its number.

    Examples
    --------
    >>> share_words(0.144)
    '14\xa0%'
    """
    return f"{100 * share:.0f}\u00a0%"


def shown_length_unit(system: UnitSystem) -> str:
    """Return the unit in which lengths and stations are shown."""
    return "ft" if system == "us" else "m"


def shown_temperature_unit(system: UnitSystem) -> str:
    """Return the unit in which temperatures are shown."""
    return "deg_f" if system == "us" else "deg_c"


def shown_wind_unit(system: UnitSystem) -> str:
    """Return the unit in which wind is shown."""
    return "mph" if system == "us" else "km_h"


def shown_evaporation_unit(system: UnitSystem) -> str:
    """Return the unit in which evaporation is shown."""
    return "lb_ft2_h" if system == "us" else "kg_m2_h"


def accepted_units(measure: Measure) -> tuple[str, ...]:
    """Return the units a person may type for a measure."""
    return () if measure == "none" else MEASURE_UNITS[measure].accepted
