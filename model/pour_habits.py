"""What a job usually pours by: its rate, its trucks, its hour, as its project folder says."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, fields


@dataclass(frozen=True, slots=True)
class PourHabits:
    """What is usual for pours; None where nothing is said.

    Parameters
    ----------
    rate_m3_per_h
        Concrete placed per hour [m³/h].
    load_m3
        What a truck brings [m³].
    round_trip_minutes
        From one loading of a truck at the plant to its next one [min].
    allowance
        What is ordered beyond what is to be placed, as a share of it.
    start
        Time of day the first truck discharges.
    """

    rate_m3_per_h: float | None = None
    load_m3: float | None = None
    round_trip_minutes: float | None = None
    allowance: float | None = None
    start: dt.time | None = None

    def over(self, usual: PourHabits) -> PourHabits:
        """Return these habits, and those of ``usual`` where nothing is said here.

        Examples
        --------
        >>> own = PourHabits(load_m3=7.0).over(PourHabits(load_m3=6.0, allowance=0.03))
        >>> own.load_m3, own.allowance
        (7.0, 0.03)
        """
        own = {one.name: getattr(self, one.name) for one in fields(self)}
        return PourHabits(
            **{name: getattr(usual, name) if v is None else v for name, v in own.items()}
        )


@dataclass(frozen=True)
class JobPours:
    """What a job usually pours by.

    Parameters
    ----------
    usual
        For every pour.
    of_activity
        What is otherwise for some activities, by their key.
    """

    usual: PourHabits = PourHabits()
    of_activity: Mapping[str, PourHabits] = field(default_factory=dict)

    def habits(self, activity: str) -> PourHabits:
        """Return what is usual for the pours of an activity."""
        return self.of_activity.get(activity, PourHabits()).over(self.usual)
