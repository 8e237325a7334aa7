"""Headings that a what-if case adds: what each is built with, in words.

A new heading is often wanted, and a mistyped one never: both look alike to a program, so
whoever reads the answer is told of each what crews and sets it was given.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from model.line import Run


@dataclass(frozen=True)
class AddedHeading:
    """A heading the job does not have.

    Parameters
    ----------
    heading
        Its key.
    units
        In building order.
    pace_of
        The heading whose pace it goes at: the one its first unit is taken from.
    crews
        By activity, crewed ones only.
    falsework_sets
        On hand; None for no limit.
    turnaround_days
        Working days until a set is free again.
    """

    heading: str
    units: tuple[str, ...]
    pace_of: str
    crews: tuple[tuple[str, int], ...]
    falsework_sets: int | None
    turnaround_days: int

    def as_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "heading": self.heading,
            "units": list(self.units),
            "pace_of": self.pace_of,
            "crews": dict(self.crews),
            "falsework_sets": self.falsework_sets,
            "turnaround_days": self.turnaround_days,
        }

    def __str__(self) -> str:
        number = len(self.units)
        units = "1 unit" if number == 1 else f"{number} units"
        return (
            f"{self.heading} is a new heading: {units} from {self.units[0]} on, at the pace of "
            f"{self.pace_of}, with {_crew_words(self.crews)} and "
            f"{_set_words(self.falsework_sets)} of its own."
        )


def added_heading(
    heading: str, run: Run, pace_of: str, units: tuple[str, ...], crewed: dict[int, str]
) -> AddedHeading:
    """Return what a new heading is built with.

    Parameters
    ----------
    heading, run
        Its key, and the heading as the march sees it.
    pace_of
        The heading whose pace it goes at.
    units
        Keys of all units of the line.
    crewed
        Activity keys by place, of those that need a crew.
    """
    crews = tuple((key, run.crews[place] if run.crews else 1) for place, key in crewed.items())
    mine = tuple(units[unit] for unit in run.units)
    return AddedHeading(heading, mine, pace_of, crews, run.sets, run.turnaround_days)


def _crew_words(crews: tuple[tuple[str, int], ...]) -> str:
    """Say how many crews there are.

    Examples
    --------
    >>> _crew_words((("rebar", 2), ("deck_pour", 1)))
    'one crew of each trade (rebar: 2)'
    """
    more = ", ".join(f"{key}: {number}" for key, number in crews if number != 1)
    return "one crew of each trade" + (f" ({more})" if more else "")


def _set_words(sets: int | None) -> str:
    """Say how many sets there are.

    Examples
    --------
    >>> _set_words(1), _set_words(3), _set_words(None)
    ('1 falsework set', '3 falsework sets', 'as many falsework sets as it needs')
    """
    if sets is None:
        return "as many falsework sets as it needs"
    return "1 falsework set" if sets == 1 else f"{sets} falsework sets"
