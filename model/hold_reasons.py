"""Why work is put on hold, in words to choose from at shift end.

Choosing from a list is quicker than typing with one thumb, and the same words for the same
cause can be counted later. A project may give its own list (``[entry] hold_reasons`` in
``project.toml``); free text is always accepted too.
"""

from __future__ import annotations

import re

WEATHER_REASONS: tuple[str, ...] = ("Rain", "Wind", "Heat", "Cold", "Fog", "High water")
"""What a shift is lost to when the weather stops it (common practice, no source)."""

HOLD_REASONS: tuple[str, ...] = (
    "Waiting for inspection",
    "Waiting for survey",
    "Waiting for material",
    "Waiting for forms or falsework",
    "Crew on other work",
    "Equipment down",
    "Question to the engineer open",
    "Out of tolerance, to be put right",
    "Concrete supply",
    "Safety stop",
)
"""The list of a project that gives none (common practice, no source)."""


def is_weather(reason: str) -> bool:
    """Tell whether a hold's reason is weather, with or without more words after a comma.

    Examples
    --------
    >>> is_weather("Rain"), is_weather("high water, access flooded"), is_weather("Cold joint")
    (True, True, False)
    """
    first = re.split(r"[,;:.–]", reason, maxsplit=1)[0]
    return first.strip().casefold() in _WEATHER


_WEATHER = frozenset(reason.casefold() for reason in WEATHER_REASONS)
