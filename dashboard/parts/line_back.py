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
    number, what = int(found[1]), found[2]
    if not (FEWEST_UNITS if what == "units" else FEWEST_WEEKS) <= number <= MOST:
        return None
    return Recent(units=number) if what == "units" else Recent(weeks=float(number))


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
