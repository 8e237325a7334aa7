"""Stations as the trade writes them."""

from __future__ import annotations

import math


def station_words(value: float, unit: str) -> str:
    """Write a station: hundreds of feet, or kilometres, before the plus sign.

    Parameters
    ----------
    value
        In feet or metres.
    unit
        ``"ft"`` or ``"m"``.

    Examples
    --------
    >>> station_words(1240.0, "ft"), station_words(1240.0, "m")
    ('12+40', '1+240')
    """
    base, digits = (100, 2) if unit == "ft" else (1000, 3)
    whole = round(abs(value))
    sign = "-" if value < 0 and whole else ""
    return f"{sign}{whole // base}+{whole % base:0{digits}d}"


def station_ticks(low: float, high: float, most: int) -> list[float]:
    """Return round stations from ``low`` to ``high``, at most so many.

    Examples
    --------
    >>> station_ticks(1000.0, 5600.0, 6)
    [1000.0, 2000.0, 3000.0, 4000.0, 5000.0]
    """
    rough = max(high - low, 1.0) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * by for by in (1, 2, 5, 10) if power * by >= rough)
    first = math.ceil(low / step)
    return [place * step for place in range(first, math.floor(high / step) + 1)]
