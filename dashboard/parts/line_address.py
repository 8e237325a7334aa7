"""What the address of the line page says should be seen."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

from dashboard.parts.line_back import USUAL, recent_of

ALL = "all"
"""Said of the activity: all crews, none in focus; of the heading: every one."""


@dataclass(frozen=True, slots=True)
class LineView:
    """What the line page shows.

    Parameters
    ----------
    heading, activity
        Keys, or ``ALL``.
    unit
        Selected unit; blank for none.
    back
        How far back crew's days are drawn from, as ``line_back.recent_of`` reads it.
    notes
        What in the address could not be followed, in words.
    """

    heading: str = ALL
    activity: str = ALL
    unit: str = ""
    back: str = USUAL
    notes: tuple[str, ...] = ()


def read_line_address(
    search: str,
    usual: LineView,
    *,
    headings: Collection[str],
    activities: Collection[str],
    heading_of_unit: dict[str, str],
) -> LineView:
    """Read the part of an address after the question mark.

    What cannot be followed is left out and said in ``notes``. A unit without a heading shows
    its own heading.

    Parameters
    ----------
    search
        For example ``"?heading=W_from_west&unit=W07&activity=rebar"``.
    usual
        What is shown where the address says nothing.
    headings, activities, heading_of_unit
        Of the job.
    """
    words = _words(search)
    notes: list[str] = []

    def one_of(key: str, allowed: Collection[str], otherwise: str) -> str:
        value = words.get(key, otherwise)
        if value in allowed:
            return value
        if value != otherwise:
            notes.append(f"The address names the {key} {value!r}, which this job does not have.")
        return otherwise

    back = words.pop("back", USUAL)
    if recent_of(back) is None:
        notes.append(f"The address looks back {back!r}; write for example 12-units or 6-weeks.")
        back = USUAL
    unit = one_of("unit", heading_of_unit, "" if words else usual.unit)
    heading = one_of("heading", {*headings, ALL}, heading_of_unit.get(unit, usual.heading))
    activity = one_of("activity", {*activities, ALL}, usual.activity)
    return LineView(heading, activity, unit, back, tuple(notes))


def unit_on_line(unit: str) -> str:
    """Return the address at which the line page shows a unit.

    Examples
    --------
    >>> unit_on_line("W 07")
    '/line?unit=W+07'
    """
    return f"/line?{urlencode({'unit': unit})}"


def back_of(search: str) -> str:
    """Return how far back an address looks."""
    back = _words(search).get("back", USUAL)
    return back if recent_of(back) else USUAL


def _words(search: str) -> dict[str, str]:
    return {key: values[-1] for key, values in parse_qs(search.removeprefix("?")).items()}
