"""What is done to a unit, in which order, and what must come before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Grain = Literal["unit", "span"]
Measure = Literal["concrete", "formwork", "steel", "lumber", "falsework", "area", "none"]

GRAINS: tuple[Grain, ...] = ("unit", "span")
MEASURES: tuple[Measure, ...] = (
    "concrete",
    "formwork",
    "steel",
    "lumber",
    "falsework",
    "area",
    "none",
)


@dataclass(frozen=True, slots=True)
class Activity:
    """One trade's work on a unit.

    Parameters
    ----------
    key, name
        Short key used in files and the log, and the words shown on screens.
    grain
        What a crew finishes at a time: a whole ``"unit"`` or one ``"span"``.
    measure
        What its quantity counts; ``"none"`` where progress goes by spans finished.
    planned_cycle_days
        Working days per unit the plan allows (calendar days when ``calendar_days``).
    after
        Activities of the same unit that must be finished first.
    lag_days
        Further working days to wait after them.
    calendar_days
        True for curing: runs on every calendar day and needs no crew.
    weather
        True when the activity stops on a day lost to weather.
    """

    key: str
    name: str
    grain: Grain = "unit"
    measure: Measure = "none"
    planned_cycle_days: float = 3.0
    after: tuple[str, ...] = ()
    lag_days: int = 0
    calendar_days: bool = False
    weather: bool = True


@dataclass(frozen=True, slots=True)
class Heading:
    """An ordered run of units that one crew per activity follows.

    Parameters
    ----------
    key
        Short key, as in ``units.csv``.
    units
        Unit keys in building order.
    falsework_sets
        Unit-long sets on hand; None where they are not counted.
    turnaround_days
        Working days from the end of curing until a set is free again.
    """

    key: str
    units: tuple[str, ...]
    falsework_sets: int | None = None
    turnaround_days: int = 0


def in_working_order(activities: Sequence[Activity]) -> tuple[Activity, ...]:
    """Sort activities so that each comes after everything it waits for.

    Activities that do not wait for one another keep the order they were given in.

    Parameters
    ----------
    activities
        Activities with distinct keys.

    Raises
    ------
    ValueError
        When an activity waits for one that is not given, or they wait in a circle.

    Examples
    --------
    >>> pour = Activity("deck_pour", "Deck pour", after=("rebar",))
    >>> [a.key for a in in_working_order([pour, Activity("rebar", "Rebar")])]
    ['rebar', 'deck_pour']
    """
    known = {activity.key for activity in activities}
    for activity in activities:
        for earlier in activity.after:
            if earlier not in known:
                raise ValueError(f"{activity.key} comes after {earlier!r}, which is no activity")
    ordered: list[Activity] = []
    waiting = list(activities)
    while waiting:
        done = {activity.key for activity in ordered}
        ready = next((a for a in waiting if done.issuperset(a.after)), None)
        if ready is None:
            circle = ", ".join(activity.key for activity in waiting)
            raise ValueError(f"these activities wait for one another in a circle: {circle}")
        ordered.append(ready)
        waiting.remove(ready)
    return tuple(ordered)


def planned_line_cycle_days(activities: Sequence[Activity]) -> float:
    """Return the cycle the plan allows the whole line: that of its slowest crew [working days].

    A faster trade cannot finish units more often than the slowest one hands them on. Curing
    needs no crew and does not count.

    Examples
    --------
    >>> planned_line_cycle_days([Activity("a", "A", planned_cycle_days=2.0), Activity("b", "B")])
    3.0
    """
    crews = [a.planned_cycle_days for a in activities if not a.calendar_days]
    return max(crews, default=float("nan"))
