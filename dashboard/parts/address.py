"""What an address says should be seen: deep links to an activity, a day, a unit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from urllib.parse import parse_qs


@dataclass(frozen=True, slots=True)
class View:
    """What the map page shows.

    Parameters
    ----------
    activity
        Key of the activity.
    as_of
        Day of the slider.
    heading
        Heading zoomed to; blank for all.
    outlines
        Show what lags.
    unit, span
        Selected unit and span; blank for none.
    units
        Units selected together with it, for example by a brush; empty for the one alone.
    notes
        What in the address could not be followed, in words.
    """

    activity: str
    as_of: dt.date
    heading: str = ""
    outlines: bool = False
    unit: str = ""
    span: str = ""
    units: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Known:
    """What an address may name.

    Parameters
    ----------
    activities, headings, units
        Keys of the job; the first activity shown is ``usual``.
    usual
        Activity shown when the address names none.
    first, last
        Days of the slider.
    """

    activities: Collection[str]
    headings: Collection[str]
    units: Collection[str]
    usual: str
    first: dt.date
    last: dt.date


def read_address(search: str, known: Known) -> View:
    """Read the part of an address after the question mark.

    What cannot be followed is left out and said in ``notes``; nothing fails.

    Parameters
    ----------
    search
        For example ``"?activity=deck_pour&as-of=2026-09-01"``.
    known
        What the address may name.
    """
    words = {key: values[-1] for key, values in parse_qs(search.removeprefix("?")).items()}
    notes: list[str] = []

    def one_of(key: str, allowed: Collection[str], usual: str, what: str) -> str:
        value = words.get(key, usual)
        if value and value not in allowed:
            notes.append(f"The address names {what} {value!r}, which this job does not have.")
            return usual
        return value

    together = [unit for unit in words.get("units", "").split(",") if unit]
    units = tuple(unit for unit in together if unit in known.units)
    if len(units) < len(together):
        notes.append("The address names units that this job does not have; they are left out.")
    return View(
        activity=one_of("activity", known.activities, known.usual, "the activity"),
        as_of=_day(words.get("as-of"), known, notes),
        heading=one_of("heading", known.headings, "", "the heading"),
        outlines=words.get("lag") == "1",
        unit=one_of("unit", known.units, units[0] if units else "", "the unit"),
        units=units,
        span=words.get("span", ""),
        notes=tuple(notes),
    )


def _day(text: str | None, known: Known, notes: list[str]) -> dt.date:
    if text is None:
        return known.last
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        notes.append(f"The address asks for the day {text!r}; write it like 2026-09-01.")
        return known.last
    if not known.first <= day <= known.last:
        notes.append(f"The log runs from {known.first} to {known.last}; {day} lies outside it.")
    return min(max(day, known.first), known.last)
