"""How far back the line page looks for a crew's days: the choice, and its words in the address."""

from __future__ import annotations

import re

from dash.development.base_component import Component

from dashboard.parts.chart_place import choice
from model.line_answers import Recent

USUAL = "8-units"
CHOICES = ("4-units", USUAL, "16-units", "6-weeks", "12-weeks")
FEWEST_UNITS, FEWEST_WEEKS, MOST = 2, 1, 1000
"""How far back one may look, here, on the command line and for programs alike."""


def recent_of(back: object) -> Recent | None:
    """Read how far back to look; None for what means nothing.

    Examples
    --------
    >>> recent_of("6-weeks")
    Recent(units=8, weeks=6.0)
    >>> recent_of("16-units").units
    16
    >>> recent_of("0-weeks") is recent_of("1-units") is recent_of("all") is None
    True
    """
    found = re.fullmatch(r"([0-9]{1,3})-(units|weeks)", back) if isinstance(back, str) else None
    if found is None:
        return None
    return read_back(**{found[2]: found[1]})


def read_back(units: str | None = None, weeks: str | None = None) -> Recent | None:
    """Read how far back to look in units or in weeks; None for what means nothing.

    Examples
    --------
    >>> read_back(weeks="6.5"), read_back() == Recent()
    (Recent(units=8, weeks=6.5), True)
    >>> read_back("1") is read_back("4.5") is read_back(weeks="nan") is read_back("4", "6") is None
    True
    """
    if units is not None and weeks is not None:
        return None
    if units is not None:
        found = re.fullmatch(r"[0-9]{1,4}", units) and FEWEST_UNITS <= int(units) <= MOST
        return Recent(units=int(units)) if found else None
    if weeks is not None:
        found = re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,20})?", weeks) and (
            FEWEST_WEEKS <= float(weeks) <= MOST
        )
        return Recent(weeks=float(weeks)) if found else None
    return Recent()


def back_words(back: str) -> str:
    """Say how far back.

    Examples
    --------
    >>> back_words("8-units")
    '8 units'
    """
    number, _, what = back.partition("-")
    return f"{number} {what if number != '1' else what.removesuffix('s')}"


def back_choice(back: str) -> Component:
    """Return the choice.

    Parameters
    ----------
    back
        What holds; it is offered also where it is not among the usual ones.
    """
    offered = CHOICES if back in CHOICES else (*CHOICES, back)
    options = {one: back_words(one) for one in offered}
    return choice("line-back", "Crew's days drawn from the last", options, back)
