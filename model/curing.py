"""How long a deck is kept wet, and how far concrete has matured by its temperature.

Maturity turns the temperatures of a placement into one number, and compares two placements of
the same mix. It says nothing about strength until that mix has its own curve, broken in the
laboratory, and it cannot see a load that was batched wrong or concrete that dried out. When
forms are stripped, tendons stressed or falsework released is decided by the engineer of record,
on cylinders and on the project's specifications.

References
----------
.. [1] ASTM C1074, Standard Practice for Estimating Concrete Strength by the Maturity Method.
   From memory. The datum temperature and the activation energy it suggests differ by edition
   and cement, so none is assumed here: take them from the mix's own calibration.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np

from model.units import Amount

FREEZING_K = 273.15
"""0 °C in kelvin. [1]_ is often worked with 273, which moves an equivalent age by about 0.1 %."""


def temperature_time_factor_c_h(hours: Amount, temperature_c: Amount, datum_c: float) -> Amount:
    r"""Maturity of concrete as a temperature-time factor (Nurse and Saul).

    Parameters
    ----------
    hours
        Length of each interval, last axis along time [h].
    temperature_c
        Mean temperature of the concrete in it [°C]; broadcasts against ``hours``.
    datum_c
        Temperature below which the concrete is taken not to mature [°C].

    Returns
    -------
    float or array
        Sum over the last axis [°C·h]: a number for one record, one for each row of a table.

    Raises
    ------
    ValueError
        For an interval of less than no time.

    Notes
    -----
    .. math:: M = \sum \max(T_a - T_0, 0)\, \Delta t

    An interval below the datum counts 0: concrete does not grow younger in the cold [1]_.

    Examples
    --------
    >>> float(temperature_time_factor_c_h(np.array([12.0, 12.0]), np.array([-12.0, 5.0]), -10.0))
    180.0
    """
    return _total(hours, np.maximum(temperature_c - datum_c, 0.0))


def equivalent_age_h(
    hours: Amount, temperature_c: Amount, activation_k: float, reference_c: float
) -> Amount:
    r"""Age at which concrete kept at a reference temperature would be as mature.

    Parameters
    ----------
    hours, temperature_c
        As for ``temperature_time_factor_c_h``.
    activation_k
        Activation energy of the mix over the gas constant [K]; 5000 K is 41.6 kJ/mol.
    reference_c
        Reference temperature [°C], usually 20 or 23.

    Returns
    -------
    float or array
        Sum over the last axis [h at the reference temperature].

    Raises
    ------
    ValueError
        For an interval of less than no time.

    Notes
    -----
    With temperatures in kelvin [1]_,

    .. math:: t_e = \sum \exp\left[-Q \left(\frac{1}{T_a} - \frac{1}{T_s}\right)\right] \Delta t

    No temperature counts 0 here, not even one below freezing.

    Examples
    --------
    >>> round(float(equivalent_age_h(24.0, 35.0, activation_k=5000.0, reference_c=20.0)), 2)
    55.05
    """
    colder = 1 / (temperature_c + FREEZING_K) - 1 / (reference_c + FREEZING_K)
    return _total(hours, np.exp(-activation_k * colder))


def wet_until(finished: dt.date, days: float) -> dt.date:
    """Return the last day on which a deck is kept wet.

    Parameters
    ----------
    finished
        Day on which its pour was finished.
    days
        Calendar days of wet cure, weekends and holidays among them; a day that is begun is
        kept wet to its end.

    Raises
    ------
    ValueError
        For days that are no number from 0 up.

    Notes
    -----
    The days are those after the day of the pour, as the march counts a cure: poured by Friday
    evening and seven days wet, it ends on the next Friday's evening, and what waits for it
    begins on Saturday at the earliest. Seven days on a deck are common practice, no source;
    specifications differ and decide.

    Examples
    --------
    >>> wet_until(dt.date(2026, 3, 6), 7).isoformat()
    '2026-03-13'
    """
    if not 0 <= days < math.inf:
        raise ValueError(f"days is {days:g}; expected a number from 0 up.")
    return finished + dt.timedelta(days=math.ceil(days))


def _total(hours: Amount, worth: Any) -> Amount:
    """Add up along the last axis what each hour is worth."""
    if np.any(np.asarray(hours) < 0.0):
        raise ValueError("hours has an interval below 0; expected lengths of time from 0 up.")
    total: Amount = np.sum(hours * worth, axis=-1)
    return total
