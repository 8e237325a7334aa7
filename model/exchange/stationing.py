"""Stations as people write them: ``1240.00`` or ``12+40.00``.

A plus sign parts full stations from the rest. A full station is 100 feet where lengths are
in feet and 1000 m where they are in metres (common practice, no source).
"""

from __future__ import annotations

import re

FULL_STATION = {"ft": 100.0, "m": 1000.0}
"""Length of a full station, by the kind of the unit."""

_PLAIN = re.compile(r"-?(\d{1,12}\.?\d*|\.\d+)")
_WITH_PLUS = re.compile(r"(-?)(\d{1,9})\+(\d+(?:\.\d*)?)")


def full_station(metres_per_unit: float) -> float:
    """Return the length of a full station, in the unit of the file.

    Parameters
    ----------
    metres_per_unit
        Metres in the unit: 1 for metres, about 0.3048 for both feet.
    """
    return FULL_STATION["m" if metres_per_unit == 1.0 else "ft"]


def parse_station(text: str, full: float) -> float:
    """Return the station that a text gives.

    Parameters
    ----------
    text
        ``"1240"``, ``"1240.00"`` or ``"12+40.00"``; a minus sign in front counts for all.
    full
        Length of a full station, in the unit of the file.

    Raises
    ------
    ValueError
        When it is none of these, or the part after the plus sign is a full station or more.

    Examples
    --------
    >>> parse_station("12+40.50", 100.0), parse_station("-0+153.1", 1000.0)
    (1240.5, -153.1)
    """
    written = _WITH_PLUS.fullmatch(text)
    if written is None:
        if not _PLAIN.fullmatch(text):
            raise ValueError(f"{text!r} is no station")
        return float(text)
    sign, hundreds, rest = written.groups()
    if float(rest) >= full:
        raise ValueError(f"{text!r} has {rest} after the plus sign; a full station is {full:g}")
    station = float(hundreds) * full + float(rest)
    return -station if sign else station


def shown_station(station: float, full: float) -> str:
    """Return a station as it is written on drawings.

    Examples
    --------
    >>> shown_station(1240.5, 100.0), shown_station(-153.1, 1000.0)
    ('12+40.50', '-0+153.10')
    """
    cents = round(abs(station) * 100)
    hundreds, rest = divmod(cents, round(full * 100))
    width = len(f"{full:.0f}") + 2
    sign = "-" if station < 0 and cents else ""
    return f"{sign}{hundreds}+{rest / 100:0{width}.2f}"
